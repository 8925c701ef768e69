"""``jiggen survey``: from distances measured on a plate to a pattern file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import forms, output
from jiggen.cli.program import PATTERNS, command
from jiggen.errors import InputError
from jiggen.report.lines import columns, gross_error_record, reading_table, records, wrapped
from jiggen.request import options
from jiggen.request.survey import HOLES, SurveyRequest
from jiggen.units import counted, fixed

if TYPE_CHECKING:
    from jiggen.measure.survey.examination import Examination

FOUND_SVG = replace(table.SVG, help="Draw what was found, 1:1, as SVG.")


@command(PATTERNS)
def survey(
    asked: SurveyRequest,
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
    file, out = asked.file, asked.out
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
    from jiggen.measure.survey.read import read_survey
    from jiggen.measure.survey.results import survey_svg

    if ask:
        forms.ask_readings(file)
    judged = asked.judge(read_survey(file))
    found = judged.found
    text = judged.pattern(accept=asked.accept) if out else None
    if svg:
        write_whole(svg, survey_svg(found), "--svg")
    if out and text:
        write_whole(out, text, "--out")
    written = out if text else None
    wrote = f"\n\nWritten: {written}" if written else ""
    output.write_judged(
        as_json,
        lambda: as_data(found) | {"limit": asked.limit},
        lambda: as_text(found) + wrote,
        judged.against,
        warnings=judged.warnings,
        written=written,
        accepted=asked.accept,
    )


def as_data(found: Examination) -> dict[str, object]:
    """Everything for ``--json``; lengths in mm, infinite ones null."""
    plain, rigidity, symmetry = found.plain, found.rigidity, found.symmetry
    x, y = found.places.T
    labels = plain.network.labels
    data = {
        "survey": found.survey.file.name,
        "holes": records(
            name=found.survey.holes,
            x=x,
            y=y,
            deviation=found.deviations,
            within=found.within,
            diameter=found.survey.diameters,
        ),
        "readings": records(
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
        "doubt": gross_error_record(labels, found.plain.gross_error),
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
    from jiggen.report.survey import KNOWN, verdicts

    survey, plain, wrong = found.survey, found.plain, found.plain.wrong_row
    holes = zip(survey.holes, found.places, found.within, found.deviations, strict=True)
    # Diameters were measured too, but crowd the table: only one that is likely wrong is shown.
    rows, scans = [*range(len(survey.readings))], survey.file.scanned
    rows += [wrong] if wrong is not None and wrong >= len(rows) else []
    measured = [counted(len(survey.readings), "distance")] if survey.readings or not scans else []
    measured += [counted(len(scans.scans), "scan")] if scans else []
    lines = (
        survey.file.name,
        ", ".join([counted(len(survey.holes), "hole"), *measured]),
        "",
        *columns(
            ("hole", "x", "y", "within", "± x", "± y"),
            [(name, *map(fixed, (*at, reach, *sure))) for name, at, reach, sure in holes],
        ),
        *wrapped(KNOWN),
        "",
        *(
            reading_table(
                "measured",
                [plain.network.labels[row] for row in rows],
                plain.equations.values[rows],
                found.fit.residuals[rows],
                wrong,
                found.unchecked,
            )
            if rows
            else []
        ),
        *(["* no other distance would show a gross error here"] if found.unchecked else []),
        *([""] if rows else []),
        *(line for words in verdicts(found) for line in wrapped(words)),
    )
    return "\n".join(lines)
