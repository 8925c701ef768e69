"""Pinion and rack against published examples, a second program, and each other."""

from __future__ import annotations

import math
import sys
from itertools import pairwise
from unittest.mock import MagicMock

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box

from jiggen.design.gear import (
    Gear,
    Rack,
    backlash,
    contact_ratio,
    mesh_half_length,
    teeth_in_mesh,
)
from jiggen.errors import InputError
from jiggen.tables import cells_of

FINE = 2e-4  # mm chord, where curves are compared
ALPHA = math.radians(20)

DEFAULT = Gear(1.5, 12, 0.3, thinning=0.08)
GEARS = [DEFAULT, Gear(1.5, 18, 0.0, thinning=0.1), Gear(2.0, 14, 0.25), Gear(1.25, 12, 0.4)]


def thickness_drawn(gear: Gear, radius: float) -> float:
    """Tooth thickness along the arc of `radius` as drawn in the outline."""
    angle, r = angle_and_radius(gear.outline(FINE / 10))
    flank = (angle > 0) & (angle < math.pi / gear.teeth) & (r > gear.form_radius)
    order = np.argsort(r[flank])
    return 2 * radius * float(np.interp(radius, r[flank][order], angle[flank][order]))


def angle_and_radius(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.arctan2(points[:, 1], points[:, 0]), np.hypot(points[:, 0], points[:, 1])


def turned_with(gear: Gear, shape: Polygon, travel: float) -> Polygon:
    """`shape` turned as the pinion is when its rack has travelled `travel` mm along y."""
    return affinity.rotate(shape, math.degrees(travel / gear.pitch_radius), origin=(0, 0))


def span(gear: Gear, spanned: int | None = None) -> float:
    """Base tangent length in mm over `spanned` teeth, for the caliper.

    By default over as many teeth as put the jaws near the middle of the flanks.
    Formula: "Elements of Metric Gear Technology", span measurement, less the thinning.
    """
    count = round(gear.teeth / 9 + 0.5) if spanned is None else spanned
    unshifted = math.pi * (count - 0.5) + gear.teeth * (math.tan(ALPHA) - ALPHA)
    normal = 2 * gear.shift * gear.module * math.sin(ALPHA) - gear.thinning * math.cos(ALPHA)
    return gear.module * math.cos(ALPHA) * unshifted + normal


# -- published examples ------------------------------------------------------------------------


def test_span_measurement_of_a_published_gear():
    # machinecalcs.com, span measurement page: m 2, z 20, 20 degrees, x 0, k 3:
    # W 15.321, base pitch 5.904, base diameter 37.59, contact diameter 40.59.
    gear = Gear(2.0, 20, 0.0)
    assert span(gear) == span(gear, 3) == pytest.approx(15.321, abs=5e-4)
    assert span(gear, 4) - span(gear, 3) == pytest.approx(5.904, abs=5e-4)
    assert 2 * gear.base_radius == pytest.approx(37.59, abs=5e-3)
    assert math.hypot(2 * gear.base_radius, span(gear)) == pytest.approx(40.59, abs=5e-3)


def test_span_holds_inv_of_20_degrees():
    # inv 20 degrees = 0.0149044: involute tables, "Elements of Metric Gear Technology".
    unshifted = span(Gear(1.0, 30, 0.0), 4) / math.cos(ALPHA)
    assert (unshifted - math.pi * 3.5) / 30 == pytest.approx(0.0149044, abs=5e-8)


@pytest.mark.parametrize("gear", GEARS, ids=str)
def test_one_more_tooth_adds_a_base_pitch(gear: Gear):
    # W(k+1) - W(k) = pi m cos(alpha): "Elements of Metric Gear Technology".
    step = math.pi * gear.module * math.cos(ALPHA)
    assert span(gear, 3) - span(gear, 2) == pytest.approx(step)


@pytest.mark.parametrize(
    ("gear", "spanned"), [(Gear(2.0, 20), 3), (DEFAULT, 3), (Gear(1.5, 18, 0.1, 0.12), 3)], ids=str
)
def test_span_as_the_drawn_pinion_measures(gear: Gear, spanned: int):
    """Jaws square to y over an odd number of teeth about the x axis, on the flanks alone."""
    points = gear.outline(FINE)
    angle, r = angle_and_radius(points)
    held = (abs(angle) < spanned * math.pi / gear.teeth) & (r >= gear.form_radius - 1e-9)
    y = points[held, 1]
    assert y.max() - y.min() == pytest.approx(span(gear, spanned), abs=2 * FINE)


def test_tooth_of_a_published_shifted_gear():
    # "Elements of Metric Gear Technology" table 10-1: m 10, 20 degrees, z 12, x +0.3, addendum 13:
    # tooth thickness 17.8918, half angle 8.54270 degrees, chord 17.8256, chordal height 13.6657.
    gear = Gear(10.0, 12, 0.3)
    r = gear.pitch_radius
    assert gear.tip_radius - r == pytest.approx(13)
    assert gear.thickness(r) == pytest.approx(17.8918, abs=5e-5)
    drawn = thickness_drawn(gear, r)
    assert drawn == pytest.approx(17.8918, abs=FINE)
    half = drawn / (2 * r)
    assert math.degrees(half) == pytest.approx(8.54270, abs=1e-4)
    assert 2 * r * math.sin(half) == pytest.approx(17.8256, abs=FINE)
    assert gear.tip_radius - r * math.cos(half) == pytest.approx(13.6657, abs=FINE)


def test_tooth_of_a_published_rack():
    # "Elements of Metric Gear Technology" table 10-2: rack m 3: tooth thickness 4.7124.
    gear = Gear(3.0, 18)
    for thinning in (0.0, 0.2):
        rack = Rack.meshing(gear, (-20, 20), thinning=thinning)
        across = box(rack.gear.rack_line, -20, rack.gear.rack_line + 1e-6, 20)
        teeth = Polygon(rack.outline()).intersection(across).geoms
        widths = [y1 - y0 for _, y0, _, y1 in (tooth.bounds for tooth in teeth)]
        whole = [w for w in widths if w > 4]
        assert len(whole) >= 3
        assert whole == pytest.approx([4.7124 - thinning] * len(whole), abs=5e-5)


def test_radii_by_the_published_formulas():
    # Tip m(z+2+2x), root m z + 2m(-1.25+x), base m z cos(alpha), diameters: "Elements of Metric
    # Gear Technology".
    assert 2 * DEFAULT.tip_radius == pytest.approx(1.5 * (12 + 2 + 0.6))
    assert 2 * DEFAULT.root_radius == pytest.approx(1.5 * 12 + 3 * (-1.25 + 0.3))
    assert 2 * DEFAULT.base_radius == pytest.approx(18 * math.cos(ALPHA))
    assert DEFAULT.module in [float(row["module"]) for row in cells_of("modules")]


def test_undercut_limit():
    # Undercut below 2/sin^2(alpha) = 17.097 teeth, or below x = (17.097 - z)/17.097: from memory.
    assert DEFAULT.least_shift == pytest.approx((17.097 - 12) / 17.097, abs=2e-5)
    assert Gear(1.0, 18).least_shift < 0
    with pytest.raises(InputError, match=r"17 teeth .* are undercut\n.*by 0.006 or more"):
        Gear(1.0, 17)
    with pytest.raises(InputError, match=r"undercut\n.*by 0.299 or more"):
        Gear(1.5, 12, 0.29)
    assert Gear(1.5, 12, 0.299).form_radius >= Gear(1.5, 12, 0.299).base_radius


def test_pointed_teeth_are_refused():
    with pytest.raises(InputError, match="come to a point"):
        Gear(1.5, 12, 0.8)
    with pytest.raises(InputError, match="come to a point"):
        Gear(1.5, 12, 0.3, thinning=0.6)


def test_no_thickness_below_the_involute():
    with pytest.raises(ValueError, match="no involute"):
        DEFAULT.thickness(DEFAULT.root_radius)


# -- second opinions on the outline ------------------------------------------------------------


@pytest.mark.parametrize(
    ("radius", "thickness"),
    [
        # py-gearworks 0.0.24 (PyPI): SpurGear(12, module=1.5, profile_shift=0.3,
        # dedendum_coefficient=1.25, enable_undercut=False), its tooth curve solved for the radius.
        (8.6, 2.785544514980),
        (9.0, 2.683767701031),
        (9.45, 2.418053838354),
        (10.0, 1.918298644351),
        (10.5, 1.313516234577),
        (10.9, 0.732210913591),
    ],
)
def test_thickness_by_another_program(radius: float, thickness: float):
    gear = Gear(1.5, 12, 0.3)
    assert gear.thickness(radius) == pytest.approx(thickness, abs=1e-9)
    assert thickness_drawn(gear, radius) == pytest.approx(thickness, abs=FINE)
    thinned = thickness - 0.08 * radius / gear.pitch_radius
    assert thickness_drawn(DEFAULT, radius) == pytest.approx(thinned, abs=FINE)


def test_flank_by_py_gearworks(monkeypatch):
    # Its tooth curves need numpy alone; what it imports beside is for drawing solids.
    monkeypatch.setitem(sys.modules, "build123d", MagicMock())
    gearworks = pytest.importorskip("py_gearworks")
    theirs = gearworks.SpurGear(
        12, module=1.5, profile_shift=0.3, dedendum_coefficient=1.25, enable_undercut=False
    )
    curve = theirs.gearcore.curve_gen_at_z(0.0).tooth_curve
    points = 1.5 * np.array([curve(t)[:2] for t in np.linspace(0, 1, 80)])
    gear = Gear(1.5, 12, 0.3)
    flank = points[np.hypot(*points.T) > gear.form_radius]
    assert len(flank) > 40
    edge = Polygon(gear.outline(FINE)).exterior
    assert shapely.distance(shapely.points(flank), edge).max() < FINE


@pytest.mark.parametrize("gear", GEARS, ids=str)
def test_outline_is_what_a_rack_shaped_cutter_leaves(gear: Gear):
    """One space cut by rolling the rounded tool of ISO 53 through a blank, polygon by polygon."""
    m, z = gear.module, gear.teeth
    line, r = gear.pitch_radius + gear.shift * m, gear.pitch_radius
    half = math.pi * m / 4 + gear.thinning / 2
    tip, back, slope = line - 1.25 * m, line + 2 * m, math.tan(ALPHA)
    tool = Polygon(
        [
            (tip, -half + 1.25 * m * slope),
            (tip, half - 1.25 * m * slope),
            (back, half + 2 * m * slope),
            (back, -half - 2 * m * slope),
        ]
    )
    tool = tool.buffer(-0.38 * m).buffer(0.38 * m, quad_segs=256)
    travel = np.linspace(-2.5 * math.pi * m, 2.5 * math.pi * m, 800)
    cut = shapely.union_all(
        [
            affinity.rotate(affinity.translate(tool, 0, u), -math.degrees(u / r), origin=(0, 0))
            for u in travel
        ]
    )
    # Half a tooth to either side of the space on the x axis.
    reach, middle = 2 * gear.tip_radius, math.pi / z
    wedge = Polygon(
        [(0, 0), *(reach * np.array([math.cos(a), math.sin(a)]) for a in (-middle, middle))]
    )
    blank = Point(0, 0).buffer(gear.tip_radius, quad_segs=2000).intersection(wedge)
    left = blank.difference(cut)
    drawn = affinity.rotate(Polygon(gear.outline(FINE)), 180 / z, origin=(0, 0)).intersection(wedge)
    # Every point of either is within 2 µm of the other.
    assert left.difference(drawn.buffer(0.002)).is_empty
    assert drawn.difference(left.buffer(0.002)).is_empty


@pytest.mark.parametrize("gear", GEARS, ids=str)
def test_outline_is_a_sound_polygon(gear: Gear):
    points = gear.outline()
    pinion = Polygon(points)
    assert pinion.is_valid
    assert pinion.exterior.is_ccw
    assert len(np.unique(points.round(9), axis=0)) == len(points)
    _, r = angle_and_radius(points)
    assert r.max() == pytest.approx(gear.tip_radius)
    assert r.min() == pytest.approx(gear.root_radius)
    # A tooth is centred on the x axis, and each looks like the next.
    assert points[r > gear.tip_radius - 1e-9, 0].max() == pytest.approx(gear.tip_radius)
    for other in (
        affinity.scale(pinion, 1, -1, origin=(0, 0)),
        affinity.rotate(pinion, 360 / gear.teeth, origin=(0, 0)),
    ):
        assert pinion.symmetric_difference(other).area < 1e-9


@pytest.mark.parametrize("chord", [0.01, 0.002])
def test_chords_keep_to_the_curve(chord: float):
    rack = Rack.meshing(DEFAULT, (-10, 10), thinning=0.08)
    for shape in (DEFAULT, rack):
        true = shapely.points(shape.outline(1e-4))
        off = shapely.distance(true, Polygon(shape.outline(chord)).exterior)
        assert chord / 4 < off.max() <= chord * 1.01
    default = DEFAULT.outline()
    assert np.array_equal(default, DEFAULT.outline(0.01))


# -- rack --------------------------------------------------------------------------------------


@pytest.mark.parametrize("toothed", [(-30, 30), (-57.3, -12.1), (0.1, 0.2)])
@pytest.mark.parametrize("space_y", [0.0, -24.5, 3.3])
def test_rack_has_whole_spaces_over_the_asked_length(toothed, space_y: float):
    rack = Rack.meshing(DEFAULT, toothed, space_y, thinning=0.08)
    low, high = rack.toothed
    assert low <= toothed[0] < low + rack.gear.pitch
    assert high - rack.gear.pitch < toothed[1] <= high
    phase = (rack.space_y - space_y) / rack.gear.pitch
    assert phase == pytest.approx(round(phase), abs=1e-9)

    outline = Polygon(rack.outline())
    assert outline.is_valid
    assert outline.exterior.is_ccw
    assert outline.bounds == pytest.approx((rack.tip_x, low, rack.root_x + 1.5, high))
    # Spaces are open down to the ground where they should be, teeth stand between them.
    for n in range(rack.spaces):
        y = rack.space_y + n * rack.gear.pitch
        assert outline.distance(Point(rack.root_x - 1e-6, y)) > 0
        assert outline.distance(Point(rack.root_x + 1e-6, y)) == 0
        assert outline.distance(Point(rack.tip_x + 1e-6, y + rack.gear.pitch / 2 - 1e-6)) == 0


def test_rack_flank_angle_and_heights():
    # ISO 53: 20 degrees, 1 m above and 1.25 m below the reference line.
    rack = Rack.meshing(DEFAULT, (-10, 10))
    assert rack.gear.rack_line - rack.tip_x == pytest.approx(1.5)
    assert rack.root_x - rack.gear.rack_line == pytest.approx(1.875)
    points = rack.outline()
    runs = [b - a for a, b in pairwise(points) if math.dist(a, b) > 1.5 and abs(b - a).min() > 0.1]
    assert len(runs) == 2 * rack.spaces
    for dx, dy in runs:
        assert abs(dy / dx) == pytest.approx(math.tan(ALPHA))


def test_rack_needs_a_length():
    with pytest.raises(ValueError, match="no teeth"):
        Rack.meshing(DEFAULT, (5, 5))


# -- pinion and racks together -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("gear", "rack_thinning"),
    [(DEFAULT, 0.08), (DEFAULT, 0.0), *zip(GEARS[1:], (0.03, 0.2, 0.05), strict=True)],
    ids=str,
)
def test_no_overlap_and_exact_backlash(gear: Gear, rack_thinning: float):
    """At 50 phases, and against both racks: free within the backlash, touching at its ends."""
    toothed = (-4 * gear.pitch, 4 * gear.pitch)
    pinion = Polygon(gear.outline(FINE))
    left = Polygon(Rack.meshing(gear, toothed, thinning=rack_thinning).outline(FINE))
    play = backlash(gear, rack_thinning)
    hair = 0.002
    for travel in np.linspace(0, 3 * gear.pitch, 50, endpoint=False):
        now = turned_with(gear, pinion, travel)
        # Racks repeat every pitch; the right one is the left one after half a turn.
        at = affinity.translate(left, 0, travel - gear.pitch * round(travel / gear.pitch))
        opposed = affinity.rotate(at, 180, origin=(0, 0))
        for rack, way in ((at, 1), (opposed, -1)):
            assert now.intersection(rack).area < 1e-5
            for side in (way, -way):
                free = affinity.translate(rack, 0, side * (play / 2 - hair))
                assert now.intersection(free).area < 1e-7
                assert now.distance(free) < 2 * hair
                tight = affinity.translate(rack, 0, side * (play / 2 + hair))
                assert now.intersection(tight).area > 1e-6


