"""``jiggen survey``: from distances measured on a plate to a pattern file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import forms, output
from jiggen.cli.program import PATTERNS, command
from jiggen.errors import InputError
from jiggen.options import Option, argument, result
from jiggen.request import options
from jiggen.units import counted

if TYPE_CHECKING:
    from jiggen.measure.survey.examination import Examination

FILE = argument("file", "path", "What you measured: a form filled in.", required=False)
HOLES = Option("holes", "count", "With --blank: how many holes.", default="8", counts=(4, 26))
LIMIT = Option(
    "limit", "length", "Largest uncertainty of a hole (95 %) allowed.", default="0.3", positive=True
)
SIGMA = Option(
    "sigma",
    "length",
    "Standard uncertainty (1 σ) of one reading; a ruler's is 0.3: then --limit 0.8.",
    positive=True,
)
OUT = replace(
    table.OUT, help="The pattern file to write, .toml.", metavar="FILE", suffix=".toml", short="o"
)
ACCEPT = result("accept", "flag", "Write the pattern despite failed checks; the file says so.")
FOUND_SVG = replace(table.SVG, help="Draw what was found, 1:1, as SVG.")


@command(PATTERNS)
def survey(
    file: Annotated[Path | None, FILE],
    limit: Annotated[float, LIMIT],
    sigma: Annotated[float | None, SIGMA],
    out: Annotated[Path | None, OUT],
    accept: Annotated[bool, ACCEPT],
    svg: Annotated[Path | None, FOUND_SVG],
    blank: Annotated[Path | None, forms.BLANK],
    holes: Annotated[int, HOLES],
    ask: Annotated[bool, forms.ASK],
    as_json: options.JsonOption,
) -> None:
    """Find where a plate's holes are from distances you measured, and write a pattern file.

    First write the form to fill in: jiggen survey --blank FILE.

    Says how surely each hole is known, which reading is most likely wrong, what to measure next.
    Exit code 1, and no pattern, when the holes are not known well enough.
    """
    if (file is None) == (blank is None):
        message = "neither a survey nor --blank" if file is None else "a survey and --blank at once"
        hint = "First --blank FILE, to be filled in; then the file alone."
        raise InputError.of("cli.use", message, key="--blank", hint=hint)
    if blank is not None:
        from jiggen.measure.survey.blank import blank_text

        forms.write_blank(blank, blank_text(holes), as_json)
        return
    assert file is not None  # it is the one or the other
    if out is not None and file.exists() and out.exists() and file.samefile(out):
        hint = "Name another file: the survey is what you measured, keep it."
        raise InputError.of("cli.same-file", "that is the survey itself", key="--out", hint=hint)

    from jiggen.files import write_whole
    from jiggen.measure.survey.examination import examine
    from jiggen.measure.survey.findings import refusals, warnings
    from jiggen.measure.survey.read import read_survey
    from jiggen.measure.survey.results import pattern_text, survey_svg

    if ask:
        forms.ask_readings(file)
    found = examine(read_survey(file), sigma)
    against, cautions = refusals(found, limit), warnings(found)
    refused = against and not accept
    text = None if refused or not out else pattern_text(found, against)
    if svg:
        write_whole(svg, survey_svg(found), "--svg")
    if out and text:
        write_whole(out, text, "--out")
    written = out if text else None
    wrote = f"\n\nWritten: {written}" if written else ""
    output.write_judged(
        as_json,
        lambda: as_data(found) | {"limit": limit},
        lambda: as_text(found) + wrote,
        against,
        warnings=cautions,
        written=written,
        accepted=accept,
    )


def as_data(found: Examination) -> dict[str, object]:
    """Everything for ``--json``; lengths in mm, infinite ones null."""
    plain, rigidity, symmetry = found.plain, found.rigidity, found.symmetry
    x, y = found.places.T
    labels = plain.network.labels
    data = {
        "survey": found.survey.file.name,
        "holes": output.records(
            name=found.survey.holes,
            x=x,
            y=y,
            deviation=found.deviations,
            within=found.within,
            diameter=found.survey.diameters,
        ),
        "readings": output.records(
            name=labels,
            read=plain.equations.values,
            off=found.fit.residuals,
            sigma=plain.network.sigmas,
            normalised=plain.normalised,
            checked=[row not in found.unchecked for row in range(len(labels))],
        ),
        **{key: getattr(rigidity, key) for key in ("rigid", "unknowns", "rank", "lacking")},
        "loose": rigidity.loose,
        "redundancy": round(plain.freedom),
        "spread": plain.disagreement,
        "scale": found.plain.spread,
        "doubt": output.gross_error_record(labels, found.plain.gross_error),
        "symmetry": {key: getattr(symmetry, key) for key in ("verdict", "worst", "off", "within")},
        "other_tool": found.scale and vars(found.scale),
        "other_places": [
            {"moved": [found.survey.holes[hole] for hole in other.moved], "places": other.places}
            for other in found.others
        ],
    }
    return {**output.plain(data), "likelihood": plain.likelihood}


def as_text(found: Examination) -> str:
    """The examination as lines: the holes, the readings, and what they say together."""
    survey, plain, wrong = found.survey, found.plain, found.plain.wrong_row
    holes = zip(survey.holes, found.places, found.within, found.deviations, strict=True)
    known = (
        "x from the plate's origin towards the tip, y from the centre line to the left, in mm. "
        "95 of 100 such surveys find a hole within that of its true place; ±: standard "
        "uncertainty of x and of y."
    )
    # Diameters were measured too, but crowd the table: only one that is likely wrong is shown.
    rows = [*range(len(survey.readings))]
    rows += [wrong] if wrong is not None and wrong >= len(rows) else []
    lines = (
        survey.file.name,
        f"{counted(len(survey.holes), 'hole')}, {counted(len(survey.readings), 'distance')}",
        "",
        *output.columns(
            ("hole", "x", "y", "within", "± x", "± y"),
            [(name, *map(output.fixed, (*at, reach, *sure))) for name, at, reach, sure in holes],
        ),
        *output.wrapped(known),
        "",
        *output.reading_table(
            "measured",
            [plain.network.labels[row] for row in rows],
            plain.equations.values[rows],
            found.fit.residuals[rows],
            wrong,
            found.unchecked,
        ),
        *(["* no other distance would show a gross error here"] if found.unchecked else []),
        "",
        *(line for words in _verdicts(found) for line in output.wrapped(words)),
    )
    return "\n".join(lines)


def _verdicts(found: Examination) -> Iterator[str]:
    """What the readings say together, a sentence or two each."""
    fit, wrong, mirror = found.plain, found.plain.gross_error, found.symmetry
    typical = fit.network.typical
    yield output.agreement(fit.freedom, fit.disagreement * typical, typical)
    if wrong and (wrong.likely or not found.plain.contradicts):
        label = fit.network.labels[wrong.row]
        rest = wrong.without.disagreement * typical
        yield (
            f"Most likely a gross error: {label}, {wrong.off:+.2f} mm off what the others say."
            if wrong.likely
            else f"No reading stands out: the largest misfit is {fit.largest:.1f} of its standard "
            f"uncertainties, and from {fit.critical:.1f} on it would. Were one a gross error, it "
            f"would most likely be {label}; the others agree within {rest:.2f} mm without it."
        )
    if found.scale and not found.scale.differs:
        yield (
            f"The other tool agrees: {100 * found.scale.long:+.2f} % in length, and it would show "
            f"more than {100 * found.scale.most:.2f} %."
        )
    if mirror.verdict in ("symmetric", "different"):
        how = "symmetric as far as measured" if mirror.verdict == "symmetric" else "NOT symmetric"
        yield (
            f"Left and right are {how}: {'/'.join(mirror.worst)} off by {mirror.off:.2f} mm, "
            f"and up to {mirror.within:.2f} can be chance."
        )
