import numpy as np
import pytest
import shapely
from shapely.geometry import Point, Polygon

from jiggen.design import Settings, SkiRange, design_jig, lettering
from jiggen.design.engraving import words
from jiggen.design.lettering import letter
from jiggen.errors import InputError
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern


@pytest.fixture(scope="module")
def jig(club_layout):
    return design_jig(club_layout, Settings(ski=SkiRange(84, 112)))


def shapes(engraving):
    return [Polygon(region.outer, region.inner) for region in engraving.regions]


def named(body, name):
    (found,) = [item for item in body.engravings if item.name == name]
    return found


def test_every_body_says_what_it_is_for(club_layout):
    assert words(club_layout) == ("Arvenal Club Piste", "BOOT 305", "DRILL 3.6 PLAIN")
    skew = read_pattern(find_pattern("skew-plate"))
    right = lay_out(skew, 305.0, mount_shift=-5.0, core="metal", side="right")
    assert words(right) == (
        "Arvenal Skew Plate",
        "BOOT 305  SHIFT -5",
        "DRILL 4.1 METAL",
        "RIGHT SKI",
    )


def test_the_boot_centre_line_is_on_both_halves_and_down_the_windows(jig):
    for body in jig.bodies:
        line = shapely.union_all(shapes(named(body, "boot-centre line")))
        assert (line.bounds[0] + line.bounds[2]) / 2 == pytest.approx(0.0)
        down = named(body, "boot-centre line down the windows")
        assert down.depth > jig.settings.body  # right through, to the underside
        grooves = shapely.union_all(shapes(down))
        assert grooves.intersects(line)


def test_engravings_keep_clear_of_pockets_knobs_and_one_another(jig):
    for body in jig.bodies:
        items = [(item.name, shapely.union_all(shapes(item))) for item in body.engravings]
        for guide in body.guides:
            pocket = Point(guide.x, guide.y).buffer(guide.radius + guide.lead_in)
            for name, shape in items:
                assert shape.distance(pocket) > 1.2, name
        for station in body.stations:
            knob = Point(station.x, 0).buffer(jig.mechanism.knob.radius)
            for name, shape in items:
                assert shape.disjoint(knob), name
        for index, (name, shape) in enumerate(items):
            for other, second in items[index + 1 :]:
                if not {name, other} <= {"boot-centre line", "boot-centre line down the windows"}:
                    assert shape.disjoint(second), (name, other)


def test_letters_have_the_height_asked_for_and_the_holes_they_need():
    assert letter("H", 5.0).bounds[3] == pytest.approx(5.0)
    (ring,) = letter("O", 5.0).geoms
    assert len(ring.interiors) == 1
    assert letter(" ", 5.0).is_empty


def test_a_letter_the_font_lacks_is_an_error_never_a_box():
    with pytest.raises(InputError, match="鷲"):
        letter("Arvenal 鷲", 5.0)


def test_a_missing_font_is_an_error(monkeypatch):
    caches = (lettering._font, lettering._glyph)
    for cached in caches:
        cached.cache_clear()
    monkeypatch.setattr(lettering, "FONT", "gone.ttf")
    with pytest.raises(InputError, match=r"gone\.ttf is missing"):
        letter("A", 5.0)
    for cached in caches:
        cached.cache_clear()


def test_graduations_are_a_millimetre_apart_and_read_half_the_ski(jig):
    rail = jig.mechanism.rail
    lines = sorted(
        (shape.bounds[1] + shape.bounds[3]) / 2
        for shape in rail.graduations.shape.geoms
        if shape.bounds[3] - shape.bounds[1] == pytest.approx(0.5)
    )
    assert np.diff(lines) == pytest.approx([1.0] * (len(lines) - 1))
    # By hand: on a 100 mm ski the nose is at y = 50, the body's edge at 34: the line that
    # reads 50 lies 16 mm inside the nose.
    assert any(line == pytest.approx(-16.0) for line in lines)
    assert len(lines) == 56 - 42 + 1