def test_a_rack_moved_away_gains_backlash():
    # 2 x distance x tan(alpha): from memory; here measured on the drawn shapes.
    apart, hair = 0.15, 0.002
    play = backlash(DEFAULT, 0.05, apart)
    assert play == pytest.approx(0.08 + 0.05 + 2 * 0.15 * math.tan(ALPHA))
    pinion = Polygon(DEFAULT.outline(FINE))
    rack = Polygon(Rack.meshing(DEFAULT, (-15, 15), thinning=0.05).outline(FINE))
    for travel in np.linspace(0, DEFAULT.pitch, 12, endpoint=False):
        now = turned_with(DEFAULT, pinion, travel)
        away = affinity.translate(rack, apart, travel)
        for side in (1, -1):
            free = affinity.translate(away, 0, side * (play / 2 - hair))
            tight = affinity.translate(away, 0, side * (play / 2 + hair))
            assert now.intersection(free).area == 0
            assert now.intersection(tight).area > 1e-6


def test_odd_teeth_would_need_two_kinds_of_rack():
    """Why the station's pinion has an even number of teeth."""
    odd = Gear(1.5, 13, 0.3)
    pinion = Polygon(odd.outline())
    rack = Polygon(Rack.meshing(odd, (-15, 15)).outline())
    assert pinion.intersection(rack).area < 0.05
    assert pinion.intersection(affinity.rotate(rack, 180, origin=(0, 0))).area > 3


