"""A plate and no sheet: what was measured on it, with the sketch growing beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.dropped import read_dropped
from jiggen.desk.forms import Field, Fields, Filled, entered, fill
from jiggen.desk.site import Place, go, page, posted
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.request import plate
from jiggen.request.keeping import holds, keep
from jiggen.request.survey import (
    HOLES,
    SURVEY,
    Judged,
    SurveyRequest,
    blank_command,
    pattern_file,
    survey_file,
)
from jiggen.units import fixed

if TYPE_CHECKING:
    from jiggen.measure.survey.read import Survey

NAV = Place("/survey", "Measure a plate", "From distances measured on a plate to its pattern file.")


@dataclass(frozen=True)
class Line:
    """A row of a table: its number, its words by the columns' names, its faults, and what came out.

    `fits` is what a reading should be and how far it is off, `mark` whether it is likely wrong.
    """

    number: int
    words: Mapping[str, str]
    faults: tuple[Finding, ...] = ()
    fits: str = ""
    off: str = ""
    mark: str = ""


@dataclass(frozen=True)
class State:
    """What is known of what was entered; `judged` as far as it can be solved.

    `whole` is the survey file's text, None for what no file can hold.
    """

    entry: plate.Entry
    draft: plate.Draft | None
    judged: Judged | None
    findings: tuple[Finding, ...]
    whole: str | None


def look(entry: plate.Entry, asked: SurveyRequest | None) -> State:
    """Solve what was entered, as far as it goes; unless something is wrong with how is `asked`."""
    try:
        data = entry.data()
    except InputError as error:
        return State(entry, None, None, error.findings, None)
    whole, draft = plate.survey_toml(data), plate.draft(data)
    if "distances" not in draft.data or asked is None:
        return State(entry, draft, None, (), whole)
    try:
        judged = asked.judge(_survey(draft.data))
    except InputError as error:
        return State(
            entry, draft, None, tuple(replace(one, where="") for one in error.findings), whole
        )
    return State(entry, draft, judged, (), whole)


def _survey(data: dict[str, Any]) -> Survey:
    from jiggen.inputs.document import parse_document
    from jiggen.measure.survey.read import KIND, survey_of

    return survey_of(parse_document(plate.survey_toml(data), "", KIND))


def ask(request: Request) -> Response:
    """The rows, what they say together, and the sketch."""
    words = entered(request.query_params)
    if set(words) <= {"holes"}:
        return _begin(request, words)
    entry, filled = plate.Entry(words), _filled(words)
    state = look(entry, filled.value)
    file, pattern = survey_file(entry.one("name")), pattern_file(entry.one("name"))
    sketch, hole = _sketch(state.judged)
    by_field: dict[str, list[Finding]] = {}
    for one in state.findings:
        by_field.setdefault(entry.field_of(one.key), []).append(one)
    return page(
        request,
        "survey.html",
        query=request.url.query,
        groups=_groups(entry, by_field),
        limit=filled.fields["limit"],
        holes=_holes(entry, by_field),
        lines=_lines(state, by_field),
        hows=plate.HOW,
        faults=tuple(by_field.get("", ())),
        todo=plate.open_words(state.draft) if state.draft else "",
        complete=bool(state.draft and state.draft.complete and not state.findings),
        judged=state.judged,
        sketch=sketch,
        sketched_from=hole,
        places=_places(state.judged),
        said=_said(state.judged),
        file=file,
        pattern=pattern,
        taken=file.exists(),
        made=pattern.exists(),
        saved=bool(state.whole) and holds(file, state.whole or ""),
        command=SURVEY.command_line(
            {
                "file": [str(file)],
                "limit": words.get("limit", []),
                "out": [str(pattern)],
            }
        ),
    )


def _begin(request: Request, words: Mapping[str, Sequence[str]]) -> Response:
    """Ask how many holes there are, or begin with the form for so many."""
    from jiggen.files import parse_toml
    from jiggen.measure.survey.blank import blank_text

    faults: tuple[Finding, ...] = ()
    if words:
        try:
            data = parse_toml(blank_text(HOLES.read(words["holes"][-1])))
            return go(f"/survey?{urlencode(plate.words_of(data))}")
        except InputError as error:
            faults = error.findings
    field = Field(HOLES, tuple(words.get("holes", ())), HOLES.default or "", faults)
    return page(
        request,
        "survey_begin.html",
        holes=field,
        command=blank_command(field.entered or field.usual),
    )


def _groups(entry: plate.Entry, by_field: Mapping[str, list[Finding]]) -> tuple[Fields, ...]:
    found: dict[str, list[Field]] = {}
    for row in plate.PLACES:
        words = tuple(entry.words.get(row.name, ()))
        field = Field(row, words, row.default or "", tuple(by_field.get(row.name, ())))
        found.setdefault(row.group, []).append(field)
    return tuple(Fields(title, tuple(fields)) for title, fields in found.items())


def _holes(entry: plate.Entry, by_field: Mapping[str, list[Finding]]) -> list[Line]:
    rows = [*entry.holes, *_free(entry.holes)]
    return [
        Line(
            row,
            {name: entry.one(f"{name}.{row}") for name in ("hole", "diameter")},
            (*by_field.get(f"hole.{row}", ()), *by_field.get(f"diameter.{row}", ())),
        )
        for row in rows
    ]


def _lines(state: State, by_field: Mapping[str, list[Finding]]) -> list[Line]:
    entry, results = state.entry, dict(_results(state))
    used = [
        row
        for row in entry.rows
        if any(entry.one(f"{name}.{row}") for name in ("from", "to", "read"))
    ]
    return [
        Line(
            row,
            {
                name: entry.one(f"{name}.{row}")
                for name in ("from", "to", "how", "read", "within", "tool")
            },
            tuple(by_field.get(f"read.{row}", ())),
            *results.get(row, ("", "", "other tool" if entry.one(f"tool.{row}") else "")),
        )
        for row in [*used, *_free(used)]
    ]


def _free(rows: Sequence[int] | Mapping[int, Any]) -> range:
    """Numbers of rows that nothing stands in yet."""
    first = max(rows, default=0) + 1
    return range(first, first + plate.FREE)


def _results(state: State) -> Iterator[tuple[int, tuple[str, str, str]]]:
    """Of each row that was solved: what it fits, how far it is off, and what to think of it."""
    if not state.judged or not state.draft:
        return
    found = state.judged.found
    read = found.plain.equations.values
    for reading, row in enumerate(state.draft.solved(state.entry)):
        off = float(found.fit.residuals[reading])
        mark = "not checked" if reading in found.unchecked else ""
        mark = "wrong?" if reading == found.plain.wrong_row else mark
        yield row, (fixed(read[reading] - off), fixed(off, 2, "+"), mark)


def _sketch(judged: Judged | None) -> tuple[Markup, str]:
    """The plate as far as it is known, and the hole it is seen from if that is not the origin."""
    from jiggen.measure.survey.examination import seen_from_a_hole
    from jiggen.measure.survey.results import survey_svg

    if judged is None:
        return Markup(), ""
    found, hole = seen_from_a_hole(judged.found)
    return Markup(survey_svg(found)), hole


def _places(judged: Judged | None) -> list[tuple[str, ...]]:
    """Where each hole is, and how surely that is known."""
    if not judged:
        return []
    found = judged.found
    rows = zip(found.survey.holes, found.places, found.within, found.deviations, strict=True)
    return [(name, *map(fixed, (*at, reach, *sure))) for name, at, reach, sure in rows]


def _said(judged: Judged | None) -> tuple[str, ...]:
    from jiggen.report.survey import KNOWN, verdicts

    return (KNOWN, *verdicts(judged.found)) if judged else ()


def _filled(words: Mapping[str, Sequence[str]]) -> Filled[SurveyRequest]:
    """How it is judged; the standard uncertainty of a reading is the survey's own."""
    return fill(SURVEY, {name: words[name] for name in ("limit",) if name in words})


