"""Finished jigs that are not true, and what a caliper reads over pins in their bushes.

Apart from the program's own reckoning: every hole is carried through its own body's printer in
the bed's frame, and the bodies are then laid joint to joint.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np
from ladder_samples import ladder_manifest
from numpy.typing import NDArray
from printer_samples import Printer
from record_samples import jig_data

from jiggen.design import Bed, Settings, SkiRange
from jiggen.design.jig import Design, design_jig
from jiggen.design.pieces import list_pieces
from jiggen.layout import lay_out
from jiggen.measure.printer.read import PinDistance, PinReadings
from jiggen.pattern import find_pattern, read_pattern

Array = NDArray[np.float64]


@cache
def designed(pattern: str = "club-piste", bed: float = 220.0) -> Design:
    holes = lay_out(read_pattern(find_pattern(pattern)), 305.0)
    return design_jig(holes, Settings(SkiRange(84.0, 112.0), bed=Bed(bed, bed, bed)))


def write_jig(
    folder: Path, chosen: Design, compensation: dict | None = None, **inputs: float
) -> Path:
    """A folder with a jig's manifest in it, and no other file; `inputs` as if asked for."""
    data = jig_data(chosen)
    data["inputs"] |= inputs
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(data | {"compensation": compensation})
    (folder / "manifest.json").write_text(text, encoding="utf-8")
    return folder


def sent(printer: str = "club", matrix: Iterable = ((1, 0), (0, 1)), **numbers: float) -> dict:
    return {"printer": printer, "matrix": [list(row) for row in matrix], "height": 1.0} | numbers


def finished(
    chosen: Design, printers: dict[str, Printer], matrix: Array | None = None, gap: float = 0.0
) -> dict[str, Array]:
    """Where each hole is (mm, along and across the ski from the mark), by its body's printer.

    Bodies printed alike meet with their joints square; `gap` lies at the mark.
    """
    sent_as = np.eye(2) if matrix is None else matrix
    where = dict(zip(chosen.layout.ids, chosen.layout.positions, strict=True))
    found = {}
    for piece in list_pieces(chosen):
        body = next((body for body in chosen.bodies if body.name == piece.name), None)
        if body is None:
            continue
        to_ski = piece.to_ski(piece.placed[0])
        from_ski = np.linalg.inv(to_ski)
        ids = [guide.id for guide in body.guides]
        # the mark, a point to the left on the joint, then the holes
        points = np.array([(0.0, 0.0), (0.0, 10.0), *(where[hole] for hole in ids)])
        flat = np.column_stack([points, np.zeros(len(points)), np.ones(len(points))])
        on_bed = (flat @ from_ski.T)[:, :2]
        came_out = printers[body.name].print(on_bed @ sent_as.T)
        back = np.column_stack([came_out, np.zeros(len(points)), np.ones(len(points))])
        on_ski = (back @ to_ski.T)[:, :2]
        on_ski = on_ski - on_ski[0]
        left = on_ski[1] / np.hypot(*on_ski[1])
        square = np.array([[left[1], -left[0]], left])  # rows: ahead, left
        shift = (gap / 2 if body.name == "body-toe" else -gap / 2, 0.0)
        for hole, place in zip(ids, on_ski[2:] @ square.T, strict=True):
            found[hole] = place + (shift if len(chosen.bodies) > 1 else (0.0, 0.0))
    return found


def write_halves(folder: Path, name: str) -> Path:
    """A folder with the manifest of a jig for boots of 265 to 345 mm, and no other file."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "manifest.json").write_text(json.dumps(ladder_manifest(name)), encoding="utf-8")
    return folder


def finished_half(name: str, body: str, boot: float, printer: Printer) -> dict[str, Array]:
    """Where the holes of one half of `write_halves` are for `boot`, as `finished`.

    Its stations lie on the centre line, and the end of its line for the boot on the mark.
    """
    manifest = ladder_manifest(name)
    to_ski = next(np.array(part["to_ski"]) for part in manifest["parts"] if part["name"] == body)
    ids = [guide["id"] for guide in manifest["guides"] if guide["part"] == body]
    at = {hole["id"]: (hole["x"], hole["y"]) for hole in manifest["holes"]}
    ways = {s["role"]: (s["x"], 0.0) for s in manifest["stations"] if s["part"] == body}
    points = [ways["rear"], ways["front"], _line(manifest, body, boot)]
    points += [at[hole] for hole in ids]
    flat = np.column_stack([np.array(points), np.zeros(len(points)), np.ones(len(points))])
    on_bed = (flat @ np.linalg.inv(to_ski).T)[:, :2]
    back = np.column_stack([printer.print(on_bed), np.zeros(len(points)), np.ones(len(points))])
    rear, front, line, *holes = (back @ to_ski.T)[:, :2]
    ahead = (front - rear) / np.hypot(*(front - rear))
    left = np.array([-ahead[1], ahead[0]])
    return {
        hole: np.array([(place - line) @ ahead, (place - rear) @ left])
        for hole, place in zip(ids, holes, strict=True)
    }


def _line(manifest: dict, body: str, boot: float) -> tuple[float, float]:
    """Where the line for `boot` is, near its end at the edge; a half that stands still has one."""
    rows = [row for one in manifest["ladders"] if one["part"] == body for row in one["rows"]]
    for row in rows:
        for line in row["lines"]:
            if row["name"] not in ("shift", "bands-left") and line["first"] <= boot <= line["last"]:
                return line["x"], row["foot"]
    return 0.0, 0.0


def readings(
    places: dict[str, Array],
    pairs: Iterable[tuple[str, str]],
    random: np.random.Generator | None = None,
    noise: float = 0.03,
    pin: float = 3.6,
) -> PinReadings:
    """Over the outsides of pins standing in those places."""
    rows = []
    for one, other in pairs:
        true = float(np.hypot(*(places[one] - places[other]))) + pin
        value = true if random is None else round(float(random.normal(true, noise)), 2)
        pins = {"edges": "outside", "over": (pin, pin), "value": value}
        rows.append(PinDistance.model_construct(between=(one, other), **pins))
    return PinReadings(tuple(rows), noise, source="jig.toml")
