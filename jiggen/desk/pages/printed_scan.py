"""A printed jig on a scanner's glass: its verdict by scans and one distance, without pins."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.folders import BuiltFolder, standing
from jiggen.desk.forms import Filled, fill
from jiggen.desk.glass import Entry, dropping, entry_of, glass_values, reading_again, scan_words
from jiggen.desk.pages.printed import KEY, jig_of, keep_judged, refuse_failed
from jiggen.desk.scans import Read
from jiggen.desk.site import attempt, go, page, posted, works_of
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.record import JigRecord
from jiggen.report.summary import whose
from jiggen.request.printed import JudgedPrint
from jiggen.request.scanned import SCANNED, OnGlass, ScannedPrint

if TYPE_CHECKING:
    from jiggen.measure.scan.adjust import Face
    from jiggen.report.printed import Printout

BASE = "/printed/scan"
FIRST = ("face",)
MORE = ("caliper-sigma", "turned", "limit", "name")
OWN = (*FIRST, *MORE)


@dataclass(frozen=True)
class State:
    """What was entered, and what is known of it; `glass` is what is drawn."""

    entry: Entry
    folder: BuiltFolder
    record: JigRecord
    printout: Printout
    read: Read
    filled: Filled[ScannedPrint]
    glass: OnGlass | None
    judged: JudgedPrint | None


def rims(entry: Entry) -> tuple[float, ...]:
    """The rims of the jig's face that lies on the glass."""
    from jiggen.measure.printer.scanned import rims_of
    from jiggen.report.printed import read_printout

    folder, _ = jig_of(entry.words)
    face: Face = "under" if entry.one("face") == "under" else "top"
    return tuple(rims_of(read_printout(folder.path).jig, face))


def look(request: Request) -> State:
    """Read what was entered, and judge the jig as far as that goes."""
    from jiggen.report.printed import read_printout

    entry = entry_of(request, BASE)
    folder, record = jig_of(entry.words)
    read = entry.read(request, rims(entry))
    words, faults = scan_words(entry, OWN)
    filled = fill(SCANNED, {"folder": [str(folder.path)], **words})
    printout = read_printout(folder.path)
    state = State(entry, folder, record, printout, read, filled, None, None)
    asked = filled.value
    if not asked or read.work or read.faulty or not read.pictures:
        return state
    found, wrong, _ = attempt(lambda: asked.judge(printout, read.pictures))
    filled = replace(filled, findings=(*filled.findings, *faults, *wrong))
    if found and not faults:
        return replace(state, filled=filled, glass=found[0], judged=found[1])
    plain = replace(asked, scans=replace(asked.scans, distances=[]))
    found = found or attempt(lambda: plain.judge(printout, read.pictures))[0]
    return replace(state, filled=filled, glass=found[0] if found else None)


def ask(request: Request) -> Response:
    """The scans, and the verdict."""
    from jiggen.report.readings import printed_text
    from jiggen.report.scan import residuals

    state = look(request)
    stand = standing(state.folder, state.record, works_of(request), f"{BASE}?{request.url.query}")
    if stand.work:
        return go(f"/work/{stand.work.number}")
    refuse_failed(state.folder, stand)
    if state.read.work and "x-part" not in request.headers:
        return go(f"/work/{state.read.work.number}")
    glass, judged, fields = state.glass, state.judged, state.filled.fields
    return page(
        request,
        "printed_scan.html",
        query=request.url.query,
        key=(KEY, state.folder.key),
        title=f"Scans of {state.folder.name}",
        mark=state.record.jig_mark,
        whose=whose(state.record),
        first=[fields[name] for name in FIRST],
        more=[fields[name] for name in MORE],
        lines=[*residuals(glass.fitted)] if glass and judged else [],
        judged=judged,
        text=printed_text(judged.found, judged.made) if judged else "",
        **glass_values(state.entry, state.read, state.filled, glass, state.printout.jig.holes),
    )


def judge(request: Request, _: FormData) -> Response:
    """Keep on the shelf what the scans say; store the corrected profile if it was named."""
    state = look(request)
    stand = standing(state.folder, state.record, works_of(request), f"{BASE}?{request.url.query}")
    refuse_failed(state.folder, stand)
    asked, judged = state.filled.value, state.judged
    if not asked or (not judged and state.filled.findings):
        raise InputError(state.filled.findings)
    if not judged:
        message = "the scans say nothing of this jig yet"
        against = state.glass.against if state.glass else ()
        raise CheckFailed(against or [Finding("printer.nothing-measured", message)])
    address = state.entry.address(state.entry.names)
    return keep_judged(request, state.folder, asked.asked, judged, address)


ROUTES = [
    Route(BASE, ask, methods=["GET"]),
    Route(f"{BASE}/file", posted(dropping(BASE, rims)), methods=["POST"]),
    Route(f"{BASE}/read", posted(reading_again(BASE, rims)), methods=["POST"]),
    Route(f"{BASE}/judge", posted(judge), methods=["POST"]),
]
