"""What was built: each folder, whether it may be used, and its files; none of one that failed."""

import os
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen import options as table
from jiggen.desk.folders import BuiltFolder, built_folders, find_folder, standing
from jiggen.desk.forms import Filled, entered, fill
from jiggen.desk.making import Made
from jiggen.desk.site import Place, go, page, works_of
from jiggen.errors import Finding, InputError, JiggenError
from jiggen.export.bundle import read_listed, zip_folder
from jiggen.files import PAGE, PICTURE, PLAN_SVG, STEP_FILE
from jiggen.files import SHEET as SHEET_FILE
from jiggen.layout import recorded_layout
from jiggen.record import AnyRecord, GaugeRecord, JigRecord
from jiggen.record.entries import FileEntry
from jiggen.report.summary import before_and_after, labelled, whose
from jiggen.request.sheet import SHEET, SHEET_BOOT, SheetRequest
from jiggen.verify import verdict

NAV = Place("/made", "Built", "Jigs, trial plates, gauges: look at them, take their files.")
KINDS = {"jig": "Jig", "trial": "Trial plate", "gauge": "Gauge"}
PAIR = (SHEET_BOOT, table.TICKET, table.THICKNESS, table.WIDTH_AT)
"""What one fills in first for a pair."""
MOST = 100  # folders in the list, the newest
TYPES = {".svg": "image/svg+xml", ".png": "image/png", ".pdf": "application/pdf"}
ANY_TYPE = "application/octet-stream"


@dataclass(frozen=True)
class Entry:
    """A folder in the list; `state` is what its record says, `mark` empty where it has none."""

    name: str
    address: str
    kind: str
    mark: str
    about: str
    passed: bool


@dataclass(frozen=True)
class Download:
    """A file to take away: its address below the folder's page, and what it is."""

    address: str
    name: str
    what: str
    size: int | None = None


def listed(most: int = MOST) -> list[Entry]:
    """The folders that were built last, the newest first."""
    return [_entry(folder) for folder in built_folders()[:most]]


def _entry(folder: BuiltFolder) -> Entry:
    try:
        record = folder.record()
    except JiggenError:
        return Entry(folder.name, folder.address, "Folder", "", "its record is damaged", False)
    about = "" if isinstance(record, GaugeRecord) else f"{record.inputs.pattern}, {whose(record)}"
    kind = KINDS[record.kind]
    return Entry(folder.name, folder.address, kind, record.jig_mark, about, record.passed)


def index(request: Request) -> Response:
    """Every folder that was built here."""
    return page(request, "made_list.html", entries=listed())


def show(request: Request) -> Response:
    """One folder."""
    folder = _folder(request)
    try:
        record = folder.record()
    except JiggenError as error:
        return page(request, "made.html", folder=folder, record=None, findings=error.findings)
    stand = standing(folder, record, works_of(request))
    if stand.work:  # its page leads back to this one
        return go(f"/work/{stand.work.number}")
    judged = record.verification and replace(record.verification, whose=whose(record))
    values: dict[str, Any] = {
        "folder": folder,
        "record": record,
        "kind": KINDS[record.kind],
        "whose": whose(record),
        "stand": stand,
        "verdict": verdict(judged).splitlines() if judged else (),
        "command": f"jiggen check {shlex.quote(os.path.relpath(folder.path))}",
        "warnings": _warnings(request, folder.path, record),
    }
    if stand.passed and judged:
        before, after = before_and_after(record, judged, folder.path)
        values |= {
            "before": labelled(before),
            "after": labelled(after),
            "downloads": list(_downloads(record)),
            "all_files": [Download(quote(n), n, "", e.bytes) for n, e in record.files.items()],
            "holes": judged.measured,
            **_pictures(folder, record),
        }
    return page(request, "made.html", **values)


def _folder(request: Request) -> BuiltFolder:
    """The folder that an address is about."""
    folder = find_folder(request.path_params["key"])
    if folder is None:
        raise HTTPException(404)
    return folder


def _warnings(request: Request, folder: Path, record: AnyRecord) -> list[Finding]:
    """What to beware of: as the record says, and what the build said if it was in this run."""
    found = dict.fromkeys(record.drilling.warnings if isinstance(record, JigRecord) else ())
    for work in works_of(request).latest():
        if isinstance(work.result, Made) and work.result.folder == str(folder.absolute()):
            found |= dict.fromkeys(work.result.warnings)
            break
    return list(found)


