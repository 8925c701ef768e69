"""The bodies seen from above: outlines, sight windows, pads, and the walls between cut-outs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import shapely
from shapely.geometry import LineString, Point, Polygon, box

from jiggen.design.guides import Guide
from jiggen.design.joint import JointShape
from jiggen.design.settings import Settings
from jiggen.design.station import StationShape
from jiggen.errors import Finding

WINDOW_HALF = 7.0  # mm along the ski, to either side of the mounting mark
WINDOW_DEPTH = 9.0  # mm in from the body's edge
PAD_WIDTH = 9.0
PAD_LENGTH = 36.0
CORNER = 2.5  # chamfered corners: no sharp horn to break, yet 1.5 mm left beside a channel
END_WALL = 4.0  # mm beyond a station's channel


Kind = Literal["body", "rail", "pinion", "knob", "plate", "gauge", "slots", "rack"]
"""What a printed part is: ``plate`` of a trial plate; ``gauge``, ``slots``, ``rack`` of a gauge."""

HalfRole = Literal["toe", "heel", "centre"]
"""Which half of a jig a part belongs to: by where its holes lie from the mounting mark."""


@dataclass(frozen=True)
class Plate:
    """One body's plan in the ski frame, mm: a bar from `start` to `stop`, ± `half_width`.

    `half` is None for a body that is the whole jig.
    """

    name: str
    start: float
    stop: float
    half_width: float
    half: HalfRole | None = None


def window_wall(half_width: float) -> float:
    """Y in mm of the sight windows' inner wall, down which the boot-centre line runs."""
    return half_width - WINDOW_DEPTH


def windows(half_width: float) -> tuple[Polygon, Polygon]:
    """The two sight windows: notches open to the body's edges at x = 0, flared 45° inside."""
    wall, edge = window_wall(half_width), half_width + 1.0
    left = Polygon(
        [
            (-WINDOW_HALF, edge),
            (-WINDOW_HALF, wall + 2.0),
            (-WINDOW_HALF + 2.0, wall),
            (WINDOW_HALF - 2.0, wall),
            (WINDOW_HALF, wall + 2.0),
            (WINDOW_HALF, edge),
        ]
    )
    return left, shapely.transform(left, lambda xy: xy * (1.0, -1.0))


def corners(plate: Plate, *, start: bool = True, stop: bool = True) -> list[Polygon]:
    """What is taken off the plate's corners at its `start` and its `stop`."""
    b = plate.half_width
    return [
        Polygon([(x, y), (x - sx * CORNER, y), (x, y - sy * CORNER)])
        for x, sx, free in ((plate.start, -1, start), (plate.stop, 1, stop))
        if free
        for y, sy in ((b, 1), (-b, -1))
    ]


def outline(plate: Plate, joint: JointShape | None) -> Polygon:
    """The plate's outline with corners taken off, windows out, and its side of the joint."""
    free_start = joint is None or plate.half != "toe"
    free_stop = joint is None or plate.half != "heel"
    b = plate.half_width
    off = corners(plate, start=free_start, stop=free_stop)
    shape = box(plate.start, -b, plate.stop, b)
    shape = shape.difference(shapely.union_all([*off, *windows(b)]))
    if joint and plate.half == "toe":
        shape = shape.union(Polygon(joint.tongue))
    if joint and plate.half == "heel":
        shape = shape.difference(Polygon(joint.socket))
    return shapely.normalize(shape)


def pads(plates: tuple[Plate, ...]) -> tuple[Polygon, ...]:
    """Four pads, one in each corner of the whole jig: it stands on them and cannot rock."""
    start, stop = min(p.start for p in plates), max(p.stop for p in plates)
    b = plates[0].half_width
    length = min(PAD_LENGTH, (stop - start) / 3)
    return tuple(
        box(x0, min(y0, y1), x1, max(y0, y1))
        for x0, x1 in ((start, start + length), (stop - length, stop))
        for y0, y1 in ((b - PAD_WIDTH, b), (-b, -b + PAD_WIDTH))
    )


def station_plan(station: StationShape, x: float) -> Polygon:
    """All that a station takes from the body, seen from above, over any width."""
    half = station.half_length
    return box(x - half, -500.0, x + half, 500.0)


Feature = tuple[str, shapely.Geometry, str]
"""What a guide must keep clear of: its name, its shape, and what helps where it does not."""


def clashes(
    guides: tuple[Guide, ...], features: Iterable[Feature], settings: Settings
) -> tuple[Finding, ...]:
    """Every wall around a guide that is thinner than `settings.wall`, with what would help."""
    found = []
    features = tuple(features)
    for index, guide in enumerate(guides):
        centre = Point(guide.x, guide.y)
        for other in guides[index + 1 :]:
            wall = centre.distance(Point(other.x, other.y)) - guide.radius - other.radius
            if wall < settings.wall - 1e-9:
                found.append(
                    _clash(f"hole {guide.id}", f"hole {other.id}", wall, settings.wall, BUSH_HELP)
                )
        for name, shape, helps in features:
            wall = centre.distance(shape) - guide.radius
            if wall < settings.wall - 1e-9:
                found.append(_clash(f"hole {guide.id}", name, wall, settings.wall, helps))
    return tuple(found)


BUSH_HELP = "A thinner bush helps (--bush 7x12, say), or --bush none."
EDGE_HELP = "A wider narrowest ski (--ski) makes the body wider; a thinner bush helps too."
BED_HELP = "A larger bed (--bed) gives the stations other places, or makes one piece of the jig."


def outer_features(
    plates: tuple[Plate, ...], stations: Iterable[tuple[str, Polygon]]
) -> Iterator[Feature]:
    """The edges and ends of the whole of `plates`, and the stations on it."""
    start, stop = min(p.start for p in plates), max(p.stop for p in plates)
    b = plates[0].half_width
    for name, y in (("left edge", b), ("right edge", -b)):
        # The outside, not the line: a hole beyond the edge must not count as clear of it.
        yield name, box(-2e3, min(y, 2e3 * y), 2e3, max(y, 2e3 * y)), EDGE_HELP
    yield "tip end", LineString([(stop, -b), (stop, b)]), BED_HELP
    yield "tail end", LineString([(start, -b), (start, b)]), BED_HELP
    for name, shape in stations:
        yield name, shape, BED_HELP


def inner_features(plates: tuple[Plate, ...], joint: JointShape | None) -> Iterator[Feature]:
    """The sight windows, and the joint where there is one."""
    b = plates[0].half_width
    for name, shape in zip(("left sight window", "right sight window"), windows(b), strict=True):
        yield name, shape, "Move the group off the mounting mark: the windows show the ski's mark."
    if joint:
        yield "joint face", LineString([(0.0, -b), (0.0, b)]), BED_HELP
        yield "joint dovetail", Polygon(joint.socket), BED_HELP
        for pocket in (*joint.heads, *joint.nuts):
            yield pocket.name, pocket.plan, BED_HELP


def _clash(one: str, other: str, wall: float, needed: float, helps: str) -> Finding:
    overlap = f"{wall:.2f} mm of wall" if wall >= 0 else f"an overlap of {-wall:.2f} mm"
    return Finding(
        "design.clash",
        f"{one} and {other}: {overlap}, {needed:g} mm needed",
        hint=helps,
    )
