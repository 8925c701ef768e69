"""``jiggen survey``: from distances measured on a plate to a pattern file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen import options as table
from jiggen.cli import options
from jiggen.cli.output import (
    columns,
    counted,
    end,
    fixed,
    reading_table,
    rounded,
    warn,
    wrapped,
    write,
)
from jiggen.cli.program import PATTERNS, command
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.options import Option, result

if TYPE_CHECKING:
    from jiggen.measure.survey import Examination

FILE = Option(
    "file", "path", "A survey file: what you measured, as TOML.", argument=True, required=True
)
LIMIT = Option(
    "limit",
    "length",
    "Largest allowed position uncertainty of a hole (95 %): beyond it no pattern is written.",
    default="0.3",
    positive=True,
)
SIGMA = Option(
    "sigma",
    "length",
    "Standard uncertainty (1 σ) of one reading: 0.05 for a caliper (the default where the file "
    "states none), 0.3 for a ruler.",
    positive=True,
)
OUT = replace(
    table.OUT,
    help="The pattern file to write, .toml; without it nothing is written.",
    metavar="FILE",
    suffix=".toml",
    short="o",
)
ACCEPT = result("accept", "flag", "Write the pattern despite failed checks; the file says so.")
FOUND_SVG = replace(table.SVG, help="Draw what was found, 1:1, as SVG.")


@command(PATTERNS)
def survey(
    file: Annotated[Path, FILE],
    limit: Annotated[float, LIMIT],
    sigma: Annotated[float | None, SIGMA],
    out: Annotated[Path | None, OUT],
    accept: Annotated[bool, ACCEPT],
    svg: Annotated[Path | None, FOUND_SVG],
    as_json: options.JsonOption,
) -> None:
    """Find where a plate's holes are from distances you measured, and write a pattern file.

    Says how surely each hole is known, which reading is most likely wrong, what to measure next.
    Exit code 1, and no pattern, when the holes are not known well enough.
    """
    _keep_apart(file, out)

    from jiggen.files import write_whole
    from jiggen.measure.survey import examine, pattern_text, read_survey, refusals, warnings
    from jiggen.measure.survey.drawing import survey_svg

    found = examine(read_survey(file), sigma)
    against, doubts = refusals(found, limit), warnings(found)
    refused = against and not accept
    text = None if refused or not out else pattern_text(found, against)
    if svg:
        write_whole(svg, survey_svg(found), "--svg")
    if out and text:
        write_whole(out, text, "--out")
    written = out if text else None
    outcome = {
        "limit": limit,
        "refused": [finding.as_dict() for finding in against],
        "warnings": [finding.as_dict() for finding in doubts],
        "written": str(written) if written else None,
    }
    write(as_json, lambda: as_data(found) | outcome, lambda: as_text(found))
    if as_json:
        end(passed=not refused)
        return
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
                "x": rounded(x),
                "y": rounded(y),
                "deviation": [rounded(value) for value in deviation],
                "within": rounded(within),
                "diameter": rounded(diameter),
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
                "read": rounded(network.values[row]),
                "off": rounded(residuals[row]),
                "sigma": rounded(network.sigmas[row]),
                "normalised": rounded(found.plain.normalised[row]),
                "checked": row not in found.unchecked,
            }
            for row in range(len(network.values))
        ],
        "rigid": held.rigid,
        "unknowns": held.unknowns,
        "rank": held.rank,
        "lacking": held.lacking,
        "loose": list(held.loose),
        "redundancy": round(found.plain.freedom),
        "spread": rounded(found.plain.disagreement),
        "scale": rounded(found.scale),
        "likelihood": found.plain.likelihood,
        "doubt": found.gross_error
        and {
            "name": network.label(found.gross_error.row),
            "off": rounded(found.gross_error.off),
            "normalised": rounded(found.gross_error.normalised),
            "likely": found.gross_error.likely,
            "rivals": [network.label(row) for row in found.gross_error.rivals],
        },
        "symmetry": {
            "verdict": told.verdict,
            "worst": list(told.worst),
            "off": rounded(told.off),
            "within": rounded(told.within),
        },
        "other_places": [
            {
                "moved": [found.survey.holes[hole] for hole in other.moved],
                "places": [[rounded(x), rounded(y)] for x, y in other.places],
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
            *(line for words in _verdicts(found) for line in wrapped(words)),
        ]
    )


def _hole_lines(found: Examination) -> list[str]:
    rows = zip(found.survey.holes, found.places, found.deviations, found.within, strict=True)
    known = (
        "x from the plate's origin towards the tip, y from the centre line to the left, in mm. "
        "95 of 100 such surveys find a hole within that of its true place; ±: standard "
        "uncertainty of x and of y."
    )
    return [
        *columns(
            ("hole", "x", "y", "within", "± x", "± y"),
            (
                (name, *map(fixed, (*place, within, *deviation)))
                for name, place, deviation, within in rows
            ),
        ),
        *wrapped(known),
    ]


def _reading_lines(found: Examination) -> list[str]:
    from jiggen.measure.adjustment import wrong_row

    network, residuals = found.plain.network, found.fit.residuals
    wrong = wrong_row(found.gross_error)
    # Diameters were measured too, but crowd the table: only one that is likely wrong is shown.
    rows = [*range(len(found.survey.readings))]
    rows += [wrong] if wrong is not None and wrong >= len(rows) else []
    return [
        *reading_table(
            "measured",
            (network.label(row) for row in rows),
            [network.values[row] for row in rows],
            [residuals[row] for row in rows],
            notes=[
                " <- wrong?" if row == wrong else " *" if row in found.unchecked else ""
                for row in rows
            ],
        ),
        *(["* no other distance would show a gross error here"] if found.unchecked else []),
    ]


def _verdicts(found: Examination) -> list[str]:
    """What the readings say together, a sentence or two each."""
    words, typical = [], _typical(found)
    if found.plain.freedom:
        more = counted(round(found.plain.freedom), "more reading")
        words.append(
            f"{more} than needed; they agree within "
            f"{found.plain.disagreement * typical:.2f} mm ({typical:.2g} was assumed)."
        )
    else:
        words.append(
            f"Not one reading more than needed: nothing checks them ({typical:.2g} mm assumed)."
        )
    wrong = found.gross_error
    if wrong and (wrong.likely or not found.contradicts):
        label = found.plain.network.label(wrong.row)
        words.append(
            f"Most likely a gross error: {label}, {wrong.off:+.2f} mm off what the others say."
            if wrong.likely
            else f"No reading stands out. Were one a gross error, it would most likely be {label}; "
            f"the others agree within {wrong.without.disagreement * typical:.2f} mm without it."
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
