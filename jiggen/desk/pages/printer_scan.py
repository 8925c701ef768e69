"""A gauge on a scanner's glass: its holes by scans and one distance, the rest by its readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.folders import BuiltFolder
from jiggen.desk.forms import Filled, fill
from jiggen.desk.glass import Entry, dropping, entry_of, glass_values, reading_again, scan_words
from jiggen.desk.pages.printer import KEY, gauge_in, text_of
from jiggen.desk.scans import Read
from jiggen.desk.site import attempt, go, page, posted
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.files import MEASUREMENTS
from jiggen.request.printed import JudgedGauge
from jiggen.request.scanned import SCANNED_GAUGE, OnGlass, ScannedGauge

if TYPE_CHECKING:
    from jiggen.measure.printer.read import Measurements

BASE = "/printer/scan"
FIRST = ("name", "material")
MORE = ("caliper-sigma", "turned")


@dataclass(frozen=True)
class State:
    """What was entered, and what is known of it; `glass` is what is drawn."""

    entry: Entry
    folder: BuiltFolder
    saved: Measurements
    read: Read
    filled: Filled[ScannedGauge]
    glass: OnGlass | None
    judged: JudgedGauge | None


def look(request: Request) -> State:
    """Read what was entered, and fit it as far as that goes.  Raises InputError for an invalid
    file of readings.
    """
    from jiggen.measure.printer.read import read_measurements

    entry = entry_of(request, BASE)
    folder, _ = gauge_in(entry.words)
    read = entry.read(request)
    words, faults = scan_words(entry, (*FIRST, *MORE))
    file = folder.path / MEASUREMENTS
    filled = fill(SCANNED_GAUGE, {"file": [str(file)], **words})
    saved = read_measurements(file, scanned=True)
    state = State(entry, folder, saved, read, filled, None, None)
    asked = filled.value
    if not asked or read.work or read.faulty or not read.pictures:
        return state
    glass, wrong, _ = attempt(lambda: asked.look(saved, read.pictures))
    judged = None
    if glass and not glass.against and not faults:
        judged, wrong, _ = attempt(lambda: asked.fit.judge(saved, glass))
    if not glass:
        plain = replace(asked, scans=replace(asked.scans, distances=[]))
        glass = attempt(lambda: plain.look(saved, read.pictures))[0]
    filled = replace(filled, findings=(*filled.findings, *faults, *wrong))
    return replace(state, filled=filled, glass=glass, judged=judged)


def ask(request: Request) -> Response:
    """The scans, and the profile that they make with what was read."""
    from jiggen.report.scan import residuals

    state = look(request)
    if state.read.work and "x-part" not in request.headers:
        return go(f"/work/{state.read.work.number}")
    glass, judged, filled = state.glass, state.judged, state.filled
    holes = [name for name, one in state.saved.features.items() if one.kind == "hole"]
    return page(
        request,
        "printer_scan.html",
        query=request.url.query,
        key=(KEY, state.folder.key),
        title=f"Scans of {state.folder.name}",
        first=[filled.fields[name] for name in FIRST],
        more=[filled.fields[name] for name in MORE],
        lines=[*residuals(glass.fitted)] if glass and judged else [],
        judged=judged,
        text=text_of(judged, filled) if judged else "",
        **glass_values(state.entry, state.read, filled, glass, holes),
    )


def store(request: Request, _: FormData) -> Response:
    """Store the profile that scans and readings make."""
    state = look(request)
    asked, judged = state.filled.value, state.judged
    if not asked or not judged:
        message = "the scans make no profile yet"
        nothing = [Finding("printer.nothing-measured", message)]
        against = state.glass.against if state.glass else ()
        raise InputError(state.filled.findings or against or nothing)
    if not asked.fit.store(judged):
        raise CheckFailed(judged.against)
    return go(f"/printer?{urlencode({'name': asked.fit.name or ''})}#shown")


ROUTES = [
    Route(BASE, ask, methods=["GET"]),
    Route(f"{BASE}/file", posted(dropping(BASE)), methods=["POST"]),
    Route(f"{BASE}/read", posted(reading_again(BASE)), methods=["POST"]),
    Route(f"{BASE}/store", posted(store), methods=["POST"]),
]
