"""``jiggen survey``: from distances measured on a plate to a pattern file."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.output import warn
from jiggen.cli.program import app
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.survey import Examination

WIDTH = 78  # characters of a line of words


@app.command(rich_help_panel=options.PATTERNS)
def survey(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="A survey file: what you measured, as TOML.", show_default=False
        ),
    ],
    limit: Annotated[
        str,
        typer.Option(
            "--limit",
            metavar="MM",
            help="Write no pattern when a hole is not known as well as this.",
            rich_help_panel=options.JOB,
        ),
    ] = "0.3",
    sigma: Annotated[
        str | None,
        typer.Option(
            "--sigma",
            metavar="MM",
            help="How far off your readings are, two times in three: 0.05 for a caliper (used "
            "when neither you nor the file says), 0.3 for a ruler.",
            rich_help_panel=options.JOB,
            show_default=False,
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            metavar="FILE",
            help="The pattern file to write, .toml; without it nothing is written.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    accept: Annotated[
        bool,
        typer.Option(
            "--accept",
            metavar="",
            help="Write the pattern in spite of what speaks against it; the file says so.",
            rich_help_panel=options.RESULT,
        ),
    ] = False,
    svg: Annotated[
        Path | None,
        typer.Option(
            "--svg",
            metavar="FILE",
            help="Draw what was found, 1:1, as SVG.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Find where a plate's holes are from distances you measured, and write a pattern file.

    Says how surely each hole is known, which reading is most likely wrong, what to measure next.
    Exit code 1, and no pattern, when the holes are not known well enough.
    """
    out = options.read_target(out, ".toml", "--out")
    svg = options.read_target(svg, ".svg", "--svg")
    most = _positive(limit, "--limit")
    usual = None if sigma is None else _positive(sigma, "--sigma")
    _keep_apart(file, out)

    from jiggen.files import write_whole
    from jiggen.survey import examine, pattern_text, read_survey, refusals, warnings
    from jiggen.survey.drawing import survey_svg

    found = examine(read_survey(file), usual)
    against, doubts = refusals(found, most), warnings(found)
    refused = against and not accept
    text = None if refused or not out else pattern_text(found, against)
    if svg:
        write_whole(svg, survey_svg(found), "--svg")
    if out and text:
        write_whole(out, text, "--out")
    written = out if text else None
    if as_json:
        data = as_data(found) | {
            "limit": most,
            "refused": [finding.as_dict() for finding in against],
            "warnings": [finding.as_dict() for finding in doubts],
            "written": str(written) if written else None,
        }
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
        if refused:
            raise typer.Exit(CheckFailed.exit_code)
        return
    typer.echo(as_text(found))
    warn((*doubts, *(against if accept else ())))
    if refused:
        raise CheckFailed(against)
    if written:
        typer.echo(f"\nWritten: {written}")


def as_data(found: Examination) -> dict[str, Any]:
    """Everything for ``--json``; lengths in mm, infinite ones null."""
    network = found.plain.network
    held, told = found.rigidity, found.symmetry
    residuals = found.fit.residuals
    return {
        "survey": found.survey.name,
        "holes": [
            {
                "name": name,
                "x": _mm(x),
                "y": _mm(y),
                "deviation": [_mm(value) for value in deviation],
                "within": _mm(within),
                "diameter": _mm(diameter),
            }
            for name, (x, y), deviation, within, diameter in zip(
                found.survey.holes,
                found.places,
                found.deviations,
                found.within,
                found.survey.diameters,
                strict=True,
            )
        ],
        "readings": [
            {
                "name": network.label(row),
                "read": _mm(network.values[row]),
                "off": _mm(residuals[row]),
                "sigma": _mm(network.sigmas[row]),
                "normalised": _mm(-found.plain.normalised[row]),
                "checked": row not in found.unchecked,
            }
            for row in range(len(network.values))
        ],
        "rigid": held.rigid,
        "unknowns": held.unknowns,
        "rank": held.rank,
        "lacking": held.lacking,
        "loose": list(held.loose),
        "redundancy": found.plain.freedom,
        "spread": _mm(found.plain.spread),
        "scale": _mm(found.scale),
        "likelihood": found.plain.likelihood,
        "doubt": found.doubt
        and {
            "name": network.label(found.doubt.row),
            "off": _mm(found.doubt.off),
            "normalised": _mm(-found.doubt.normalised),
            "likely": found.doubt.likely,
            "rivals": [network.label(row) for row in found.doubt.rivals],
        },
        "symmetry": {
            "verdict": told.verdict,
            "worst": list(told.worst),
            "off": _mm(told.off),
            "within": _mm(told.within),
        },
        "other_places": [
            {
                "moved": [found.survey.holes[hole] for hole in other.moved],
                "places": [[_mm(x), _mm(y)] for x, y in other.places],
            }
            for other in found.others
        ],
    }


