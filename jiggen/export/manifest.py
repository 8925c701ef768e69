"""The manifest: what was asked for, what was made, and where everything is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen import __version__
from jiggen.design.guides import Guide
from jiggen.design.jig import STATION_ERROR, Design
from jiggen.design.pieces import Piece, list_hardware
from jiggen.layout.model import Layout

LIBRARIES = ("cadquery", "cadquery-ocp", "numpy", "shapely", "trimesh", "vtk", "ezdxf")


def manifest_of(
    design: Design, pieces: tuple[Piece, ...], volumes: Mapping[str, float]
) -> dict[str, Any]:
    """The manifest but for verification and file list; `volumes` in mm³ by part name."""
    layout, settings = design.layout, design.settings
    part_of = {station.name: body.name for body in design.bodies for station in body.stations}
    return {
        "manifest": 1,
        "versions": {"jiggen": __version__, **versions()},
        "inputs": {
            **asked(layout),
            **asdict(settings),
        },
        "holes": hole_rows(layout),
        "guides": [
            {**guide_row(guide, body.name), "top_z": rounded(guide.bush_top_z)}
            for body in design.bodies
            for guide in body.guides
        ],
        "openings": _openings(design),
        "joint": None if design.joint is None else {"x": 0.0, "screws": len(design.joint.screw_y)},
        "stations": [
            {
                "name": station.name,
                "role": station.role,
                "half": station.half,
                "part": part_of[station.name],
                "x": rounded(station.x),
            }
            for station in design.stations
        ],
        "sideways": {
            "station_error": STATION_ERROR,
            "holes": {
                hole: round(error, 4) for hole, error in zip(layout.ids, design.errors, strict=True)
            },
        },
        "parts": [part_row(piece, volumes[piece.name]) for piece in pieces],
        "hardware": [asdict(bought) for bought in list_hardware(design)],
        "verification": None,
        "files": {},
    }


def asked(layout: Layout) -> dict[str, Any]:
    """What was asked of a layout, as the manifest's inputs begin; lengths in mm."""
    return {
        "pattern": layout.pattern,
        "boot": layout.boot,
        "shift": layout.mount_shift,
        "core": layout.core,
        "side": layout.side,
        "pair": layout.pair,
    }


def hole_rows(layout: Layout) -> list[dict[str, Any]]:
    """The manifest's holes: ids, groups, and places, drills and depths in mm."""
    columns = (layout.ids, layout.groups, layout.positions, layout.diameters, layout.depths)
    return [
        {
            "id": hole,
            "group": group,
            "x": rounded(x),
            "y": rounded(y),
            "diameter": rounded(diameter),
            "depth": rounded(depth),
        }
        for hole, group, (x, y), diameter, depth in zip(*columns, strict=True)
    ]


def guide_row(guide: Guide, part: str) -> dict[str, Any]:
    """What guides the drill at a hole of `part`: diameters and the heights they hold between."""
    return {
        "id": guide.id,
        "part": part,
        "bore": rounded(guide.bore),
        "bore_z": [rounded(z) for z in guide.bore_z],
        "throat": rounded(guide.throat),
        "throat_z": [rounded(z) for z in guide.throat_z],
    }


def part_row(piece: Piece, volume: float) -> dict[str, Any]:
    """One printed part, its `volume` in mm³, and where its pieces go."""
    return {
        "name": piece.name,
        "kind": piece.kind,
        "half": piece.half,
        "file": f"parts/{piece.name}.stl",
        "count": len(piece.placed),
        "printed": True,
        "volume": round(volume, 3),
        "to_ski": _rows(piece.to_ski(piece.placed[0])),
        "placed": [
            {"name": placed.name, "to_ski": _rows(piece.to_ski(placed))} for placed in piece.placed
        ],
    }


def _openings(design: Design) -> list[dict[str, Any]]:
    """Round upright openings that are meant to be in the bodies, besides the guides."""
    shape = design.mechanism.station
    largest = 2 * max(shape.cone_radius, shape.flange_radius)
    return [
        {
            "name": f"{station.name} station",
            "part": body.name,
            "x": rounded(station.x),
            "y": 0.0,
            "diameter": rounded(largest),
        }
        for body in design.bodies
        for station in body.stations
    ]


def rounded(value: float) -> float:
    """Rounded to a nanometre: beyond what any file holds, and without float dust."""
    return round(float(value), 6) + 0.0


def _rows(matrix: NDArray[np.float64]) -> list[list[float]]:
    """Full precision: a rounded matrix would no longer be rigid."""
    return [[float(value) + 0.0 for value in row] for row in matrix]


def versions() -> dict[str, str]:
    """Versions of the libraries that decide what a file looks like."""
    found = {}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "unknown"
    return found
