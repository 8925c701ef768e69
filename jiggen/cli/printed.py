"""``jiggen printed``: a finished jig measured: use it, or print it again with these values."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.program import app
from jiggen.cli.targets import check_outside
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.printer.affine import Affine
    from jiggen.printer.jig import PrintedJig
    from jiggen.printer.model import Profile
    from jiggen.printer.printed import PrintedFit


_UNUSABLE = {"printer.misread", "printer.disagree"}  # readings that say nothing of the jig


@app.command(rich_help_panel=options.JIGS)
def printed(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="DIR", help="The folder that the jig was printed from.", show_default=False
        ),
    ],
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="MEASUREMENTS.toml",
            help="What the caliper showed between pins in the bushes.",
            show_default=False,
        ),
    ] = None,
    limit: Annotated[
        str,
        typer.Option(
            "--limit",
            metavar="MM",
            help="How far a hole may be off (common practice, no source).",
            rich_help_panel=options.JOB,
        ),
    ] = "0.2",
    blank: Annotated[
        Path | None,
        typer.Option(
            "--blank",
            metavar="FILE",
            help="Write a file that lists what is worth measuring on this jig, .toml.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    name: Annotated[
        str | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="Store the corrected profile under that name, to build with --printer.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Hold a finished jig against its layout, by caliper readings over pins in its bushes.

    First write the file to fill in: jiggen printed DIR --blank FILE.

    Says where each hole will be drilled and how surely, and whether to use the jig or print it
    again, with which values.

    Exit code 1 when a hole may be off by more than the limit.
    """
    most = _positive(limit)
    blank = options.read_target(blank, ".toml", "--blank")
    _check_use(file, blank)

    from jiggen.report.printed import read_printout

    printout = read_printout(folder)
    if blank is not None:
        _write_blank(blank, folder, printout.jig, most)
        typer.echo(json.dumps({"written": str(blank)}) if as_json else f"Written: {blank}")
        return
    assert file is not None  # it is the one or the other

    from jiggen.printer.correct import corrected, profile_then
    from jiggen.printer.model import check_name
    from jiggen.printer.printed import fit_printed
    from jiggen.printer.printed_findings import refusals
    from jiggen.printer.read import read_printed
    from jiggen.printer.store import save_profile

    if name is not None:
        check_name(name)
    holes = [one.holes for one in printout.jig.rigid]
    found = fit_printed(printout.jig, read_printed(file, *holes), most)
    against = refusals(found)
    made: Profile | None = None
    if not any(finding.code in _UNUSABLE for finding in against):
        before = profile_then(printout.sent, printout.fits)
        made = corrected(found, before, name or before.name)
    written = save_profile(made) if made and name else None
    if as_json:
        data = as_data(found, made) | {
            "refused": [finding.as_dict() for finding in against],
            "written": str(written) if written else None,
        }
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
        if against:
            raise typer.Exit(CheckFailed.exit_code)
        return
    typer.echo(as_text(found, made))
    if written:
        typer.echo(f"\nWritten: {written}\nBuild with it: --printer {name}")
    if against:
        raise CheckFailed(against)


def _write_blank(blank: Path, folder: Path, jig: PrintedJig, limit: float) -> None:
    """Write the file to fill in, but never over one that may be filled in already."""
    from jiggen.files import write_whole
    from jiggen.printer.pairs import blank_text

    check_outside(blank, folder, "--blank")
    if blank.exists():
        message = "there is already a file of that name; nothing was written"
        hint = "It may hold what you measured: choose another name."
        raise InputError(Finding("cli.exists", message, str(blank), "--blank", hint))
    write_whole(blank, blank_text(jig, limit), "--blank")


def as_data(found: PrintedFit, made: Profile | None) -> dict[str, Any]:
    """Everything for ``--json``; mm, degrees and factors."""
    joint = found.joint
    equations, doubt = found.fit.equations, found.doubt
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
        "doubt": doubt and {"name": labels[doubt.row], "off": doubt.off, "likely": doubt.likely},
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
    labels = [f"{reading.first} to {reading.second}" for reading in found.readings.distances]
    width = max(len("centre to centre"), *(len(label) for label in labels))
    wrong = found.doubt.row if found.doubt and found.doubt.likely else -1
    rows = zip(labels, found.fit.equations.values, found.fit.residuals, strict=False)
    return [
        "centre to centre".ljust(width) + "".join(f"{w:>10}" for w in ("read", "fits", "off")),
        *(
            f"{label.ljust(width)}{read:10.2f}{read - off:10.2f}{round(off, 2) + 0.0:+10.2f}"
            + (" <- wrong?" if row == wrong else "")
            for row, (label, read, off) in enumerate(rows)
        ),
    ]


def _hole_lines(found: PrintedFit) -> list[str]:
    width = max(len("hole"), *(len(hole) for hole in found.jig.holes))
    columns = ("off x", "off y", "off", "known to", "at worst")
    return [
        "hole".ljust(width) + "".join(f"{word:>10}" for word in columns),
        *(
            f"{hole.hole.ljust(width)}{round(hole.dx, 2) + 0.0:+10.2f}"
            f"{round(hole.dy, 2) + 0.0:+10.2f}{hole.off:10.2f}{hole.known:10.2f}"
            f"{hole.at_worst:10.2f}"
            + (f"  > {found.limit:g}" if hole.at_worst > found.limit else "")
            for hole in found.expected
        ),
        "x towards the tip, y to the left, in mm; known to: 95 of 100 such measurements.",
        *(["Each hole for the boot for which it is worst."] if found.jig.ways > 1 else []),
    ]


def _whole_lines(found: PrintedFit) -> list[str]:
    from jiggen.printer.words import stretched

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


def _positive(words: str) -> float:
    value = length(words, "--limit")
    if value <= 0:
        hint = "Write a length above 0: 0.2."
        raise InputError(Finding("cli.limit", f"{value:g} mm", key="--limit", hint=hint))
    return value
