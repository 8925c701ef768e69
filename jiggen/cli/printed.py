"""``jiggen profile`` and ``printed``: a printer known by its gauge, a jig judged by its holes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jiggen.cli import forms, output
from jiggen.cli.program import JIGS, Group, app, command
from jiggen.errors import InputError
from jiggen.options import argument
from jiggen.request import options
from jiggen.request.printed import FitRequest, PrintedRequest
from jiggen.request.shelf import AtShelf

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
    blank: Annotated[Path | None, forms.BLANK],
    ask: Annotated[bool, forms.ASK],
    as_json: options.JsonOption,
) -> None:
    """Find a printer's scales, skew and offsets from the caliper readings of its gauge.

    Says how surely each is known, and which reading is most likely wrong.

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

    judged = asked.judge(read_measurements(asked.file))
    made, written = asked.store(judged) or (None, None)
    lines = gauge_lines(judged.found)
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
        lambda: fit_data(judged.found) | {"profile": made and made.model_dump()},
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
    blank: Annotated[Path | None, forms.BLANK],
    ask: Annotated[bool, forms.ASK],
    at: AtShelf,
    as_json: options.JsonOption,
) -> None:
    """Check a finished jig against its layout: caliper readings over pins and on its bodies.

    First write the file to fill in: jiggen printed DIR --blank FILE.

    Says where each hole will be drilled and how surely, and whether to use the jig or print it
    again, with which values.

    The folder is verified again first; the shelf keeps what comes out where it has the jig. Exit
    code 1 when it fails, or when a hole may be off by more than the limit.
    """
    folder, file, name = asked.folder, asked.file, asked.name
    if (file is None) == (blank is None):
        message = "neither readings nor --blank" if file is None else "readings and --blank at once"
        hint = "First --blank FILE, to be filled in; then the file alone."
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
    assert file is not None  # it is the one or the other

    from jiggen.inputs.form import read_form
    from jiggen.measure.printer.read import KIND
    from jiggen.report.readings import printed_data, printed_text
    from jiggen.shelf.verdicts import keep_verdict

    asked.check()
    if ask:
        forms.ask_readings(file)
    judged = asked.judge(printout, read_form(file, KIND))
    written = asked.store(judged)
    data = printed_data(judged.found, judged.made)
    lines = printed_text(judged.found, judged.made, THEN)
    if written:
        lines += f"\n\nWritten: {written}\nBuild with it: --printer {name}"
    if owned := keep_verdict(at.file, folder, judged.against, data, at.who):
        lines += f"\n\nOn the shelf: {owned.mark}, {owned.state}"
    output.write_judged(as_json, lambda: data, lambda: lines, judged.against, written=written)
