"""A plate on a scanner's glass: its pictures, the holes found in them, and the pattern of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.forms import Filled, fill
from jiggen.desk.glass import WITHOUT, Entry, dropping, entry_of, reading_again, sheets
from jiggen.desk.scans import Read, jpeg, judge, match, read_scans
from jiggen.desk.site import Place, attempt, go, page, posted, works_of
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.request import placing, plate
from jiggen.request.keeping import keep
from jiggen.request.scan import (
    DISTANCES,
    IMAGES,
    LEAVE_OUT,
    RENAME,
    SCAN,
    JudgedScan,
    ScanReading,
    ScanRequest,
)
from jiggen.request.survey import pattern_file, survey_file

if TYPE_CHECKING:
    from jiggen.measure.scan.network import Sightings
    from jiggen.request.survey import Judged

NAV = Place("/scan", "Scan a plate", "A plate on a scanner's glass: from pictures to a pattern.")
CALL = "call."  # and the first name of a hole
FIRST = ("face",)
MORE = ("caliper-sigma", "turned", "limit")


@dataclass(frozen=True)
class State:
    """What was entered, and what is known of it.

    `shown` is the fit that is drawn: without distances and names where those do not go with it.
    """

    entry: Entry
    read: Read
    filled: Filled[ScanRequest]
    seen: Sightings | None
    judged: JudgedScan | None
    shown: JudgedScan | None

    @property
    def asked(self) -> ScanRequest:
        """What was entered.  Raises InputError where something is wrong with it."""
        if self.filled.value is None or self.judged is None:
            message = "the scans were not measured"
            hint = "Go back, and look at what is wrong there."
            raise InputError(self.filled.findings or [Finding("desk.no-scan", message, hint=hint)])
        return self.filled.value

    def called(self, letter: str) -> str:
        """What a hole is called in the end."""
        return self.entry.one(CALL + letter) or letter


def look(request: Request) -> State:
    """Read what was entered, and measure the scans as far as that goes."""
    entry = entry_of(request, NAV.address)
    read = entry.read(request)
    given, faults = _given(entry)
    filled = _with(fill(SCAN, given), faults)
    state = State(entry, read, filled, None, None, None)
    if read.work or read.faulty or not read.pictures:
        return state
    reading = filled.value.reading if filled.value else ScanReading([], 1.0, None, None, [])
    known = attempt(lambda: reading.checked([Path(one) for one in entry.paths]))[0]
    turns = tuple(known[1]) if known and known[1] else None
    seen, wrong, _ = attempt(lambda: match(read.pictures, turns))
    if not seen:
        return replace(state, filled=_with(filled, wrong))
    judged, wrong, _ = attempt(lambda: judge(read.pictures, reading))
    shown = judged
    if not judged:
        plain = replace(reading, distances=[], rename=[])
        shown = attempt(lambda: judge(read.pictures, plain))[0]
    judged = judged if filled.value and not faults else None
    return replace(state, filled=_with(filled, wrong), seen=seen, judged=judged, shown=shown)


def _with(filled: Filled[ScanRequest], more: Sequence[Finding]) -> Filled[ScanRequest]:
    return replace(filled, findings=(*filled.findings, *more))


def _given(entry: Entry) -> tuple[dict[str, list[str]], list[Finding]]:
    """The words of the command's options, and what is wrong with the distances."""
    words = entry.words
    calls = {name[len(CALL) :]: one[-1] for name, one in words.items() if name.startswith(CALL)}
    distances, faults = entry.distances(calls)
    files = [[one.as_posix()] for one in _files(entry)] or [[], []]
    own = {
        IMAGES.name: entry.paths,
        DISTANCES.name: distances,
        LEAVE_OUT.name: entry.without,
        RENAME.name: [f"{letter}={name}" for letter, name in sorted(calls.items())],
        "survey": files[0],
        "out": files[1],
        "accept": [],
    }
    rows = {row.name for row in SCAN.rows}
    return {name: one for name, one in words.items() if name in rows} | own, faults


def _files(entry: Entry) -> list[Path]:
    """The survey file and the pattern file that are written."""
    name = entry.one("name")
    return [survey_file(name), pattern_file(name)] if name else []


@dataclass(frozen=True)
class Hole:
    """A row of the table of holes: its first name, what it is called, and what is known of it."""

    letter: str
    called: str
    without: bool
    values: tuple[str, ...]


