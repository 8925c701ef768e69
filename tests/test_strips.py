"""What a jig stands on: strips beside every hole, channel and joint, clear of a crowned sheet."""

from __future__ import annotations

import itertools

import faults
import numpy as np
import pytest
import shapely
from shapely.geometry import Point, box

from jiggen.design import Bed, Settings, SkiRange, design_jig
from jiggen.design.jig import Design
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns
from jiggen.verify import verify_folder

BURR = 1.5  # mm around a throat (common practice, no source)
STRIP = 9.0  # mm, as wide as a clamp's foot (common practice, no source)
PATTERNS = tuple(path.stem for path in shipped_patterns())


def jig(pattern: str, ski: tuple[float, float] = (84.0, 112.0), bed: float = 220.0) -> Design:
    layout = lay_out(read_pattern(find_pattern(pattern)), 305.0)
    return design_jig(layout, Settings(SkiRange(*ski), bed=Bed(bed, bed)))


def standing(design: Design) -> shapely.Geometry:
    """What touches a flat ski: the bodies less their relief, channels and screw pockets."""
    feet = [
        body.outline.polygon.difference(shapely.union_all([r.polygon for r in body.relief]))
        for body in design.bodies
    ]
    shape = design.mechanism.station
    channels = [
        box(station.x + way * shape.channel_x, -500, station.x + way * shape.half_length, 500)
        for station in design.stations
        for way in (1, -1)
    ]
    joint = design.joint
    pockets = [pocket.plan for pocket in (*joint.heads, *joint.nuts)] if joint else []
    return shapely.union_all(feet).difference(shapely.union_all([*channels, *pockets]))


@pytest.mark.parametrize(
    ("pattern", "ski", "bed"),
    [*((name, (84.0, 112.0), 350.0) for name in PATTERNS), ("club-piste", (84.0, 112.0), 220.0)],
)
def test_strips_stand_beside_every_hole_and_channel(pattern, ski, bed):
    made = jig(pattern, ski, bed)
    feet, shape, b = standing(made), made.mechanism.station, made.half_width
    for side, guide in itertools.product((1, -1), made.guides):
        half = feet & box(-500, min(0, side * 500), 500, max(0, side * 500))
        beside = half & box(guide.x - 12, -500, guide.x + 12, 500)
        assert not beside.is_empty, guide.id
    for station, way, side in itertools.product(made.stations, (1, -1), (1, -1)):
        for edge, beyond in ((shape.channel_x, -1.0), (shape.half_length, 1.0)):
            at = station.x + way * edge
            low, high = sorted((at, at + way * beyond))
            found = feet & box(low, -b, high, b)
            on_side = found & box(-500, min(0, side * b), 500, max(0, side * b))
            assert on_side.area > STRIP / 2, (station.name, way, edge)


def test_no_strip_stands_on_the_burr_that_a_drill_raises():
    for name in PATTERNS:
        made = jig(name, bed=350.0)
        feet = standing(made)
        gaps = [feet.distance(Point(g.x, g.y)) - g.throat / 2 for g in made.guides]
        assert min(gaps) >= BURR - 1e-3, name


def test_strips_reach_the_joint_and_leave_the_middle_free():
    made = jig("club-piste")
    feet = standing(made)
    for x0, x1 in ((-1.0, 0.0), (0.0, 1.0)):
        assert (feet & box(x0, -500, x1, 500)).area > 2 * 2.0
    ys = np.abs(shapely.get_coordinates(feet)[:, 1])
    assert ys.min() > made.half_width / 2


def test_a_body_that_stands_nowhere_beside_a_hole_is_found(folder):
    def raise_strips(corners):
        low = corners[:, 2] < 0.1
        return np.where(low[:, None] & [False, False, True], 0.6, corners)

    faults.edit_mesh(folder, "body-toe", raise_strips)
    found = verify_folder(folder).of("verify.support")
    assert {fault.subject for fault in found} == {f"toe-{n}" for n in range(1, 6)}
    assert all("nothing stands on the ski" in fault.message for fault in found)


def test_a_body_that_stands_on_a_burr_is_found(folder):
    burr = faults.box_of((-115.4, -112.0), (14.0, 17.0), (0.0, 1.0))
    faults.boolean(folder, "body-heel", burr, "fill", hashes=True)
    (found,) = verify_folder(folder).of("verify.burr")
    assert found.subject == "heel-1"
