"""A plate on a scanner's glass: its pictures, the holes found in them, and the pattern of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.forms import Filled, Words, entered, fill
from jiggen.desk.scans import (
    CANCELLED,
    MOST,
    Read,
    jpeg,
    judge,
    keep_scans,
    kept_scans,
    match,
    read_scans,
)
from jiggen.desk.site import Place, attempt, go, page, posted, works_of
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.request import placing
from jiggen.request.keeping import keep
from jiggen.request.plate import HOW, Entry
from jiggen.request.scan import IMAGES, SCAN, SCANS_FOLDER, JudgedScan, ScanReading, ScanRequest
from jiggen.request.survey import pattern_file, survey_file

if TYPE_CHECKING:
    from jiggen.measure.scan.files import Picture
    from jiggen.measure.scan.network import Sightings
    from jiggen.request.survey import Judged

NAV = Place("/scan", "Scan a plate", "A plate on a scanner's glass: from pictures to a pattern.")
CALL, WITHOUT = "call.", "without."  # and the letter of a hole
ENDS = ("from", "to", "how", "read")  # and the row of a distance
LEAST_ROWS = 2  # distances that there is room for
MARGIN = 15.0  # mm around the holes that are shown
HIT = 3.0  # mm around a hole that a click on it may miss
FIRST = ("face",)
MORE = ("caliper-sigma", "turned", "limit")


@dataclass(frozen=True)
class State:
    """What was entered, and what is known of it.

    `shown` is the fit that is drawn: without distances and names where those do not go with it.
    """

    words: dict[str, list[str]]
    names: list[str]
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
        return "".join(self.words.get(CALL + letter, [letter])[-1:])

    def one(self, name: str) -> str:
        """What stands in one field."""
        return "".join(self.words.get(name, [])[-1:])


def look(request: Request, *, again: bool = False) -> State:
    """Read what was entered, and measure the scans as far as that goes."""
    words = entered(request.query_params)
    names = list(dict.fromkeys(words.pop(IMAGES.name, [])))
    read = read_scans(works_of(request), names, f"/scan?{request.url.query}", again=again)
    given, faults = _given(words, names)
    filled = fill(SCAN, given)
    filled = replace(filled, findings=(*filled.findings, *faults))
    state = State(words, names, read, filled, None, None, None)
    if read.work or read.faulty or not read.pictures:
        return state
    reading = filled.value.reading if filled.value else ScanReading([], 1.0, None, None, [])
    turns = attempt(lambda: reading.checked([SCANS_FOLDER / one for one in names]))[0]
    seen, wrong, _ = attempt(
        lambda: match(read.pictures, tuple(turns[1]) if turns and turns[1] else None)
    )
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


def _given(words: Words, names: Sequence[str]) -> tuple[dict[str, list[str]], list[Finding]]:
    """The words of the command's options, and what is wrong with the distances."""
    rows = {row.name for row in SCAN.rows} - {"survey", "out", "accept"}
    given = {name: list(one) for name, one in words.items() if name in rows}
    given[IMAGES.name] = [(SCANS_FOLDER / name).as_posix() for name in names]
    calls = {name[len(CALL) :]: one[-1] for name, one in words.items() if name.startswith(CALL)}
    if calls:
        given["rename"] = [f"{letter}={name}" for letter, name in sorted(calls.items())]
    if out := sorted(name[len(WITHOUT) :] for name in words if name.startswith(WITHOUT)):
        given["leave-out"] = [",".join(out)]
    given["distance"], faults = [], list[Finding]()
    for row in _rows(words):
        one, other, how, read = ("".join(words.get(f"{end}.{row}", [])[-1:]) for end in ENDS)
        if one and other and read:
            ends = f"{calls.get(one, one)}-{calls.get(other, other)}"
            given["distance"].append(f"{ends}:{how or HOW[0]}={read}")
        elif read:
            message = f"distance {row} has no two ends"
            faults.append(Finding("scan.distance", message, key="distance", hint="Choose them."))
    if name := words.get("name"):
        given["survey"] = [survey_file(name[-1]).as_posix()]
        given["out"] = [pattern_file(name[-1]).as_posix()]
    return given, faults


def _rows(words: Words) -> list[int]:
    """The numbers of the distances."""
    found = {name.partition(".")[2] for name in words if name.partition(".")[0] in ENDS}
    return sorted(int(one) for one in found if one.isdecimal() and len(one) < 3)


@dataclass(frozen=True)
class Hole:
    """A row of the table of holes: its first name, what it is called, and what is known of it."""

    letter: str
    called: str
    without: bool
    values: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """One scan as it is shown: `marks` are drawn on it, `hits` lead to the rows of its holes."""

    name: str
    words: str
    size: tuple[float, float]
    box: str
    marks: Markup
    hits: tuple[tuple[str, float, float, float], ...]
    fewer: str


