"""Records without files: what a build writes of a design, and the readers of it, given JSON data.

Tests change the data as a hand would a manifest.json, and read it again by the one reader.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import trimesh

from jiggen.design import Design
from jiggen.design.envelopes import rooms
from jiggen.design.pieces import Piece, list_pieces
from jiggen.design.reusable import Reusable
from jiggen.drilling import DrillingLimits, SkiState, check_drilling
from jiggen.export.manifest import Known, jig_record, part_entries
from jiggen.files import JOB_FILE, MANIFEST, PATTERN_FILE
from jiggen.job import JobDesign
from jiggen.layout import Layout
from jiggen.outcome import BootCheck, FoundBore, HoleCheck, Verification, WantedBore
from jiggen.pipeline.products import expect, expect_job
from jiggen.record import JigRecord, json_text, read_record
from jiggen.record.entries import LaidPiece, PrintBed
from jiggen.report import page, redrill, sheet
from jiggen.report.plastics import weigh
from jiggen.shelf.jigs import OwnedJig, owned
from jiggen.verify import limits as held_to
from jiggen.verify.reading.mesh import Mesh

BLOCK = Mesh(trimesh.creation.box().vertices, trimesh.creation.box().faces)
VOLUME = 1000.0  # mm³ of every part
JIG_MARK = "K7F3H"
Data = dict[str, Any]


def jig_data(
    chosen: Design, read: Callable[[str], Mesh] = lambda _: BLOCK, volume: float = VOLUME
) -> Data:
    """What a build writes of `chosen`, but for verification and files; a new copy each time."""
    data: Data = json.loads(_jig_text(chosen, read, volume))
    return data


@cache
def _jig_text(chosen: Design, read: Callable[[str], Mesh], volume: float) -> str:
    return _text(chosen, expect(chosen)[0], None, read, volume)


@cache
def _halves_text(jig: Reusable) -> str:
    expected, _ = expect_job(JobDesign(jig.whole, jig))
    return _text(jig.whole, expected, jig, lambda _: BLOCK, VOLUME)


def halves_data(jig: Reusable) -> Data:
    """As `jig_data`, of a jig with ladders."""
    data: Data = json.loads(_halves_text(jig))
    return data


def _text(
    chosen: Design, expected: Any, jig: Reusable | None, read: Callable[[str], Mesh], volume: float
) -> str:
    state, limits = SkiState(), DrillingLimits()
    made = list_pieces(chosen)
    parts = part_entries(made, {piece.name: volume for piece in made})
    tops = {guide.id: guide.bush_top_z for guide in chosen.guides}
    room = rooms(chosen.guides, chosen.stations, chosen.mechanism, chosen.clamps)
    chucks = {hole: one.chuck_z for hole, one in room.items()}
    drilled = check_drilling(chosen.layout, tops, state, limits, chucks=chucks)
    boots = (min(jig.layouts), max(jig.layouts)) if jig else None
    known = Known(expected, drilled, room, state, limits, {}, boots, jig)
    weighed = weigh(chosen, parts, read)
    record = jig_record(chosen, parts, known, weighed, beds=beds_of(made))
    return json_text(record.model_copy(update={"jig_mark": JIG_MARK}))


def beds_of(parts: Iterable[Piece]) -> tuple[PrintBed, ...]:
    """Two beds, the bodies on one and all else on the other."""
    laid = [
        LaidPiece(name=placed.name, part=part.name, x=2.0, y=2.0)
        for part in parts
        for placed in part.placed
    ]
    first = tuple(piece for piece in laid if piece.part.startswith("body"))
    second = tuple(piece for piece in laid if piece not in first)
    return tuple(
        PrintBed(file=f"bed-{number}.3mf", pieces=pieces)
        for number, pieces in enumerate((first, second), start=1)
    )


def verification(
    data: Data, *, lost: str = "", off: float = 0.0, checks: int = 347
) -> Verification:
    """What verify says of a record's holes: hole `lost` not in STEP, each `off` mm in STL."""
    holes = []
    for hole, guide in zip(data["holes"], data["guides"], strict=True):
        x, y, size = hole["x"], hole["y"], (guide["bore"], guide["throat"])
        step = None if hole["id"] == lost else FoundBore(x, y, *size, deviation=0.0, tilt=0.0)
        stl = FoundBore(x + off, y, *size, deviation=off, tilt=0.0)
        wanted, worst = WantedBore(x, y, *size), off if step else None
        holes.append(HoleCheck(hole["id"], guide["part"], wanted, step, stl, worst))
    lines = tuple(
        BootCheck(ladder["part"], entry["boot"], 0.0, 0.0, 0.0003, 0.6)
        for ladder in data["ladders"]
        for entry in data["boots"]
    )
    return Verification(not lost, checks, held_to.HELD_TO, tuple(holes), (), lines)