def drop(_: Request, form: FormData) -> Response:
    """Put a survey file into the rows."""
    from jiggen.inputs.form import read_form
    from jiggen.measure.survey.read import KIND

    found = read_dropped(form, lambda path: plate.words_of(read_form(path, KIND).data))
    return go(f"/survey?{urlencode(found)}")


def save(request: Request, form: FormData) -> Response:
    """Write the survey file, filled in or not."""
    words = entered(request.query_params)
    if not words:
        hint = "Begin with a number of holes, or with a survey file."
        raise InputError.of("survey.empty", "nothing was entered", hint=hint)
    entry = plate.Entry(words)
    keep(survey_file(entry.one("name")), plate.survey_toml(entry.data()), replace="replace" in form)
    return go(f"/survey?{request.url.query}")


def make(request: Request, form: FormData) -> Response:
    """Write the pattern that the command would of the same survey."""
    words = entered(request.query_params)
    entry, asked = plate.Entry(words), _filled(words).value
    state = look(entry, asked)
    if state.findings or not asked or not state.draft or not state.draft.complete:
        hint = "Go back, and fill in what is open."
        message = "the survey is not complete"
        raise InputError(state.findings or [Finding("survey.open", message, hint=hint)])
    judged = asked.judge(_survey(entry.data()))
    text = judged.pattern(accept="accept" in form)
    if text is None:
        raise CheckFailed(judged.against)
    keep(target := pattern_file(entry.one("name")), text, replace="replace" in form)
    return go(f"/jig?{urlencode({'pattern': target.stem})}")


ROUTES = [
    Route("/survey", ask, methods=["GET"]),
    Route("/survey/file", posted(drop), methods=["POST"]),
    Route("/survey/save", posted(save), methods=["POST"]),
    Route("/survey/pattern", posted(make), methods=["POST"]),
]
