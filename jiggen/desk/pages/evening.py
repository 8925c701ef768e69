"""An evening: its pairs as they are typed or dropped, its plan at once, its jigs built."""

from __future__ import annotations

from collections import OrderedDict
from typing import Any
from urllib.parse import parse_qsl

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.dropped import read_dropped
from jiggen.desk.evenings import (
    Evening,
    JigState,
    Planned,
    build_all,
    evening_of,
    printing_of,
    states_of,
)
from jiggen.desk.forms import entered
from jiggen.desk.lists import (
    LONGEST_ADDRESS,
    address,
    keep_dropped,
    list_of,
    lists,
    read_table,
    save_list,
)
from jiggen.desk.site import Place, attempt, go, page, posted, works_of
from jiggen.errors import Finding, InputError
from jiggen.evening.read import COLUMNS, NEEDED
from jiggen.request.evening import EVENING, JOBS

NAV = Place(
    "/evening", "Evening", "Many pairs: the fewest jigs, the best order to drill, a tick each."
)
FROM, NAME, OVER = "from", "name", "over"  # fields of the forms that are sent
LONG_WAIT = 60.0  # s for a plan that somebody has asked to build
EXAMPLES = {
    "ticket": "118",
    "pattern": "club-piste",
    "boot": "305",
    "ski_toe": "96.5",
    "ski_heel": "94",
    "core": "plain",
    "shift": "0",
    "thickness": "22/20.5",
    "old_holes": "old.csv",
    "mark": "chord:1650",
}
_NOTES: OrderedDict[str, tuple[Finding, ...]] = OrderedDict()  # of tables that were dropped
_MOST_NOTES = 16


def ask(request: Request) -> Response:
    """The rows, what is wrong with each, and the plan."""
    from jiggen.pattern.find import known_patterns

    evening = evening_of(request)
    planned = evening.planned
    states = states_of(planned, works_of(request)) if planned else []
    return page(
        request,
        "evening.html",
        evening=evening,
        pairs=evening.pairs,
        filled=evening.filled,
        faults=evening.faults,
        columns=COLUMNS,
        needed=NEEDED,
        help=JOBS.help,
        examples=EXAMPLES,
        patterns=sorted({pattern.name for pattern in known_patterns()}),
        lists=[(path.stem, address("/evening", {}, {JOBS.name: [str(path)]})) for path in lists()],
        notes=_NOTES.get(evening.pairs.short, ()),
        **_told(planned, states),
    )


def _told(planned: Planned | None, states: list[JigState]) -> dict[str, Any]:
    """What the pages say of a plan, in the words of the command line."""
    from jiggen.report.evening import about, jig_table, warnings_of

    if planned is None:
        return {"table": [], "about": [], "states": [], "missing": 0, "warnings": ()}
    outcomes = [one.outcome for one in states]
    return {
        "table": jig_table(planned.plan, outcomes),
        "about": list(about(planned.plan, outcomes)),
        "states": states,
        "missing": sum(not one.there for one in states),
        "warnings": (*planned.notes, *warnings_of(outcomes)),
    }


def drop(_: Request, form: FormData) -> Response:
    """Put the rows of a table into the address, or into a file where they are too many for it."""
    found, faults, notes = attempt(lambda: read_dropped(form, read_table))
    if faults:
        raise InputError(faults)
    name, rows = found
    options = {name: words for name, words in _words(form).items() if name in _OPTIONS}
    query = address("", dict(enumerate(rows, start=1)), options)
    if len(query) > LONGEST_ADDRESS:
        path = keep_dropped(name, rows).as_posix()
        query = address("", {}, options | {JOBS.name: [path]})
    _NOTES[list_of(entered(parse_qsl(query))).short] = notes
    while len(_NOTES) > _MOST_NOTES:
        _NOTES.popitem(last=False)
    return go(f"/evening?{query}")


def save(_: Request, form: FormData) -> Response:
    """Write the list into the workshop's folder; its page then names the file."""
    pairs = list_of(_words(form))
    name, over = form.get(NAME), form.get(OVER)
    path = save_list(
        pairs.rows,
        name if isinstance(name, str) and name.strip() else pairs.name,
        source=pairs.file,
        over=over == "on",
    )
    return go(address("/evening", {}, pairs.rest | {JOBS.name: [path.as_posix()]}))


def build(request: Request, _: FormData) -> Response:
    """Begin to build every jig that is not there yet."""
    evening = evening_of(request, LONG_WAIT)
    planned = wanted(evening)
    if planned is None:
        hint = "Wait until it is shown."
        raise InputError.of("desk.no-plan", "the plan is still being worked out", hint=hint)
    works = works_of(request)
    build_all(states_of(planned, works), works, evening.pairs.name or "evening", _jigs(evening))
    return go(_jigs(evening))


def jigs(request: Request) -> Response:
    """How far each jig is; once all are done, what is printed and what is drilled."""
    evening = evening_of(request)
    planned = wanted(evening)
    states = states_of(planned, works_of(request)) if planned else []
    going_on = any(one.going_on for one in states)
    printing = printing_of(planned, states) if planned and not going_on else None
    return page(
        request,
        "evening_jigs.html",
        evening=evening,
        planned=planned,
        going_on=going_on,
        printing=printing,
        **_told(planned, states),
    )


def cancel(request: Request, _: FormData) -> Response:
    """End the building of every jig of the evening; nothing stays of what is half done."""
    evening = evening_of(request, LONG_WAIT)
    if planned := wanted(evening):
        works = works_of(request)
        for one in states_of(planned, works):
            if one.work and one.going_on:
                works.cancel(one.work)
    return go(_jigs(evening))


def sheet(request: Request) -> Response:
    """The run sheet, once every jig is built or has failed."""
    from jiggen.report.evening import run_sheet_pdf

    evening = evening_of(request, LONG_WAIT)
    planned, asked = wanted(evening), evening.filled.value
    states = states_of(planned, works_of(request)) if planned else []
    if not planned or not asked or any(one.outcome.state == "planned" for one in states):
        hint = "Build them first: the run sheet names each by its jig mark."
        raise InputError.of("desk.not-built", "some jigs are not built yet", hint=hint)
    outcomes, printing = [one.outcome for one in states], printing_of(planned, states)
    pdf = run_sheet_pdf(planned.plan, outcomes, printing, paper=asked.paper)
    headers = {"content-disposition": 'inline; filename="run-sheet.pdf"'}
    return Response(pdf, media_type="application/pdf", headers=headers)


_OPTIONS = {row.name for row in EVENING.rows} - {JOBS.name}


def wanted(evening: Evening) -> Planned | None:
    """The plan, None while it is worked out.  Raises InputError where there can be none."""
    if evening.planned is None and not evening.working:
        raise evening.refused()
    return evening.planned


def _words(form: FormData) -> dict[str, list[str]]:
    """What was entered on the page that a form was sent from."""
    query = form.get(FROM)
    return entered(parse_qsl(query if isinstance(query, str) else ""))


def _jigs(evening: Evening) -> str:
    return f"/evening/jigs?{evening.pairs.short}"


ROUTES = [
    Route("/evening", ask),
    Route("/evening/table", posted(drop), methods=["POST"]),
    Route("/evening/list", posted(save), methods=["POST"]),
    Route("/evening/build", posted(build), methods=["POST"]),
    Route("/evening/jigs", jigs),
    Route("/evening/cancel", posted(cancel), methods=["POST"]),
    Route("/evening/run-sheet.pdf", sheet),
]