@pytest.mark.parametrize("gear", [Gear(1.5, 12, 0.3), Gear(1.5, 18)], ids=str)
def test_contact_ratio_as_drawn(gear: Gear):
    """The rack pressed a hair into the pinion: tooth pairs that bite, over a pitch."""
    pinion = Polygon(gear.outline(5e-5))
    rack = Polygon(Rack.meshing(gear, (-12, 12)).outline(5e-5))
    biting = []
    for travel in np.linspace(0, gear.pitch, 150, endpoint=False):
        pressed = affinity.translate(rack, 0, travel + 5e-4)
        bite = turned_with(gear, pinion, travel).intersection(pressed)
        biting.append(len(shapely.get_parts(bite.buffer(0.2))))  # as one where on one tooth
    assert {1, 2} == set(biting)
    assert np.mean(biting) == pytest.approx(contact_ratio(gear), abs=0.05)


@pytest.mark.parametrize("gear", GEARS, ids=str)
def test_mesh_length_as_drawn(gear: Gear):
    tips = Rack.meshing(gear, (-10, 10)).tip_x
    circle = Point(0, 0).buffer(gear.tip_radius, quad_segs=4000)
    chord = circle.intersection(LineString([(tips, -99), (tips, 99)])).length
    assert 2 * mesh_half_length(gear) == pytest.approx(chord, abs=1e-4)


def test_teeth_in_mesh():
    half = mesh_half_length(DEFAULT)
    whole = 2 * half / DEFAULT.pitch
    assert teeth_in_mesh(DEFAULT, (-50, 50)) == pytest.approx(whole)
    assert teeth_in_mesh(DEFAULT, (0, 50)) == pytest.approx(whole / 2)
    assert teeth_in_mesh(DEFAULT, (-1, 2)) == pytest.approx(3 / DEFAULT.pitch)
    assert teeth_in_mesh(DEFAULT, (half + 1, 50)) == 0
    assert whole > 2  # what a station needs when its rack is toothed all along the mesh
