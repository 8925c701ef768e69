"""``jiggen printed``: a finished jig measured: use it, or print it again with these values."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from jiggen.cli import options, output
from jiggen.cli.program import JIGS, command
from jiggen.errors import Finding, InputError
from jiggen.options import Option, result

if TYPE_CHECKING:
    from jiggen.measure.printer.jig import Affine, PrintedJig
    from jiggen.measure.printer.printed import PrintedFit
    from jiggen.measure.printer.profile import Profile

_UNUSABLE = {"printer.gross-error", "printer.disagree"}  # readings that say nothing of the jig

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
        output.write(as_json, lambda: {"written": str(blank)}, lambda: f"Written: {blank}")
        return
    assert file is not None  # it is the one or the other

    from jiggen.measure.printer.findings import refusals_of_print
    from jiggen.measure.printer.made import corrected, profile_then
    from jiggen.measure.printer.printed import fit_printed
    from jiggen.measure.printer.profile import check_name, save_profile
    from jiggen.measure.printer.read import read_printed

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
        raise InputError(Finding("cli.exists", message, str(blank), "--blank", hint))
    write_whole(blank, blank_text(jig, limit), "--blank")


def as_data(found: PrintedFit, made: Profile | None) -> dict[str, object]:
    """Everything for ``--json``; mm, degrees and factors."""
    fit = found.fit
    labels = [str(reading) for reading in found.readings.distances]
    read = slice(fit.equations.readings)
    bodies = zip(found.jig.bodies, found.bodies, strict=True)
    loose = found.jig.loose
    return {
        "jig": found.jig.name,
        "limit": found.limit,
        "verdict": found.verdict if made else None,
        "holes": [
            {"id": hole.hole, "body": hole.body}
            | {key: getattr(hole, key) for key in ("dx", "dy", "off", "known", "at_worst")}
            | {"good": hole.at_worst <= found.limit}
            for hole in found.expected
        ],
        "whole": None if loose else _stretches(found.whole),
        **({"halves": {k: _stretches(v) for k, v in found.halves.items()}} if loose else {}),
        "bodies": {body.name: _values(*values) for body, values in bodies},
        "joint": found.joint and _values(*found.joint),
        "readings": output.records(
            name=labels,
            centres=fit.equations.values[read].tolist(),
            off=fit.residuals[read].tolist(),
            normalised=fit.normalised[read].tolist(),
        ),
        "likelihood": fit.likelihood,
        "spread": fit.spread,
        "doubt": output.gross_error_record(labels, found.gross_error),
        "profile": made and made.model_dump(),
    }


def _values(values: Any, uncertainties: Any) -> dict[str, list[float]]:
    return {"values": values.tolist(), "uncertainties": uncertainties.tolist()}


def _stretches(affine: Affine) -> dict[str, float]:
    keys = {"along": "scale_x", "across": "scale_y", "skew": "skew", "turn": "turn"}
    return {key: getattr(affine, name) for key, name in keys.items()}


def as_text(found: PrintedFit, made: Profile | None) -> str:
    """The finished jig as lines: readings, holes, the whole, and what to do."""
    lines = [found.jig.name, "", *_reading_lines(found)]
    if made:
        lines += ["", *_hole_lines(found), "", *_whole_lines(found), "", *_way(found, made)]
    return "\n".join(lines)


def _reading_lines(found: PrintedFit) -> list[str]:
    from jiggen.measure.adjustment import wrong_row

    labels = [f"{reading.first} to {reading.second}" for reading in found.readings.distances]
    return output.reading_table(
        "centre to centre",
        labels,
        found.fit.equations.values,
        found.fit.residuals,
        wrong_row(found.gross_error),
    )


def _hole_lines(found: PrintedFit) -> list[str]:
    return [
        *output.columns(
            ("hole", "off x", "off y", "off", "known to", "at worst"),
            (
                (
                    hole.hole,
                    output.fixed(hole.dx, sign="+"),
                    output.fixed(hole.dy, sign="+"),
                    *map(output.fixed, (hole.off, hole.known, hole.at_worst)),
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
    from jiggen.measure.printer.profile import stretched

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
