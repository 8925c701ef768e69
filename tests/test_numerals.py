"""Engraved numbers are read from their outlines alone, mirrored ones as such."""

import numpy as np
import pytest
import shapely
import shapely.affinity

from jiggen.design.lettering import letter
from jiggen.verify.engraved import UNREADABLE, cut_by, find_numbers, within


def segments(*texts: str, caps: float = 3.0, pitch: float = 5.0):
    """Outlines of `texts`, engraved one behind the other towards the tip, read from the tail."""
    found = []
    for place, text in enumerate(texts):
        flat = letter(text, caps)
        turned = shapely.affinity.rotate(flat, -90, origin=(0, 0))
        for polygon in shapely.affinity.translate(turned, place * pitch, 20.0).geoms:
            for ring in (polygon.exterior, *polygon.interiors):
                corners = np.asarray(ring.coords)
                found += list(np.stack([corners[:-1], corners[1:]], axis=1))
    return np.array(found)


@pytest.mark.parametrize("first", range(200, 400, 25))
def test_numbers_are_read_as_they_are_written(first):
    texts = [str(number) for number in range(first, first + 25)]
    found = find_numbers(segments(*texts))
    assert [number.read(texts) for number in found] == [(text, False) for text in texts]
    assert np.diff([number.x for number in found]) == pytest.approx(5.0, abs=0.1)


def test_a_number_says_itself_and_no_other():
    texts = [str(number) for number in range(260, 310)]  # every figure next to every other
    for text, number in zip(texts, find_numbers(segments(*texts)), strict=True):
        assert [other for other in texts if number.read([other])[0] == other] == [text]
        others = [other for other in texts if other != text]
        assert number.read(others) == (UNREADABLE, False)


def test_bands_and_small_numbers_too():
    texts = ["265-277", "278-305", "306-333", "0", "10", "1", "7"]
    read = [number.read(texts) for number in find_numbers(segments(*texts))]
    assert read == [(text, False) for text in texts]


@pytest.mark.parametrize("axis", [0, 1])
def test_a_mirrored_number_is_seen_to_be_one(axis):
    turned = segments("265", "275", "345")
    turned[..., axis] *= -1
    wanted = ["345", "275", "265"] if axis == 0 else ["265", "275", "345"]
    read = [number.read(("345", "265", "275")) for number in find_numbers(turned)]
    assert read == [(text, True) for text in wanted]


def test_what_is_no_number_is_not_made_one():
    sides = [[(0, 0), (3, 0)], [(3, 0), (3, 9)], [(3, 9), (0, 9)], [(0, 9), (0, 0)]]
    (blot,) = find_numbers(np.array(sides, dtype=float))
    assert blot.read([*map(str, range(400)), " ", "-", "265-277"]) == (UNREADABLE, False)
    assert find_numbers(np.array(sides[:3], dtype=float)) == []  # not closed: nothing is engraved
    assert find_numbers(np.empty((0, 2, 2))) == []


def test_lines_are_cut_and_points_told_inside_by_even_and_odd():
    square = np.array([[(0, 0), (2, 0)], [(2, 0), (2, 2)], [(2, 2), (0, 2)], [(0, 2), (0, 0)]])
    both = np.concatenate([square, np.add(square, (5, 0))]).astype(float)
    assert cut_by(both, 1.0, 3.0) == [(0.0, 2.0), (5.0, 7.0)]
    assert cut_by(both, 1.0, 1.5) == []
    assert cut_by(both, 3.0, 3.0) == []
    ring = 2 * square - 1
    (number,) = find_numbers(np.concatenate([square, ring]).astype(float))
    shape = shapely.build_area(number.outline)  # a ring in a ring is a hole
    assert shape.area == pytest.approx(0.75)
    assert not shape.contains(shapely.Point(0, 0)) and shape.contains(shapely.Point(0.4, 0))
    assert len(within(np.add(both, (0, 1)), 0.0, 2.0)) == 2  # the lower sides