def ask(request: Request) -> Response:
    """The scans, what they say together, and what is still to be said of the plate."""
    from jiggen.report.scan import HEAD, KNOWN, residuals

    state = look(request)
    if state.read.work and "x-part" not in request.headers:
        return go(f"/work/{state.read.work.number}")
    solved, todo = _solved(state)
    fields = state.filled.fields
    used = _rows(state.words)
    free = max(LEAST_ROWS - len(used), 1)
    rows = [*used, *range(max(used, default=0) + 1, max(used, default=0) + 1 + free)]
    return page(
        request,
        "scan.html",
        query=request.url.query,
        state=state,
        offered=_offered(state),
        faulty=[(name, said, _fewer(state, name)) for name, said in state.read.faulty],
        cancelled=any(one.code == CANCELLED for _, said in state.read.faulty for one in said),
        rows=rows,
        ends=ENDS,
        hows=HOW,
        letters=state.seen.names if state.seen else (),
        distance=fields["distance"],
        first=[fields[name] for name in FIRST],
        more=[fields[name] for name in MORE],
        groups=[one for one in state.filled.groups if one.title in (placing.PLATE, placing.DRILL)],
        head=HEAD,
        known=KNOWN,
        holes=_holes(state),
        sheets=[*_sheets(state)],
        said=[*residuals(state.judged.fitted)] if state.judged else [],
        solved=solved,
        todo=todo,
        taken=[one for one in _files(state) if one.exists()],
        command=state.filled.command,
    )


def _offered(state: State) -> list[tuple[str, str]]:
    """Scans in the folder that are not used, and the address that uses them."""
    names = [name for name in kept_scans() if name not in state.names]
    return [(name, _address(state, [*state.names, name])) for name in names[:MOST]]


def _address(state: State, names: Sequence[str]) -> str:
    """The page with other scans."""
    words: Mapping[str, Sequence[str]] = {IMAGES.name: names, **state.words}
    return f"/scan?{urlencode(words, doseq=True)}"


def _fewer(state: State, name: str) -> str:
    return _address(state, [one for one in state.names if one != name])


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
            state.one(CALL + letter),
            bool(state.one(WITHOUT + letter)),
            empty if state.one(WITHOUT + letter) else known.get(state.called(letter), empty),
        )
        for letter in state.seen.names
    ]


def _sheets(state: State) -> Iterator[Sheet]:
    from jiggen.draw.vector import svg_text
    from jiggen.measure.scan.picture import arrows, magnification, marks

    fitted = state.shown.fitted if state.shown else None
    times = magnification(fitted) if fitted else 0.0
    for number, picture in enumerate(state.read.pictures):
        good = [hole for hole in picture.holes if not hole.fault]
        (left, low), (right, high) = _frame(picture)
        drawn = Markup()
        if fitted:
            drawing = marks(fitted, state.read.pictures, number, times)
            drawing = replace(drawing, lower=(left, low), upper=(right, high))
            drawn = Markup(svg_text(drawing, 2))
        yield Sheet(
            picture.source,
            arrows(times) if fitted else "",
            picture.size,
            " ".join(f"{one:.2f}" for one in (left, -high, right - left, high - low)),
            drawn,
            tuple(_hits(state, number)) or tuple(("", h.x, h.y, h.diameter / 2) for h in good),
            _fewer(state, picture.source),
        )


def _frame(picture: Picture) -> tuple[tuple[float, float], tuple[float, float]]:
    """The corners of what is worth looking at: the holes and some mm around them."""
    good = [hole for hole in picture.holes if not hole.fault]
    wide, high = (side / 2 for side in picture.size)
    across, along = [hole.x for hole in good] or [-wide, wide], [hole.y for hole in good] or [0.0]
    lower = max(min(across) - MARGIN, -wide), max(min(along) - MARGIN, -high)
    return lower, (min(max(across) + MARGIN, wide), min(max(along) + MARGIN, high))


def _hits(state: State, number: int) -> Iterator[tuple[str, float, float, float]]:
    """The first name, the place and the radius of what is clicked on, of each hole in one scan."""
    seen = state.seen
    for row, scan in enumerate(seen.scan.tolist() if seen else ()):
        if seen and scan == number:
            x, y = seen.at[row].tolist()
            yield seen.names[seen.hole[row]], x, y, float(seen.diameter[row]) / 2 + HIT


def _solved(state: State) -> tuple[Judged | None, tuple[Finding, ...]]:
    """The survey of the plate solved, or what is still open; neither where nothing is said."""
    asked, judged = state.filled.value, state.judged
    if not asked or not judged:
        return None, ()
    solved, faults, _ = attempt(lambda: asked.solve(asked.survey_text(judged)))
    field = Entry({}).field_of
    named = (replace(one, key=field(one.key) or one.key, where="") for one in faults)
    return solved, tuple(named)


def _files(state: State) -> list[Path]:
    name = state.one("name")
    return [survey_file(name), pattern_file(name)] if name else []


def drop(request: Request, form: FormData) -> Response:
    """Keep the scans that were dropped, and begin to read them."""
    state_words = entered(request.query_params)
    names = [*state_words.pop(IMAGES.name, []), *keep_scans(form)]
    query = urlencode({IMAGES.name: list(dict.fromkeys(names)), **state_words}, doseq=True)
    read_scans(works_of(request), names, f"/scan?{query}")
    return go(f"/scan?{query}")


def read_again(request: Request, _: FormData) -> Response:
    """Begin to read what was cancelled."""
    look(request, again=True)
    return go(f"/scan?{request.url.query}")


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
    Route("/scan/file", posted(drop), methods=["POST"]),
    Route("/scan/read", posted(read_again), methods=["POST"]),
    Route("/scan/survey", posted(save), methods=["POST"]),
    Route("/scan/pattern", posted(make), methods=["POST"]),
]
