"""``jiggen profile`` and ``printed``: a printer known by its gauge, a jig judged by its holes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from jiggen.cli import forms, output
from jiggen.cli.program import JIGS, Group, app, command
from jiggen.errors import CheckFailed, InputError
from jiggen.options import argument
from jiggen.request import options
from jiggen.request.printed import FitRequest, PrintedRequest
from jiggen.request.scan import SCANS_PNG, SCANS_SVG, draw_scans
from jiggen.request.scanned import FACE, Scans
from jiggen.request.shelf import AtShelf

if TYPE_CHECKING:
    from jiggen.request.scanned import OnGlass

profile = typer.Typer(
    name="profile",
    cls=Group,
    help="What your printer does to a part: measured on its gauge, kept under a name.",
    no_args_is_help=True,
)
app.add_typer(profile, rich_help_panel=JIGS)

STORED = argument("name", "text", "A stored printer's name, or a profile's path.")
THEN = "--name NAME stores them; then jiggen build … --printer NAME."


@command(None, group=profile)
def fit(
    asked: FitRequest,
    scans: Scans,
    svg: Annotated[Path | None, SCANS_SVG],
    png: Annotated[Path | None, SCANS_PNG],
    blank: Annotated[Path | None, forms.BLANK],
    ask: Annotated[bool, forms.ASK],
    as_json: options.JsonOption,
) -> None:
    """Find a printer's scales, skew and offsets from the caliper readings of its gauge.

    Says how surely each is known, and which reading is most likely wrong.

    With --scan its holes are taken from scans of its underside, in place of distances: measure one
    distance between two of them and how wide they are, which gives the scale. Pegs, heights, widths
    and fits stay for the caliper: the glass does not show them.

    Exit code 1, and no profile, when readings contradict one another or do not say enough.
    """
    from jiggen.measure.printer.read import KIND, read_measurements

    if blank is not None:
        from jiggen.inputs.document import read_text

        forms.write_blank(blank, read_text(asked.file, KIND), as_json)
        return
    asked.check()
    if ask:
        forms.ask_readings(asked.file)

    from jiggen.report.readings import fit_data, gauge_lines, profile_text

    read = read_measurements(asked.file, scanned=bool(scans.images))
    with output.shown_progress():
        glass = asked.on_glass(read, scans)
    _draw(glass, svg, png)
    judged = asked.judge(read, glass)
    made, written = asked.store(judged) or (None, None)
    lines = [*_scan_lines(glass), *gauge_lines(judged.found)]
    if made:
        lines += [
            "",
            profile_text(made),
            "",
            f"Written: {written}",
            f"Build with it: --printer {made.name}",
        ]
    output.write_judged(
        as_json,
        lambda: (
            fit_data(judged.found)
            | {"profile": made and made.model_dump(), "scans": _scan_data(glass)}
        ),
        lambda: "\n".join(lines),
        judged.against,
        warnings=judged.warnings,
        written=written,
    )


@command(None, "list", profile)
def list_all(as_json: options.JsonOption) -> None:
    """List the printers whose profiles are stored."""
    from jiggen.measure.printer.profile import stored_profiles
    from jiggen.report.readings import profiles_text

    stored = stored_profiles()
    output.write(
        as_json,
        lambda: {"profiles": [one.model_dump() for one in stored]},
        lambda: profiles_text(stored),
    )


@command(None, group=profile)
def show(name: Annotated[str, STORED], as_json: options.JsonOption) -> None:
    """Say what a stored profile means for a part."""
    from jiggen.measure.printer.profile import find_profile
    from jiggen.report.readings import profile_text

    found = find_profile(name)
    output.write(as_json, found.model_dump, lambda: profile_text(found))


@command(JIGS)
def printed(
    asked: PrintedRequest,
    scans: Scans,
    face: Annotated[Literal["top", "under"], FACE],
    svg: Annotated[Path | None, SCANS_SVG],
    png: Annotated[Path | None, SCANS_PNG],
    blank: Annotated[Path | None, forms.BLANK],
    ask: Annotated[bool, forms.ASK],
    at: AtShelf,
    as_json: options.JsonOption,
) -> None:
    """Check a finished jig against its layout: caliper readings over pins and on its bodies.

    First write the file to fill in: jiggen printed DIR --blank FILE.

    Or scan it, its halves joined, before the bushes go in, and measure one long distance:
    jiggen printed DIR --scan a.png --scan b.png --distance toe-1-heel-4:centre=317.08. What is
    longer than the glass is scanned in parts that share holes.

    Says where each hole will be drilled and how surely, and whether to use the jig or print it
    again, with which values.

    The folder is verified again first; the shelf keeps what comes out where it has the jig. Exit
    code 1 when it fails, or when a hole may be off by more than the limit.
    """
    folder, file, name = asked.folder, asked.file, asked.name
    given = file is not None or bool(scans.images)
    if given == (blank is not None):
        message = "readings and --blank at once" if given else "neither readings nor --blank"
        hint = "First --blank FILE, to be filled in; then the file alone, or --scan IMAGE."
        raise InputError.of("cli.use", message, key="--blank", hint=hint)

    from jiggen.report.printed import read_printout
    from jiggen.verify import certify

    printout = read_printout(folder)
    with output.shown_progress():
        certify(folder)
    if blank is not None:
        forms.check_outside(blank, folder, "--blank")
        forms.write_blank(blank, asked.blank(printout), as_json)
        return

    from jiggen.inputs.form import read_form
    from jiggen.measure.printer.read import KIND
    from jiggen.report.readings import printed_data, printed_text
    from jiggen.shelf.verdicts import keep_verdict

    asked.check()
    for target, option in ((svg, SCANS_SVG), (png, SCANS_PNG)):
        if target:
            forms.check_outside(target, folder, option.flag)
    if ask and file:
        forms.ask_readings(file)
    with output.shown_progress():
        glass = asked.on_glass(printout, scans, face)
    _draw(glass, svg, png)
    judged = asked.judge(printout, read_form(file, KIND) if file else None, glass)
    written = asked.store(judged)
    data = printed_data(judged.found, judged.made)
    lines = "\n".join([*_scan_lines(glass), printed_text(judged.found, judged.made, THEN)])
    if written:
        lines += f"\n\nWritten: {written}\nBuild with it: --printer {name}"
    if owned := keep_verdict(at.file, folder, judged.against, data, at.who):
        lines += f"\n\nOn the shelf: {owned.mark}, {owned.state}"
    output.write_judged(
        as_json,
        lambda: data | {"scans": _scan_data(glass)},
        lambda: lines,
        judged.against,
        warnings=judged.warnings,
        written=written,
    )


def _draw(glass: OnGlass | None, svg: Path | None, png: Path | None) -> None:
    """Write the scans with what was found.  Raises CheckFailed for scans that contradict."""
    if glass:
        draw_scans(glass.fitted, glass.pictures, svg, png)
        if glass.against:
            raise CheckFailed(glass.against)


def _scan_lines(glass: OnGlass | None) -> list[str]:
    """How well the scans agree, and what they say of the scanner."""
    from jiggen.report.lines import wrapped
    from jiggen.report.scan import residuals

    sentences = residuals(glass.fitted) if glass else ()
    return [*(line for words in sentences for line in wrapped(words)), *([""] if glass else [])]


def _scan_data(glass: OnGlass | None) -> object:
    from jiggen.report.scan import as_data

    return output.plain(as_data(glass.fitted, glass.pictures)) if glass else None