def as_text(found: Examination) -> str:
    """The examination as lines: the holes, the readings, and what they say together."""
    survey = found.survey
    head = f"{len(survey.holes)} holes, {len(survey.readings)} distances"
    return "\n".join(
        [
            survey.name,
            head,
            "",
            *_hole_lines(found),
            "",
            *_reading_lines(found),
            "",
            *(line for words in _verdicts(found) for line in textwrap.wrap(words, WIDTH)),
        ]
    )


def _hole_lines(found: Examination) -> list[str]:
    width = max(len("hole"), *(len(name) for name in found.survey.holes))
    rows = zip(found.survey.holes, found.places, found.deviations, found.within, strict=True)
    known = (
        "x from the plate's origin towards the tip, y from the centre line to the left, in mm. "
        "95 of 100 such surveys find a hole within that of its true place; ±: standard "
        "uncertainty of x and of y."
    )
    return [
        "hole".ljust(width) + "".join(f"{word:>10}" for word in ("x", "y", "within", "± x", "± y")),
        *(
            name.ljust(width)
            + f"{_two(x):10.2f}{_two(y):10.2f}"
            + "".join(_known(value) for value in (within, *deviation))
            for name, (x, y), deviation, within in rows
        ),
        *textwrap.wrap(known, WIDTH),
    ]


def _two(value: float) -> float:
    """To two decimals, without a negative zero."""
    return round(float(value), 2) + 0.0


def _known(value: float) -> str:
    return f"{value:10.2f}" if value < float("inf") else f"{'?':>10}"


def _reading_lines(found: Examination) -> list[str]:
    network = found.plain.network
    wrong = found.doubt.row if found.doubt and found.doubt.likely else -1
    # Diameters were measured too, but crowd the table: only one that is likely wrong is shown.
    rows = [*range(len(found.survey.readings))]
    rows += [wrong] if wrong >= len(rows) else []
    labels = [network.label(row) for row in rows]
    width = max(len("measured"), *(len(label) for label in labels))
    residuals = found.fit.residuals
    return [
        "measured".ljust(width) + "".join(f"{word:>10}" for word in ("read", "fits", "off")),
        *(
            f"{label.ljust(width)}{network.values[row]:10.2f}"
            f"{network.values[row] - residuals[row]:10.2f}{_two(residuals[row]):+10.2f}"
            + (" <- wrong?" if row == wrong else " *" if row in found.unchecked else "")
            for row, label in zip(rows, labels, strict=True)
        ),
        *(["* no other distance would show a misreading here"] if found.unchecked else []),
    ]


def _verdicts(found: Examination) -> list[str]:
    """What the readings say together, a sentence or two each."""
    words = []
    if found.plain.freedom:
        more = f"{found.plain.freedom} more reading{'s' if found.plain.freedom > 1 else ''}"
        words.append(
            f"{more} than needed; they agree within "
            f"{found.plain.spread * _typical(found):.2f} mm ({_typical(found):.2g} was assumed)."
        )
    else:
        words.append(
            "Not one reading more than needed: nothing checks them "
            f"({_typical(found):.2g} mm assumed)."
        )
    if found.doubt and (found.doubt.likely or not found.contradicts):
        label = found.plain.network.label(found.doubt.row)
        words.append(
            f"Most likely misread: {label}, {found.doubt.off:+.2f} mm off what the others say."
            if found.doubt.likely
            else f"No reading stands out. Were one misread, it would most likely be {label}; the "
            f"others agree within {found.doubt.without.spread * _typical(found):.2f} mm without it."
        )
    told = found.symmetry
    if told.verdict in ("alike", "different"):
        verdict = "alike as far as measured" if told.verdict == "alike" else "NOT alike"
        words.append(
            f"Left and right are {verdict}: {'/'.join(told.worst)} off by {told.off:.2f} mm, "
            f"{told.within:.2f} would be no surprise."
        )
    return words


def _typical(found: Examination) -> float:
    return float(sorted(found.plain.network.sigmas)[len(found.plain.network.sigmas) // 2])


def _keep_apart(file: Path, out: Path | None) -> None:
    """Refuse to write the pattern over the survey."""
    if out is not None and file.exists() and out.exists() and file.samefile(out):
        hint = "Name another file: the survey is what you measured, keep it."
        raise InputError(
            Finding("cli.same-file", "that is the survey itself", key="--out", hint=hint)
        )


def _positive(words: str, key: str) -> float:
    value = length(words, key)
    if value <= 0:
        hint = "Write a length above 0: 0.3."
        raise InputError(Finding("cli.limit", f"{value:g} mm", key=key, hint=hint))
    return value


def _mm(value: float) -> float | None:
    return round(float(value), 6) + 0.0 if abs(value) < float("inf") else None
