"""The words on a body find room in some form: no label keeps a jig from being made."""

from dataclasses import replace
from itertools import combinations

import pytest
import shapely
from shapely.geometry import box

from jiggen.design import Bed, Design, Settings, SkiRange, design_jig
from jiggen.design.engraving import CLEAR
from jiggen.design.labels import forms_of, forms_of_name, least_forms
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern

NARROW = Settings(SkiRange(62, 72), Bed(220, 220, 250))
MUST = ("BOOT 325  SHIFT -8", "DRILL 4.1 METAL")


def sledge_foot(shift: float = -8.0) -> Layout:
    pattern = read_pattern(find_pattern("sledge-foot"))
    return lay_out(pattern, 325.0, core="metal", mount_shift=shift)


def engraved(design: Design) -> dict[str, shapely.Geometry]:
    (body,) = design.bodies
    return {
        item.name: shapely.union_all([region.polygon for region in item.regions])
        for item in body.engravings
    }


@pytest.mark.parametrize("shift", range(-8, 9, 4))
def test_a_square_of_holes_about_the_mark_has_all_its_words_on_narrow_skis(shift):
    layout = sledge_foot(float(shift))
    items = engraved(design_jig(layout, NARROW))
    boot = f"BOOT 325  SHIFT {shift:+}" if shift else "BOOT 325"
    assert {"arrow to the tip", boot, MUST[1]} <= items.keys()


@pytest.mark.parametrize("name", ["W" * 40, "Wide Wonderful " * 2, "A B C D E F G H I J K L M N O"])
def test_a_name_as_long_as_may_be_gives_way_to_what_must_be_on_the_jig(name):
    design = design_jig(replace(sledge_foot(), pattern=name), NARROW)
    items = engraved(design)
    assert {"arrow to the tip", *MUST} <= items.keys()
    texts = [items[key] for key in (*MUST, name) if key in items]
    body = design.bodies[0].outline.polygon
    assert all(body.contains(text.buffer(CLEAR)) for text in texts)
    for one, other in combinations(texts, 2):
        assert one.distance(other) >= CLEAR - 1e-9


def test_a_line_keeps_its_words_before_they_are_shortened():
    # By hand: 4 capital heights and one more, along and across; then whole and over two lines
    # and with each word alone, two heights and two ways each; then the same shortened.
    line = "DRILL 3.6 METAL"
    forms = list(forms_of(line))
    assert len(forms) == (4 + 1) * 2 + 2 * 3 * 2 * 2
    wide = [form.bounds[2] - form.bounds[0] for form in forms]
    high = [form.bounds[3] - form.bounds[1] for form in forms]
    assert wide[0] == max(wide) and 6.0 <= high[0] < 6.3  # digits overshoot
    least = min(shapely.area(shapely.box(*form.bounds)) for form in least_forms(line))
    assert least <= min(w * h for w, h in zip(wide, high, strict=True)) + 1e-9


def test_a_name_is_shortened_letter_by_letter_and_never_to_nothing():
    whole, *_, least = forms_of_name("Arvenal Club Piste")
    across = least.bounds[3] - least.bounds[1]
    assert whole.bounds[2] > 50.0 > 12.0 > across
    assert not least.shape.is_empty
    assert box(*least.bounds).area < box(*whole.bounds).area / 10
