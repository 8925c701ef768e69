"""``jiggen profile`` and ``printed``: a printer known by its gauge, a jig judged by its holes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jiggen.cli import forms, output
from jiggen.cli.program import JIGS, Group, app, command
from jiggen.errors import InputError
from jiggen.options import Option, argument, result
from jiggen.request import options
from jiggen.request.shelf import AtShelf
from jiggen.units import fixed

if TYPE_CHECKING:
    from jiggen.measure.adjustment import Array
    from jiggen.measure.printer.gauge_fit import GaugeFit
    from jiggen.measure.printer.printed import PrintedFit
    from jiggen.measure.printer.profile import Profile

profile = typer.Typer(
    name="profile",
    cls=Group,
    help="What your printer does to a part: measured on its gauge, kept under a name.",
    no_args_is_help=True,
)
app.add_typer(profile, rich_help_panel=JIGS)

STORED = argument("name", "text", "A stored printer's name, or a profile's path.")
FILE = argument(
    "file", "path", "The file that jiggen gauge wrote, filled in.", metavar="MEASUREMENTS.toml"
)
NAME = Option(
    "name",
    "text",
    "What to call printer and material together: club-hall-petg. It replaces one of that name.",
    group="Options",
)
MATERIAL = Option(
    "material", "text", "What it was printed in.", group="Options", default="", metavar="TEXT"
)
_UNUSABLE = {"printer.gross-error", "printer.disagree"}  # readings that say nothing of the jig
PINS = argument(
    "file", "path", "Readings over pins in the bushes.", required=False, metavar="MEASUREMENTS.toml"
)
LIMIT = Option(
    "limit",
    "length",
    "Largest error of a hole; by default what the caliper check of the print lets pass.",
    positive=True,
)
REACH = Option(
    "caliper", "length", "With --blank: ask only for what a caliper opens that far.", positive=True
)
STORED_AS = result(
    "name", "text", "Store the corrected profile under that name, to build with --printer."
)


@command(None, group=profile)
def fit(
    file: Annotated[Path, FILE],
    name: Annotated[str | None, NAME],
    material: Annotated[str, MATERIAL],
    blank: Annotated[Path | None, forms.BLANK],
    ask: Annotated[bool, forms.ASK],
    as_json: options.JsonOption,
) -> None:
    """Find a printer's scales, skew and offsets from the caliper readings of its gauge.

    Says how surely each is known, and which reading is most likely wrong.

    Exit code 1, and no profile, when readings contradict one another or do not say enough.
    """
    from jiggen.measure.printer.gauge_fit import fit_gauge, profile_of, refusals, warnings
    from jiggen.measure.printer.profile import check_name, save_profile
    from jiggen.measure.printer.read import read_measurements

    if blank is not None:
        from jiggen.inputs.document import read_text
        from jiggen.measure.printer.read import KIND

        forms.write_blank(blank, read_text(file, KIND), as_json)
        return
    if name is None:
        hint = "Say what to call printer and material together: --name club-hall-petg."
        raise InputError.of("cli.missing", "the profile has no name", key="--name", hint=hint)
    check_name(name, material)
    if ask:
        forms.ask_readings(file)
    found = fit_gauge(read_measurements(file))
    against, cautions = refusals(found), warnings(found)
    made = None if against else profile_of(found, name, material)
    written = save_profile(made) if made else None
    lines = _reading_lines(found)
    if made:
        lines += [
            "",
            profile_text(made),
            "",
            f"Written: {written}",
            f"Build with it: --printer {name}",
        ]
    output.write_judged(
        as_json,
        lambda: fit_data(found) | {"profile": made and made.model_dump()},
        lambda: "\n".join(lines),
        against,
        warnings=cautions,
        written=written,
    )


@command(None, "list", profile)
def list_all(as_json: options.JsonOption) -> None:
    """List the printers whose profiles are stored."""
    from jiggen.measure.printer.profile import find_profile, folder, profile_names

    stored = [find_profile(name) for name in profile_names()]
    wide = max((len(one.name) for one in stored), default=0)
    lines = [
        f"{one.name:{wide}}  x {one.scale_x:.5f}  y {one.scale_y:.5f}  "
        f"skew {one.skew:+.3f}°  holes {one.hole:+.3f}  {one.material}".rstrip()
        for one in stored
    ]
    lines += ["", f"They are kept in {folder()}; jiggen profile show NAME says more."]
    if not stored:
        lines = ["None yet: print the gauge of jiggen gauge, then jiggen profile fit."]
    output.write(
        as_json,
        lambda: {"profiles": [one.model_dump() for one in stored]},
        lambda: "\n".join(lines),
    )


@command(None, group=profile)
def show(name: Annotated[str, STORED], as_json: options.JsonOption) -> None:
    """Say what a stored profile means for a part."""
    from jiggen.measure.printer.profile import find_profile

    found = find_profile(name)
    output.write(as_json, found.model_dump, lambda: profile_text(found))


def profile_text(found: Profile) -> str:
    """A profile as lines: what was found, how surely, and what that means."""
    from jiggen.measure.printer.profile import lines

    rows = [
        found.name + (f", {found.material}" if found.material else ""),
        f"{'':10}{'found':>11}{'95 of 100':>12}   what it means",
        *("{:10}{:>11}{:>12}   {}".format(*row) for row in lines(found)),
    ]
    if found.bush_fit is not None:
        rows.append(f"Bushes hold best with an allowance of {found.bush_fit:g} mm.")
    if found.slide is not None:
        rows.append(f"Racks run best with {found.slide:g} mm of clearance per side.")
    return "\n".join(rows)


def fit_data(found: GaugeFit) -> dict[str, object]:
    """Everything of a fit for ``--json``; factors, degrees and mm, null where not determined."""
    from jiggen.measure.adjustment import COVERED

    fitted = found.fit
    labels = [str(reading) for reading in found.measurements.readings]
    sure = found.uncertainties
    return {
        "fitted": {
            key: {"value": value, "uncertainty": sure[key], "within": COVERED * sure[key]}
            if key in found.determined
            else None
            for key, value in found.values.items()
        },
        "readings": output.records(
            name=labels,
            read=fitted.equations.values.tolist(),
            off=fitted.residuals.tolist(),
            normalised=fitted.normalised.tolist(),
            checked=fitted.redundancy.tolist(),
        ),
        "redundancy": fitted.freedom,
        **{key: getattr(fitted, key) for key in ("squares", "likelihood", "spread")},
        "doubt": output.gross_error_record(labels, found.fit.gross_error),
    }


def _reading_lines(found: GaugeFit) -> list[str]:
    """The readings, what they should be by the fit, and whether they agree; in the file's unit."""
    from jiggen.measure.adjustment import agreement

    fitted, read = found.fit, found.measurements
    unit, caliper = read.unit, read.caliper / read.unit.mm
    places = 4 if unit.name == "in" else 2
    table = output.reading_table(
        "measured",
        [str(reading) for reading in read.readings],
        fitted.equations.values / unit.mm,
        fitted.residuals / unit.mm,
        found.fit.wrong_row,
        places=places,
    )
    within = fitted.disagreement * caliper
    words = agreement(fitted.freedom, within, caliper, unit.name, places)
    return [*table, "", *output.wrapped(words)]


