"""``jiggen printed``: a finished jig measured: use it, or print it again with these values."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.output import columns, end, fixed, reading_table, write
from jiggen.cli.program import JIGS, command
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.options import Option, result

if TYPE_CHECKING:
    from jiggen.measure.printer.affine import Affine
    from jiggen.measure.printer.jig import PrintedJig
    from jiggen.measure.printer.model import Profile
    from jiggen.measure.printer.printed import PrintedFit

_UNUSABLE = {"printer.misread", "printer.disagree"}  # readings that say nothing of the jig

FOLDER = Option(
    "folder",
    "path",
    "The folder that the jig was printed from.",
    argument=True,
    required=True,
    metavar="DIR",
)
FILE = Option(
    "file",
    "path",
    "What the caliper showed between pins in the bushes.",
    argument=True,
    metavar="MEASUREMENTS.toml",
)
LIMIT = Option(
    "limit",
    "length",
    "Largest allowed error of a hole (common practice, no source).",
    default="0.2",
    positive=True,
)
BLANK = result(
    "blank",
    "path",
    "Write a file that lists what is worth measuring on this jig, .toml.",
    suffix=".toml",
)
NAME = result(
    "name", "text", "Store the corrected profile under that name, to build with --printer."
)


@command(JIGS)
def printed(
    folder: Annotated[Path, FOLDER],
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
    _check_use(file, blank)

    from jiggen.report.printed import read_printout

    printout = read_printout(folder)
    if blank is not None:
        _write_blank(blank, folder, printout.jig, limit)
        write(as_json, lambda: {"written": str(blank)}, lambda: f"Written: {blank}")
        return
    assert file is not None  # it is the one or the other

    from jiggen.measure.printer.correct import corrected, profile_then
    from jiggen.measure.printer.findings import refusals_of_print
    from jiggen.measure.printer.model import check_name
    from jiggen.measure.printer.printed import fit_printed
    from jiggen.measure.printer.read import read_printed
    from jiggen.measure.printer.store import save_profile

    if name is not None:
        check_name(name)
    holes = [one.holes for one in printout.jig.rigid]
    found = fit_printed(printout.jig, read_printed(file, *holes), limit)
    against = refusals_of_print(found)
    made: Profile | None = None
    if not any(finding.code in _UNUSABLE for finding in against):
        before = profile_then(printout.sent, printout.fits)
        made = corrected(found, before, name or before.name)
    written = save_profile(made) if made and name else None
    outcome = {
        "refused": [finding.as_dict() for finding in against],
        "written": str(written) if written else None,
    }
    write(as_json, lambda: as_data(found, made) | outcome, lambda: as_text(found, made))
    if as_json:
        end(passed=not against)
        return
    if written:
        typer.echo(f"\nWritten: {written}\nBuild with it: --printer {name}")
    if against:
        raise CheckFailed(against)


def _write_blank(blank: Path, folder: Path, jig: PrintedJig, limit: float) -> None:
    """Write the file to fill in, but never over one that may be filled in already."""
    from jiggen.files import write_whole
    from jiggen.measure.printer.pairs import blank_text

    options.check_outside(blank, folder, "--blank")
    if blank.exists():
        message = "there is already a file of that name; nothing was written"
        hint = "It may hold what you measured: choose another name."
        raise InputError(Finding("cli.exists", message, str(blank), "--blank", hint))
    write_whole(blank, blank_text(jig, limit), "--blank")


def as_data(found: PrintedFit, made: Profile | None) -> dict[str, Any]:
    """Everything for ``--json``; mm, degrees and factors."""
    joint = found.joint
    equations, wrong = found.fit.equations, found.gross_error
    labels = [str(reading) for reading in found.readings.distances]
    bodies = zip(found.jig.bodies, found.bodies, strict=True)
    return {
        "jig": found.jig.name,
        "limit": found.limit,
        "verdict": found.verdict if made else None,
        "holes": [
            {
                "id": hole.hole,
                "body": hole.body,
                "dx": hole.dx,
                "dy": hole.dy,
                "off": hole.off,
                "known": hole.known,
                "at_worst": hole.at_worst,
                "good": hole.at_worst <= found.limit,
            }
            for hole in found.expected
        ],
        "whole": None if found.jig.loose else _stretches(found.whole),
        **_each_half(found),
        "bodies": {
            body.name: {"values": values.tolist(), "uncertainties": sure.tolist()}
            for body, (values, sure) in bodies
        },
        "joint": joint and {"values": joint[0].tolist(), "uncertainties": joint[1].tolist()},
        "readings": [
            {"name": label, "centres": read, "off": off, "normalised": normalised}
            for label, read, off, normalised in zip(
                labels,
                equations.values[: equations.readings].tolist(),
                found.fit.residuals[: equations.readings].tolist(),
                found.fit.normalised[: equations.readings].tolist(),
                strict=True,
            )
        ],
        "likelihood": found.fit.likelihood,
        "spread": found.fit.spread,
        "doubt": wrong and {"name": labels[wrong.row], "off": wrong.off, "likely": wrong.likely},
        "profile": made and made.model_dump(),
    }


def _stretches(affine: Affine) -> dict[str, float]:
    return {
        "along": affine.scale_x,
        "across": affine.scale_y,
        "skew": affine.skew,
        "turn": affine.turn,
    }


def _each_half(found: PrintedFit) -> dict[str, Any]:
    if not found.jig.loose:
        return {}
    return {"halves": {name: _stretches(affine) for name, affine in found.halves.items()}}


def as_text(found: PrintedFit, made: Profile | None) -> str:
    """The finished jig as lines: readings, holes, the whole, and what to do."""
    lines = [found.jig.name, "", *_reading_lines(found)]
    if made:
        lines += ["", *_hole_lines(found), "", *_whole_lines(found), "", *_way(found, made)]
    return "\n".join(lines)


def _reading_lines(found: PrintedFit) -> list[str]:
    from jiggen.measure.adjustment import wrong_row

    labels = [f"{reading.first} to {reading.second}" for reading in found.readings.distances]
    wrong = wrong_row(found.gross_error)
    return reading_table(
        "centre to centre",
        labels,
        found.fit.equations.values,
        found.fit.residuals,
        notes=[" <- wrong?" if row == wrong else "" for row in range(len(labels))],
    )


def _hole_lines(found: PrintedFit) -> list[str]:
    return [
        *columns(
            ("hole", "off x", "off y", "off", "known to", "at worst"),
            (
                (
                    hole.hole,
                    fixed(hole.dx, sign="+"),
                    fixed(hole.dy, sign="+"),
                    *map(fixed, (hole.off, hole.known, hole.at_worst)),
                )
                for hole in found.expected
            ),
            notes=[
                f"  > {found.limit:g}" if hole.at_worst > found.limit else ""
                for hole in found.expected
            ],
        ),
        "x towards the tip, y to the left, in mm; known to: 95 of 100 such measurements.",
        *(["Each hole for the boot for which it is worst."] if found.jig.ways > 1 else []),
    ]


def _whole_lines(found: PrintedFit) -> list[str]:
    from jiggen.measure.printer.words import stretched

    named = {"whole jig": found.whole}
    if found.jig.loose:
        named = {f"{n.removeprefix('body-')} half": each for n, each in found.halves.items()}
    lines = [
        f"The {name}: 300 mm along the ski came out {stretched(each.scale_x, 300.0)}, "
        f"40 mm across {stretched(each.scale_y, 40.0)}."
        for name, each in named.items()
    ]
    if found.joint:
        (gap, offset, bend), sure = found.joint
        lines.append(
            f"The joint: gap {gap:+.2f} ± {2 * sure[0]:.2f} mm, sideways {offset:+.2f} ± "
            f"{2 * sure[1]:.2f} mm, bend {bend:+.2f} ± {2 * sure[2]:.2f}°."
        )
    return lines


def _way(found: PrintedFit, made: Profile) -> list[str]:
    if found.verdict == "use":
        return [f"USE IT: every hole is within {found.limit:g} mm, its uncertainty counted."]
    if found.verdict == "measure":
        return ["Not known well enough yet: measure more before you use it or print it again."]
    return [
        "PRINT IT AGAIN with these values of the printer, in place of those it was printed with:",
        f"  scale x {made.scale_x:.5f}, scale y {made.scale_y:.5f}, skew {made.skew:+.3f}°",
        "  --name NAME stores them; then jiggen build … --printer NAME.",
    ]


def _check_use(file: Path | None, blank: Path | None) -> None:
    if (file is None) == (blank is None):
        message = "neither readings nor --blank" if file is None else "readings and --blank at once"
        hint = "First --blank FILE, to be filled in; then the file alone."
        raise InputError(Finding("cli.use", message, key="--blank", hint=hint))