def verified(data: Data, holes: list[Data] | None = None, *, checks: int = 352) -> Data:
    """`data` with other `holes`, guides and stops to match, and a verification that passed."""
    if holes is not None:
        guides = {guide["id"]: guide for guide in data["guides"]}
        like = {**data["guides"][0], "top_z": 14.1}
        own = [{**guides.get(hole["id"], like), "id": hole["id"]} for hole in holes]
        data = data | {"holes": holes, "guides": own, "drilling": drilled(data, holes)}
    found = verification(data, off=0.0004, checks=checks)
    return data | {"verification": found.as_dict()}


def drilled(
    data: Data,
    holes: list[Data],
    ski: SkiState = SkiState(),  # noqa: B008
    limits: DrillingLimits = DrillingLimits(),  # noqa: B008
    screws: Any = None,
) -> Data:
    """The drilling check of `holes`, on the guides of `data` where it has them."""
    inputs = data["inputs"]
    layout = Layout(
        pattern=inputs["pattern"],
        boot=inputs["boot"],
        mount_shift=inputs["shift"],
        core=inputs["core"],
        side=inputs["side"],
        pair=inputs["pair"],
        ids=tuple(hole["id"] for hole in holes),
        groups=tuple(hole["group"] for hole in holes),
        positions=np.array([(hole["x"], hole["y"]) for hole in holes]),
        diameters=np.array([hole["diameter"] for hole in holes]),
        depths=np.array([hole["depth"] for hole in holes]),
    )
    tops = {guide["id"]: guide["top_z"] for guide in data["guides"]}
    tops = {hole["id"]: tops.get(hole["id"], 14.1) for hole in holes}
    return check_drilling(layout, tops, ski, limits, screws or {}).model_dump(mode="json")


def record(data: Data) -> JigRecord:
    """The record that `data` is the JSON of."""
    with TemporaryDirectory() as folder:
        (Path(folder) / MANIFEST).write_text(json.dumps(data), encoding="utf-8")
        found = read_record(Path(folder))
    assert isinstance(found, JigRecord)
    return found


def sheet_pdf(data: Data, **choices: Any) -> bytes:
    return sheet.sheet_pdf(record(data), **choices)


def report_html(folder: Path, data: Data) -> str:
    return page.report_html(folder, record(data))


def redrilled(data: Data, state: SkiState, limits: DrillingLimits) -> Data:
    return redrill.redrilled(record(data), state, limits).model_dump(mode="json")


def check_core(data: Data, core: str) -> None:
    redrill.check_core(record(data), core)


def on_a_shelf(mark: str, folder: Path, made: JigRecord, **uses: Any) -> OwnedJig:
    """What a shelf holds of a jig, by its record; in use and measured unless `uses` say more."""
    texts = {JOB_FILE: "", PATTERN_FILE: ""}
    return replace(
        owned(folder, made, texts), **{"mark": mark, "state": "in use", "passed": True} | uses
    )
