"""What is drawn without a cut or a fuse against the kernel's own: the same solid."""

import cadquery as cq
import numpy as np
import pytest
from shapely.affinity import translate
from shapely.geometry import Point, Polygon

from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.lettering import Region, letter, regions_of
from jiggen.solid.body import (
    TOOTH_CHORD,
    body_blank,
    make_body,
    make_knob,
    make_pinion,
    make_rail,
    mechanical_tools,
)
from jiggen.solid.level import Inset, inset_all, insets_of, prisms, stack_on
from jiggen.solid.shapes import block, cylinder, prism

SQUARE = np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)])


def square(x, y):
    """Four mm² with a corner at (x, y)."""
    return Region(SQUARE + np.array([x, y]))


@pytest.fixture
def plate():
    """60 x 20 x 5 mm with a hole of 6 mm about (30, 0)."""
    return block((0, 60), (-10, 10), (0, 5)).cut(cylinder(3.0, -1, 6, 30.0)).Solids()[0]


def cut(solid, insets, top=5.0):
    return solid.cut(*[prism(i.region, top - i.depth, top + 1) for i in insets])


def test_letters_with_islands_are_as_if_cut(plate):
    word = regions_of(translate(letter("BO8i", 6.0), 3.0, -3.0))
    insets = [Inset(region, 0.6) for region in word]
    assert any(inset.region.inner for inset in insets)  # B, O and 8 hold islands
    made, others = inset_all(plate, 5.0, insets)
    wanted = cut(plate, insets)
    assert others == []
    assert made.isValid()
    assert made.Volume() == pytest.approx(wanted.Volume(), rel=1e-9)
    assert len(made.Faces()) == len(wanted.Faces())
    assert wanted.cut(made).Volume() == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("ring", [SQUARE, SQUARE[::-1]], ids=["anticlockwise", "clockwise"])
def test_a_ring_may_run_either_way(plate, ring):
    inset = Inset(Region(ring + 5.0), 0.5)
    made, others = inset_all(plate, 5.0, [inset])
    assert others == [] and made.isValid()
    assert made.Volume() == pytest.approx(plate.Volume() - 4 * 0.5)


def test_what_meets_an_edge_a_hole_or_another_is_left_to_be_cut(plate):
    over_edge = Inset(square(59.0, 0.0), 0.5)
    in_hole = Inset(square(32.0, 0.0), 0.5)
    (ring,) = regions_of(Point(30, 0).buffer(5) - Point(30, 0).buffer(4))
    around_hole = Inset(ring, 0.5)
    one, other = (Inset(square(x, 4.0), 0.5) for x in (5.0, 6.5))
    alone = Inset(square(50.0, 4.0), 0.5)
    made, others = inset_all(plate, 5.0, [over_edge, in_hole, alone, around_hole, one, other])
    assert others == [over_edge, in_hole, around_hole, one, other]
    assert made.isValid()
    assert made.Volume() == pytest.approx(plate.Volume() - 4 * 0.5)


def test_two_tops_each_take_their_own(plate):
    split = cut(plate, [Inset(Region(np.array([(20, -11), (21, -11), (21, 11), (20, 11)])), 1.0)])
    insets = [Inset(square(x, 3.0), 0.5) for x in (5.0, 40.0)]
    made, others = inset_all(split.Solids()[0], 5.0, insets)
    assert others == [] and made.isValid()
    assert made.Volume() == pytest.approx(split.Volume() - 2 * 4 * 0.5)


def test_a_part_elsewhere_keeps_its_place(plate):
    moved = plate.moved(cq.Location(cq.Vector(10, 0, 2))).Solids()[0]
    made, others = inset_all(moved, 7.0, [Inset(square(15.0, 3.0), 0.5)])
    assert others == [] and made.isValid()
    assert made.Volume() == pytest.approx(plate.Volume() - 4 * 0.5)


def test_a_body_is_as_if_cut_in_one(club_layout):
    jig = design_jig(club_layout, Settings(ski=SkiRange(84, 112)))
    body = jig.bodies[0]
    made = make_body(body, jig)
    engraved = prisms(insets_of(body.engravings), jig.settings.body)
    relief = (prism(region, -1.0, jig.settings.relief) for region in body.relief)
    tools = (*relief, *mechanical_tools(body, jig), *engraved)
    wanted = body_blank(body, jig).cut(*tools)
    assert made.isValid()
    assert made.Volume() == pytest.approx(wanted.Volume(), rel=1e-9)
    assert len(made.Faces()) == len(wanted.Faces())
    assert len(made.Edges()) == len(wanted.Edges())


def test_a_part_stands_on_a_face_as_if_fused(plate):
    post = cylinder(2.0, 5.0, 9.0, 10.0)
    made, wanted = stack_on(plate, post, 5.0), plate.fuse(post)
    assert made.isValid()
    assert made.Volume() == pytest.approx(wanted.Volume(), rel=1e-12)
    assert len(made.Faces()) == len(wanted.Faces())


@pytest.mark.parametrize("x", [30.0, 59.0, 90.0], ids=["on the hole", "over the edge", "beside"])
def test_a_part_with_nothing_to_stand_on_is_refused(plate, x):
    with pytest.raises(RuntimeError, match="nothing to stand on"):
        stack_on(plate, cylinder(2.0, 5.0, 9.0, x), 5.0)


def test_moving_parts_are_as_if_fused(club_layout):
    made = design_jig(club_layout, Settings(ski=SkiRange(84, 112))).mechanism
    pinion, gear = make_pinion(made.pinion), made.pinion.gear
    middle = (made.pinion.nut_top_z + made.pinion.gear_top_z) / 2 + 0.5
    (section,) = pinion.intersect(block((-20, 20), (-20, 20), (middle, middle + 1))).Solids()
    ring = Polygon(gear.outline(TOOTH_CHORD)).area - np.pi * made.pinion.bore**2 / 4
    assert section.Volume() == pytest.approx(ring, rel=1e-9)
    for shape in (pinion, make_rail(made.rail), make_knob(made.knob)):
        assert shape.isValid()
        assert len(shape.Solids()) == 1
    assert make_pinion(made.pinion) is pinion