def _downloads(record: AnyRecord) -> Iterator[Download]:
    """What is taken away most, in the order in which it is needed."""
    yield Download("zip", "Everything", "all files of the folder in one, to keep or to send")
    for number, bed in enumerate(record.beds, start=1):
        pieces = ", ".join(f"{n} × {part}" if n > 1 else part for part, n in bed.counts.items())
        what = f"for the slicing program: {pieces}"
        yield Download(quote(bed.file), f"Print bed {number}", what, _size(record, bed.file))
    if SHEET_FILE in record.files:
        yield Download(SHEET_FILE, "The sheet", "to work from, as PDF", _size(record, SHEET_FILE))
    if not isinstance(record, GaugeRecord):
        yield Download("holes", "The holes at 1:1", "these pages alone, as PDF")
    if STEP_FILE in record.files:
        yield Download(STEP_FILE, "STEP", "all parts as solids", _size(record, STEP_FILE))
    if PAGE in record.files:
        yield Download(PAGE, "Its own page", "one file with everything to look at", None)


def _size(record: AnyRecord, name: str) -> int | None:
    entry: FileEntry | None = record.files.get(name)
    return entry.bytes if entry else None


def _pictures(folder: BuiltFolder, record: AnyRecord) -> dict[str, object]:
    """The 3D view as the jig's own page has it, or its picture alone; the drawing of its holes."""
    from jiggen.report.page.view import stored_view, viewer

    view = None
    if PAGE in record.files:
        view = stored_view(read_listed(folder.path, record, PAGE).decode("utf-8", "replace"))
    drawing = ""
    if PLAN_SVG in record.files:
        drawing = read_listed(folder.path, record, PLAN_SVG).decode("utf-8", "replace")
    return {
        "viewer": Markup(viewer(view, f"{folder.address}/look/{PICTURE}")) if view else "",
        "scene": Markup(view.data) if view else "",
        "drawing": Markup(drawing[drawing.index("<svg") :]) if "<svg" in drawing else "",
        "picture": f"{folder.address}/look/{PICTURE}",
    }


def file(request: Request) -> Response:
    """A file that the record lists, to be kept."""
    folder = _folder(request)
    name = request.path_params["name"]
    return _attached(folder.file(name), f"{folder.name}-{Path(name).name}")


def look(request: Request) -> Response:
    """The picture, to be seen on the page."""
    data = _folder(request).file(PICTURE)
    return Response(data, media_type=TYPES[".png"])


def zipped(request: Request) -> Response:
    """All files in one."""
    folder = _folder(request)
    return _attached(zip_folder(folder.path, folder.certified()), f"{folder.name}.zip")


def holes(request: Request) -> Response:
    """The pages at 1:1 alone."""
    from jiggen.report.sheet import layout_pdf
    from jiggen.request.defaults import read_defaults

    folder = _folder(request)
    record = folder.certified()
    if isinstance(record, GaugeRecord):
        raise HTTPException(404)
    skis: tuple[float, ...] = ()
    if isinstance(record, JigRecord):
        skis = record.inputs.ski.least, record.inputs.ski.most
    usual = read_defaults()
    paper, units = (row.read(usual[row.name].words or "") for row in (table.PAPER, table.UNITS))
    pages = layout_pdf(recorded_layout(record), skis, paper=paper, units=units)
    return _attached(pages, f"{folder.name}-holes.pdf")


def pair(request: Request) -> Response:
    """The sheet for the pair in hand: what it is asked for by, and what it will say."""
    folder = _folder(request)
    filled = _pair(request, folder)
    content = None
    if filled.value:
        try:
            content = filled.value.content()
        except JiggenError as error:
            filled = filled.refused(error)
    first = tuple(filled.fields[row.name] for row in PAIR)
    values: dict[str, Any] = {"first": first, "content": content, "query": request.url.query}
    return page(request, "pair.html", folder=folder, filled=filled, **values)


def pair_pdf(request: Request) -> Response:
    """That sheet."""
    folder = _folder(request)
    filled = _pair(request, folder)
    if filled.value is None:
        raise InputError(filled.findings)
    folder.certified()
    content = filled.value.content()
    return _attached(content.pdf(), content.file)


def _pair(request: Request, folder: BuiltFolder) -> Filled[SheetRequest]:
    """What is entered, of this folder and no other."""
    own = {table.FOLDER.name: [os.path.relpath(folder.path)]}
    return fill(SHEET, {**entered(request.query_params), **own})


def _attached(data: bytes, name: str) -> Response:
    """A file that the browser stores under `name`."""
    kind = TYPES.get(Path(name).suffix, ANY_TYPE)
    head = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(data, media_type=kind, headers=head)


ROUTES = [
    Route("/made", index),
    Route("/made/{key}", show),
    Route("/made/{key}/zip", zipped),
    Route("/made/{key}/pair", pair),
    Route("/made/{key}/pair/pdf", pair_pdf),
    Route("/made/{key}/holes", holes),
    Route(f"/made/{{key}}/look/{PICTURE}", look),
    Route("/made/{key}/{name:path}", file),
]