def ask(request: Request) -> Response:
    """The scans, what they say together, and what is still to be said of the plate."""
    from jiggen.report.scan import HEAD, KNOWN, residuals

    state = look(request)
    if state.read.work and "x-part" not in request.headers:
        return go(f"/work/{state.read.work.number}")
    solved, todo = _solved(state)
    fields = state.filled.fields
    letters = state.seen.names if state.seen else ()
    fitted = state.shown.fitted if state.shown else None
    return page(
        request,
        "scan.html",
        query=request.url.query,
        entry=state.entry,
        read=state.read,
        judged=state.judged,
        ends=[(one, f"{one} {state.called(one)}" if state.called(one) != one else one)
              for one in letters],
        distance=fields[DISTANCES.name],
        first=[fields[name] for name in FIRST],
        more=[fields[name] for name in MORE],
        faults=state.filled.faults,
        groups=[one for one in state.filled.groups if one.title in (placing.PLATE, placing.DRILL)],
        head=HEAD,
        known=KNOWN,
        holes=_holes(state),
        sheets=[*sheets(state.entry, state.read.pictures, fitted, state.seen)],
        lines=[*residuals(state.judged.fitted)] if state.judged else [],
        solved=solved,
        todo=todo,
        there=[one for one in _files(state.entry) if one.exists()],
        command=state.filled.command,
    )  # fmt: skip


def _holes(state: State) -> list[Hole]:
    from jiggen.report.scan import HEAD, rows

    if not state.seen:
        return []
    fitted = state.judged.fitted if state.judged else None
    known = {row[0]: row[1:] for row in rows(fitted, state.read.pictures)} if fitted else {}
    empty = ("",) * (len(HEAD) - 1)
    return [
        Hole(
            letter,
            state.entry.one(CALL + letter),
            bool(state.entry.one(WITHOUT + letter)),
            empty if state.entry.one(WITHOUT + letter) else known.get(state.called(letter), empty),
        )
        for letter in state.seen.names
    ]


def _solved(state: State) -> tuple[Judged | None, tuple[Finding, ...]]:
    """The survey of the plate solved, or what is still open; neither where nothing is said."""
    asked, judged = state.filled.value, state.judged
    if not asked or not judged:
        return None, ()
    solved, faults, _ = attempt(lambda: asked.solve(asked.survey_text(judged)))
    field = plate.Entry({}).field_of
    named = (replace(one, key=field(one.key) or one.key, where="") for one in faults)
    return solved, tuple(named)


def save(request: Request, form: FormData) -> Response:
    """Write the survey file that the command would, filled in or not."""
    state = look(request)
    asked = state.asked
    assert state.judged
    if not asked.plate.name:
        raise InputError.of("scan.name", "the plate has no name", hint="Go back, and name it.")
    if state.judged.against and "accept" not in form:
        raise CheckFailed(state.judged.against)
    text = asked.survey_text(state.judged)
    keep(survey_file(asked.plate.name), text, replace="replace" in form)
    return go(f"/scan?{request.url.query}#kept")


def make(request: Request, form: FormData) -> Response:
    """Write the pattern that the command would."""
    state = look(request)
    asked = state.asked
    assert state.judged
    solved = asked.solve(asked.survey_text(state.judged))
    against = (*state.judged.against, *solved.against)
    text = solved.pattern(accept="accept" in form)
    if text is None or (state.judged.against and "accept" not in form):
        raise CheckFailed(against)
    target = pattern_file(asked.plate.name or "")
    keep(target, text, replace="replace" in form)
    return go(f"/jig?{urlencode({'pattern': target.stem})}")


def picture(request: Request) -> Response:
    """A small copy of a scan that was read."""
    read = read_scans(works_of(request), [request.path_params["name"]], "/scan")
    if not read.pictures:
        raise HTTPException(404)
    return Response(jpeg(read.pictures[0]), media_type="image/jpeg")


ROUTES = [
    Route("/scan", ask, methods=["GET"]),
    Route("/scan/picture/{name}", picture, methods=["GET"]),
    Route("/scan/file", posted(dropping(NAV.address)), methods=["POST"]),
    Route("/scan/read", posted(reading_again(NAV.address)), methods=["POST"]),
    Route("/scan/survey", posted(save), methods=["POST"]),
    Route("/scan/pattern", posted(make), methods=["POST"]),
]
