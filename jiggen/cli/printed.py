"""``jiggen printed``: a finished jig measured: use it, or print it again with these values."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen.cli import options, output
from jiggen.cli.program import JIGS, command
from jiggen.errors import InputError
from jiggen.options import Option, argument, result

if TYPE_CHECKING:
    from jiggen.measure.adjustment import Array
    from jiggen.measure.printer.jig import PrintedJig
    from jiggen.measure.printer.printed import PrintedFit
    from jiggen.measure.printer.profile import Profile

_UNUSABLE = {"printer.gross-error", "printer.disagree"}  # readings that say nothing of the jig

FILE = argument(
    "file", "path", "Readings over pins in the bushes.", required=False, metavar="MEASUREMENTS.toml"
)
LIMIT = Option(
    "limit", "length", "Largest error of a hole (common practice).", default="0.2", positive=True
)
BLANK = result(
    "blank", "path", "Write a file that lists what is worth measuring, .toml.", suffix=".toml"
)
NAME = result(
    "name", "text", "Store the corrected profile under that name, to build with --printer."
)


@command(JIGS)
def printed(
    folder: options.FolderArgument,
    file: Annotated[Path | None, FILE],
    limit: Annotated[float, LIMIT],
    blank: Annotated[Path | None, BLANK],
    name: Annotated[str | None, NAME],
    as_json: options.JsonOption,
) -> None:
    """Check a finished jig against its layout, by caliper readings over pins in its bushes.

    First write the file to fill in: jiggen printed DIR --blank FILE.

    Says where each hole will be drilled and how surely, and whether to use the jig or print it
    again, with which values.

    Exit code 1 when a hole may be off by more than the limit.
    """
    if (file is None) == (blank is None):
        message = "neither readings nor --blank" if file is None else "readings and --blank at once"
        hint = "First --blank FILE, to be filled in; then the file alone."
        raise InputError.of("cli.use", message, key="--blank", hint=hint)

    from jiggen.report.printed import read_printout

    printout = read_printout(folder)
    if blank is not None:
        _write_blank(blank, folder, printout.jig, limit)
        output.write(as_json, lambda: {"written": str(blank)}, lambda: f"Written: {blank}")
        return
    assert file is not None  # it is the one or the other

    from jiggen.measure.printer import printed as fitting
    from jiggen.measure.printer.profile import check_name, save_profile
    from jiggen.measure.printer.read import read_printed

    if name is not None:
        check_name(name)
    holes = [one.holes for one in printout.jig.rigid]
    found = fitting.fit_printed(printout.jig, read_printed(file, *holes), limit)
    against = fitting.refusals_of_print(found)
    made: Profile | None = None
    if not any(finding.code in _UNUSABLE for finding in against):
        before = fitting.profile_then(printout.sent, printout.fits)
        made = fitting.corrected(found, before, name or before.name)
    written = save_profile(made) if made and name else None
    lines = as_text(found, made)
    if written:
        lines += f"\n\nWritten: {written}\nBuild with it: --printer {name}"
    output.write_judged(
        as_json, lambda: as_data(found, made), lambda: lines, against, written=written
    )


def _write_blank(blank: Path, folder: Path, jig: PrintedJig, limit: float) -> None:
    """Write the file to fill in, but never over one that may be filled in already."""
    from jiggen.files import write_whole
    from jiggen.measure.printer.printed import blank_text

    options.check_outside(blank, folder, "--blank")
    if blank.exists():
        message = "there is already a file of that name; nothing was written"
        hint = "It may hold what you measured: choose another name."
        raise InputError.of("cli.exists", message, where=str(blank), key="--blank", hint=hint)
    write_whole(blank, blank_text(jig, limit), "--blank")


def as_data(found: PrintedFit, made: Profile | None) -> dict[str, object]:
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


def as_text(found: PrintedFit, made: Profile | None) -> str:
    """The finished jig as lines: readings, holes, the whole, and what to do."""
    table = output.reading_table(
        "centre to centre",
        [" to ".join(reading.between) for reading in found.readings.readings],
        found.fit.equations.values,
        found.fit.residuals,
        found.fit.wrong_row,
    )
    lines = [found.jig.name, "", *table]
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


def _hole_lines(found: PrintedFit) -> list[str]:
    rows = [
        (hole, output.fixed(dx, sign="+"), output.fixed(dy, sign="+"), *map(output.fixed, sizes))
        for hole, _, dx, dy, *sizes in found.expected
    ]
    over = f"  > {found.limit:g}"
    notes = [over if hole.at_worst > found.limit else "" for hole in found.expected]
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
        lines.append(
            f"The joint: gap {gap:+.2f} ± {2 * sure[0]:.2f} mm, sideways {offset:+.2f} ± "
            f"{2 * sure[1]:.2f} mm, bend {bend:+.2f} ± {2 * sure[2]:.2f}°."
        )
    return lines