@command(JIGS)
def printed(
    folder: options.FolderArgument,
    file: Annotated[Path | None, PINS],
    limit: Annotated[float | None, LIMIT],
    blank: Annotated[Path | None, forms.BLANK],
    caliper: Annotated[float | None, REACH],
    ask: Annotated[bool, forms.ASK],
    name: Annotated[str | None, STORED_AS],
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
        from jiggen.measure.printer.to_measure import blank_text

        forms.check_outside(blank, folder, "--blank")
        reach = float("inf") if caliper is None else caliper
        forms.write_blank(blank, blank_text(printout.jig, limit, reach), as_json)
        return
    assert file is not None  # it is the one or the other

    from jiggen.measure.printer import printed as fitting
    from jiggen.measure.printer.profile import check_name, save_profile
    from jiggen.measure.printer.read import read_printed
    from jiggen.shelf.verdicts import keep_verdict

    if name is not None:
        check_name(name)
    if ask:
        forms.ask_readings(file)
    holes = [one.holes for one in printout.jig.rigid]
    lengths = [(one.body, one.direction) for one in printout.jig.lengths]
    read = read_printed(file, *holes, lengths=lengths)
    found = fitting.fit_printed(printout.jig, read, limit)
    against = fitting.refusals_of_print(found)
    made: Profile | None = None
    if not any(finding.code in _UNUSABLE for finding in against):
        before = fitting.profile_then(printout.sent, printout.fits)
        made = fitting.corrected(found, before, name or before.name)
    written = save_profile(made) if made and name else None
    data, lines = printed_data(found, made), printed_text(found, made)
    if written:
        lines += f"\n\nWritten: {written}\nBuild with it: --printer {name}"
    if owned := keep_verdict(at.file, folder, against, data, at.who):
        lines += f"\n\nOn the shelf: {owned.mark}, {owned.state}"
    output.write_judged(as_json, lambda: data, lambda: lines, against, written=written)


def printed_data(found: PrintedFit, made: Profile | None) -> dict[str, object]:
    """Everything for ``--json``; mm, degrees and factors."""
    fit, jig, read = found.fit, found.jig, slice(found.fit.equations.readings)
    labels = [str(reading) for reading in found.readings.readings]

    def values(found: tuple[Array, Array]) -> dict[str, list[float]]:
        return {"values": found[0].tolist(), "uncertainties": found[1].tolist()}

    keys = ("along", "across", "skew", "turn")
    shapes = {name: dict(zip(keys, shape, strict=True)) for name, shape in found.shapes.items()}
    parts = {name: values(part) for name, part in found.parts.items()}
    joint = parts.pop("joint", None)
    return {
        "jig": jig.name,
        "limit": found.limit,
        "verdict": found.verdict if made else None,
        "holes": [
            hole._asdict() | {"good": hole.at_worst <= found.limit} for hole in found.expected
        ],
        "whole": shapes.get("whole"),
        **({} if "whole" in shapes else {"halves": shapes}),
        "bodies": parts,
        "joint": joint,
        "lengths": [
            {"name": str(one), "value": one.value, "verdict": spec.verdict(one.value)}
            for one, spec in found.lengths
        ],
        "readings": output.records(
            name=labels,
            centres=fit.equations.values[read].tolist(),
            off=fit.residuals[read].tolist(),
            normalised=fit.normalised[read].tolist(),
        ),
        "likelihood": fit.likelihood,
        "spread": fit.spread,
        "doubt": output.gross_error_record(labels, found.fit.gross_error),
        "profile": made and made.model_dump(),
    }


def printed_text(found: PrintedFit, made: Profile | None) -> str:
    """The finished jig as lines: readings, holes, the whole, and what to do."""
    table = output.reading_table(
        "centre to centre",
        [" to ".join(reading.between) for reading in found.readings.readings],
        found.fit.equations.values,
        found.fit.residuals,
        found.fit.wrong_row,
    )
    lines = [found.jig.name, ""]
    lines += [*_length_lines(found), ""] if found.lengths else []
    lines += table if found.readings.readings else ["No distance between holes was measured."]
    if made:
        lines += ["", *_hole_lines(found), "", *_whole_lines(found), ""]
        lines += {
            "use": [f"USE IT: every hole is within {found.limit:g} mm, its uncertainty counted."],
            "measure": ["Not known well enough yet: measure more before you use or reprint it."],
            "reprint": [
                "PRINT IT AGAIN with these values of the printer, in place of its old ones:",
                f"  scale x {made.scale_x:.5f}, scale y {made.scale_y:.5f}, skew {made.skew:+.3f}°",
                "  --name NAME stores them; then jiggen build … --printer NAME.",
            ],
        }[found.verdict]
    return "\n".join(lines)


LENGTHS = {
    "use": "use it",
    "scale": "print again, scaled by {:.2f} %",
    "reprint": "print again: too far off to be scaled",
}


def _length_lines(found: PrintedFit) -> list[str]:
    """What was read on the bodies, and what it says by itself, as the sheet does."""
    rows = [(str(one), fixed(spec.nominal), fixed(one.value)) for one, spec in found.lengths]
    notes = [
        "  " + LENGTHS[spec.verdict(one.value)].format(100 * spec.nominal / one.value)
        for one, spec in found.lengths
    ]
    table = output.columns(("body", "nominal", "read"), rows)
    return [*map("".join, zip(table, ["", *notes], strict=True))]


def _hole_lines(found: PrintedFit) -> list[str]:
    rows = [
        (hole, fixed(dx, sign="+"), fixed(dy, sign="+"), *map(fixed, sizes))
        for hole, _, dx, dy, *sizes in found.expected
    ]
    over = f"> {found.limit:g}"
    notes = [
        f"  {over}"
        if hole.off > found.limit
        else f"  perhaps {over}" * (hole.at_worst > found.limit)
        for hole in found.expected
    ]
    head = ("hole", "off x", "off y", "off", "known to", "at worst")
    return [
        *map("".join, zip(output.columns(head, rows), ["", *notes], strict=True)),
        "x towards the tip, y to the left, in mm; known to: 95 of 100 such measurements.",
        *(["Each hole for the boot for which it is worst."] if found.jig.ways > 1 else []),
    ]


def _whole_lines(found: PrintedFit) -> list[str]:
    from jiggen.measure.printer.profile import off_by

    lines = []
    for name, shape in found.shapes.items():
        what = "whole jig" if name == "whole" else f"{name.removeprefix('body-')} half"
        along, across = off_by((shape.scale_x - 1.0) * 300.0), off_by((shape.scale_y - 1.0) * 40.0)
        lines.append(f"The {what}: 300 mm along the ski came out {along}, 40 mm across {across}.")
    if joint := found.parts.get("joint"):
        (gap, offset, bend), sure = joint
        near, aside, angle = (fixed(value, sign="+") for value in (gap, offset, bend))
        lines.append(
            f"The joint: gap {near} ± {2 * sure[0]:.2f} mm, sideways {aside} ± "
            f"{2 * sure[1]:.2f} mm, bend {angle} ± {2 * sure[2]:.2f}°."
        )
    return lines
