"""A printer's distortion taken out of a part's mesh before the printer gets it.

In the part's own print frame, whose axes are the printer's: first round walls of guides are
widened and the rail's walls set in, each wall along its own normal in the bed plane, no vertex
up or down; then the whole mesh is stretched and sheared.  Every edge of the mesh stays, so what
was watertight still is; a wall that would run into another is refused.

Which walls move:

- **bush pockets** with their lead-in and the ends of the bridge's slot, by half of `pocket`;
- **throats** under bushes with the slot's sides, and **guides without a bush**, by half of `hole`;
- **the rail's walls** by `moving`: it has a part in both sliding fits, with the channel and with
  the pinion's teeth, and takes the whole correction of either.  What ends within the scale's
  depth of the bed stays: the scale's lines, which slide on nothing, and the first layer, which is
  drawn in already.

All else keeps its place: the station's recess and its pinion have 0.4 mm of room and meet in a
cone, the lock screw has 0.5 mm, and the joint's screws lie level, where no hole is printed round.

Set in by m, both rails of a station, one part printed twice, come m further in to the ski: the
jig stays centred, and both scales read m less, alike.  Rack and pinion gain 2m/cos α of backlash
(0.26 mm at most), which centring under pressure does not feel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.design.gear import backlash
from jiggen.design.graduation import DEPTH as GRADUATION_DEPTH
from jiggen.design.guides import Guide
from jiggen.design.jig import Design
from jiggen.design.pieces import Piece, pieces
from jiggen.design.plan import clashes, inner_features, outer_features, station_plan
from jiggen.errors import Finding, InputError
from jiggen.export.meshes import PartMesh
from jiggen.printer import LARGEST_OFFSET, LARGEST_STRETCH, Compensation

Array = NDArray[np.float64]

SET_IN = ("rail",)  # parts whose walls are set in
LEAST_WALL = 1.2  # mm between cut-outs in the file: three lines of a 0.4 mm nozzle
LEAST_LEDGE = 0.5  # mm that a bush still rests on: from memory
MOST_SET_IN = 0.12  # mm: the first layer, drawn in by twice as much, must stay inside
LEAST_PLAY = 0.02  # mm of room that a sliding fit must keep in the file: from memory
WALL = 1e-3  # share of a normal that is level: below, a face is a floor or a ceiling
SNAP = 2e-3  # mm: vertices this near a radius, height or corner are on it
CHORD = 0.03  # mm that a facet may cut inside its circle
PARALLEL = 1e-4  # of the larger eigenvalue: below, a vertex' walls are all one direction
SLIVER = 1e-4  # mm: a flatter triangle has no side to speak of
HINT = "Measure the printer's gauge again, and mend the printer before you compensate it."


@dataclass(frozen=True)
class Hollow:
    """Upright walls around an axis (x, y) between the heights `z`, in a print frame; mm.

    Their corners lie within `radius` of it; they are round, or flat at the distance `side`.
    All are moved `out` from the axis.
    """

    x: float
    y: float
    z: tuple[float, float]
    radius: tuple[float, float]
    out: float
    side: float | None = None


def refuse_compensation(compensation: Compensation) -> None:
    """Raise InputError ``export.compensation``, all faults at once, beyond what is sensible."""
    stretch = np.append(np.abs(compensation.matrix - np.eye(2)).ravel(), compensation.height - 1)
    worst = float(np.abs(stretch).max())
    findings = []
    if not worst <= LARGEST_STRETCH:
        findings.append(
            _refused(
                f"would change a part by {100 * worst:.2f} % of its size, "
                f"{100 * LARGEST_STRETCH:g} % is the most"
            )
        )
    for name in ("hole", "pocket", "moving"):
        offset = getattr(compensation, name)
        if not abs(offset) <= LARGEST_OFFSET:
            findings.append(
                _refused(f"{name} is {offset:+.2f} mm, {LARGEST_OFFSET:g} mm is the most")
            )
    if findings:
        raise InputError(findings)


def refuse_for_design(design: Design, compensation: Compensation) -> None:
    """Raise InputError where `design` has no room for what would be done to its parts.

    Codes ``export.compensation``, and ``design.clash`` with the walls that would be too thin.
    """
    refuse_compensation(compensation)
    grown = tuple(grown_guide(guide, compensation) for guide in design.guides)
    plates = tuple(body.plate for body in design.bodies)
    stations = (
        (f"{station.name} station", station_plan(design.mechanism.station, station.x))
        for station in design.stations
    )
    features = (*outer_features(plates, stations), *inner_features(plates, design.joint))
    findings = list(clashes(grown, features, replace(design.settings, wall=LEAST_WALL)))
    for guide in grown:
        ledge = (guide.bore - guide.throat) / 2
        if guide.bush and ledge < LEAST_LEDGE:
            findings.append(
                _refused(
                    f"hole {guide.id}: its bush would rest on {ledge:.2f} mm, "
                    f"{LEAST_LEDGE:g} mm is the least"
                )
            )
    findings += _misfits(design, compensation.moving)
    findings += _too_large(design, compensation)
    if findings:
        raise InputError(findings)


def _misfits(design: Design, moving: float) -> Iterator[Finding]:
    """What the rails would no longer fit, their walls set in by `moving` mm."""
    gear, rack = design.mechanism.pinion.gear, design.mechanism.rail.rack
    slide, alpha = design.settings.slide, math.radians(gear.profile.pressure_angle)
    hint = (
        f"What the gauge's slots say of the slide is met by --slide {slide + moving:.2f} as well: "
        "then nothing is left to set in."
    )
    if moving > MOST_SET_IN:
        yield _refused(
            f"the rails' walls would be set in by {moving:.2f} mm, {MOST_SET_IN:g} mm is the most",
            hint,
        )
    fits = (
        ("in their channels", slide + moving),
        ("between rack and pinion", backlash(gear, rack.thinning) + 2 * moving / math.cos(alpha)),
    )
    for where, play in fits:
        if play < LEAST_PLAY:
            yield _refused(
                f"the rails would have {play:+.2f} mm of room {where}, {LEAST_PLAY:g} mm is the "
                "least",
                hint,
            )


def _too_large(design: Design, compensation: Compensation) -> Iterator[Finding]:
    """Bodies that no longer fit the bed, stretched or leant over."""
    bed = design.settings.bed
    outlines = {body.name: body.outline.outer for body in design.bodies}
    for piece in pieces(design):
        if piece.name not in outlines:
            continue
        flat = outlines[piece.name] @ (compensation.matrix @ piece.to_bed[:2, :2]).T
        x, y = np.ptp(flat, axis=0)
        if x > bed.x or y > bed.y:
            yield _refused(
                f"{piece.name} would be {x:.1f} x {y:.1f} mm on a bed of {bed.x:g} x {bed.y:g} mm",
                "Name the bed a little smaller (--bed), so that the jig is designed smaller.",
            )


def _refused(message: str, hint: str = HINT) -> Finding:
    return Finding("export.compensation", message, key="printer", hint=hint)


def grown_guide(guide: Guide, compensation: Compensation) -> Guide:
    """`guide` with the diameters it has in the files of a compensated part."""
    hole = compensation.hole
    bore = compensation.pocket if guide.bush else hole
    return replace(guide, bore=guide.bore + bore, throat=guide.throat + hole)


def hollows(guide: Guide, piece: Piece, compensation: Compensation) -> tuple[Hollow, ...]:
    """The walls of `guide` that move, in the print frame of its part."""

    def hollow(
        low: float, high: float, radius: tuple[float, float], more: float, side: float | None = None
    ) -> Hollow:
        x, y, one, _ = piece.to_bed @ (guide.x, guide.y, low, 1.0)
        other = (piece.to_bed @ (guide.x, guide.y, high, 1.0))[2]
        z = (min(one, other), max(one, other))
        return Hollow(float(x), float(y), z, radius, more / 2, side)

    r, t, hole = guide.bore / 2, guide.throat / 2, compensation.hole
    mouth = guide.lead_in or guide.seat_z  # a trial plate's holes are bevelled below
    if not guide.bush:
        return (hollow(0.0, guide.top_z, (r, r + mouth), hole),)
    pocket, square = compensation.pocket, guide.throat_z[1]
    return (
        hollow(guide.seat_z, guide.top_z, (r, r + mouth), pocket),
        hollow(square, guide.seat_z, (t + SNAP, r), pocket),
        hollow(square, guide.seat_z, (t, r), hole, side=t),
        hollow(0.0, square, (t, t), hole),
    )


def compensated_parts(
    design: Design,
    printed: Sequence[Piece],
    meshes: dict[str, PartMesh],
    compensation: Compensation,
) -> dict[str, PartMesh]:
    """Every part of a jig as the printer gets it, by name.

    Raises InputError ``export.compensation`` where walls would run into one another.
    """
    guides = {body.name: body.guides for body in design.bodies}
    made = {}
    for piece in printed:
        walls = [h for g in guides.get(piece.name, ()) for h in hollows(g, piece, compensation)]
        moving = compensation.moving if piece.name in SET_IN else 0.0
        mesh = meshes[piece.name]
        made[piece.name] = compensated(mesh, compensation, walls, moving, GRADUATION_DEPTH)
    return made


def compensated(
    mesh: PartMesh,
    compensation: Compensation,
    walls: Sequence[Hollow] = (),
    set_in: float = 0.0,
    kept: float = 0.0,
) -> PartMesh:
    """`mesh` as the printer gets it.

    `walls` are moved as they say; every other wall is set in by `set_in` mm, but those that end
    within `kept` mm of the bed.  Raises InputError ``export.compensation`` where walls would run
    into one another.
    """
    vertices = mesh.vertices.copy()
    vertices[:, :2] += _shifts(mesh, walls, set_in, kept)
    if folded := _folded(mesh, vertices):
        raise InputError(
            _refused(f"{mesh.name}: walls would run into one another ({folded} facets turn over)")
        )
    vertices[:, :2] = vertices[:, :2] @ compensation.matrix.T
    vertices[:, 2] *= compensation.height
    # Single precision, as before: STL and 3MF are then one mesh.
    single = vertices.astype(np.float32).astype(np.float64) + 0.0
    return PartMesh(mesh.name, single, mesh.triangles, mesh.count)


def _shifts(mesh: PartMesh, walls: Sequence[Hollow], set_in: float, kept: float) -> Array:
    """How far each vertex moves in the bed plane, (n, 2) mm.

    Every wall at a vertex asks for one thing: n·u = d along its level normal n.  Where two
    walls meet this is the mitre; where all are nearly one direction, the shortest shift.
    """
    corners = mesh.vertices[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    level = np.linalg.norm(normals[:, :2], axis=1)
    upright = np.flatnonzero(level > WALL * np.linalg.norm(normals, axis=1))
    corners, triangles = corners[upright], mesh.triangles[upright]
    along = normals[upright, :2] / level[upright, None]
    # (k, 3, 2) directions and (k, 3) distances, for each corner of each wall's triangle.
    asks = np.repeat(along[:, None], 3, axis=1)
    wants = np.full(asks.shape[:2], -set_in)
    wants[corners[..., 2].max(axis=1) <= kept + SNAP] = 0.0
    for wall in walls:
        mine, outwards = _walls_of(wall, corners, along)
        asks[mine], wants[mine] = outwards[mine], wall.out
    size = len(mesh.vertices)
    square, right = np.zeros((size, 2, 2)), np.zeros((size, 2))
    np.add.at(square, triangles, asks[..., :, None] * asks[..., None, :])
    np.add.at(right, triangles, asks * wants[..., None])
    return _least_squares(square, right)


def _least_squares(square: Array, right: Array) -> Array:
    """Solutions (n, 2) of symmetric systems (n, 2, 2), (n, 2); the shortest where one is poor."""
    values, vectors = np.linalg.eigh(square)
    good = values > PARALLEL * np.maximum(values[:, 1:], 1e-30)
    inverse = np.divide(1.0, values, out=np.zeros_like(values), where=good & (values > 0))
    turned = np.einsum("nij,ni->nj", vectors, right)
    return np.asarray(np.einsum("nij,nj->ni", vectors, inverse * turned))


def _walls_of(wall: Hollow, corners: Array, along: Array) -> tuple[NDArray[np.bool_], Array]:
    """Which triangles (k, 3, 3) belong to `wall`, and the ways out for their corners (k, 3, 2)."""
    low, high = wall.z
    z = corners[..., 2]
    inside = ((z >= low - SNAP) & (z <= high + SNAP)).all(axis=1)
    away = corners[..., :2] - (wall.x, wall.y)
    distance = np.linalg.norm(away, axis=2)
    facing = -np.einsum("kij,kj->ki", away, along)  # how far before the axis its plane lies
    least, most = wall.radius
    inside &= ((distance >= least - SNAP) & (distance <= most + SNAP)).all(axis=1)
    if wall.side is not None:
        mine = (np.abs(facing - wall.side) <= SNAP).all(axis=1)
        return inside & mine, np.repeat(-along[:, None], 3, axis=1)
    mine = (facing >= distance - CHORD).all(axis=1)
    return inside & mine, away / np.maximum(distance, 1e-9)[..., None]


def _folded(mesh: PartMesh, vertices: Array) -> int:
    """How many triangles have turned over.

    Floors and ceilings fill every outline, so no two walls can pass one another without one.
    """
    corners = mesh.vertices[mesh.triangles]
    before, after = (
        np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]) for c in (corners, vertices[mesh.triangles])
    )
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    sliver = np.linalg.norm(before, axis=1) < SLIVER * longest
    return int((((before * after).sum(axis=1) <= 0) & ~sliver).sum())


def compensation_entry(
    compensation: Compensation | None, set_in: Sequence[str] = ()
) -> dict[str, Any] | None:
    """What was done, for the manifest, lengths in mm; `set_in` names the parts set in."""
    if compensation is None:
        return None
    return {
        "printer": compensation.printer,
        "matrix": [[float(value) for value in row] for row in compensation.matrix],
        "height": float(compensation.height),
        "hole": float(compensation.hole),
        "pocket": float(compensation.pocket),
        "moving": float(compensation.moving),
        "set_in": list(set_in),
    }
