"""Pieces of the sheet that can be judged by themselves."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.platypus import PageBreak

from jiggen.cautions import CAUTIONS
from jiggen.draw.fonts import fit, plain, width_of
from jiggen.draw.labels import place_boxes, spread
from jiggen.report.sheet.document import MARGIN, frame_size, write_document
from jiggen.report.sheet.kit import Picture, full, headline, para, section, short, typeset
from jiggen.report.sheet.tiles import APART, OVERLAP, Window, cut, registers, seams
from jiggen.units import number
from jiggen.verify.reading.pdf import read_pages

# -- words on lines -----------------------------------------------------------------------------


@pytest.mark.parametrize("size, width", [(6.0, 40.0), (9.0, 15.0), (9.0, 180.0), (22.0, 60.0)])
@pytest.mark.parametrize(
    "text", ["a b", "W" * 40, "aiWM é-" * 12, "long " * 40 + "M" * 80, "<b>&amp;</b> " * 9]
)
def test_lines_of_a_paragraph_are_never_wider_and_lose_nothing(text, size, width):
    (page,) = read_pages(write([section((), [[para(text, size)]], [width])]))
    mine = [word for word in page.words if abs(word.size - size) < 1e-6]
    mine = mine[: len(mine) - page_foot(size)]
    assert all(word.box[2] <= MARGIN + width + 0.01 for word in mine)
    assert "".join(word.text for word in mine).replace(" ", "") == text.replace(" ", "")


def write(story) -> bytes:
    return write_document(story, "A4", "a title", "about", "0")


def page_foot(size: float) -> int:
    """Words of the foot that are as large."""
    (page,) = read_pages(write([para("")]))
    return sum(abs(word.size - size) < 1e-6 for word in page.words)


def test_fit_takes_the_largest_size_that_fits():
    size = fit("Arvenal Club Piste", 40.0, 6.0, 60.0)
    assert 6.0 < size < 40.0
    assert width_of("Arvenal Club Piste", size) <= 60.0 < width_of("Arvenal Club Piste", size + 0.5)
    assert fit("a", 12.0, 6.0, 60.0) == 12.0
    assert fit("W" * 500, 12.0, 6.0, 60.0) == 6.0


def test_plain_is_one_line_of_known_characters():
    assert plain("a\nb\tc \u202e山") == "a b c \ufffd\ufffd"


@pytest.mark.parametrize(
    "value, shown",
    [(155.3, "155.3"), (100.0, "100"), (-0.0001, "0"), (9.144, "9.14"), (12.345, "12.35")],
)
def test_numbers_have_no_trailing_zeros(value, shown):
    assert number(value) == shown


def test_inches_stand_behind_millimetres_when_wanted():
    assert full(25.4, "mm") == "25.4 mm"
    assert full(25.4, "in") == "25.4 mm (1.000 in)"
    assert short(12.7, "in") == "12.7 (0.500)"
    assert short(24.38, "in", 1) == "24.4 (0.960)"  # 24.38 / 25.4 = 0.9598, not of 24.4


# -- dimensions ---------------------------------------------------------------------------------


@given(st.lists(st.floats(0, 100), min_size=1, max_size=20).map(sorted))
def test_spread_keeps_order_pitch_and_room(places):
    out = spread(places, 4.0, 0.0, 100.0)
    assert all(b - a >= 4.0 - 1e-9 for a, b in itertools.pairwise(out))
    assert out[0] >= -1e-9
    assert out[-1] <= 100.0 + 1e-9


def test_spread_leaves_alone_what_has_room_and_moves_the_rest_least():
    assert spread([10.0, 20.0, 30.0], 4.0, 0.0, 100.0) == [10.0, 20.0, 30.0]
    assert spread([10.0, 11.0], 4.0, 0.0, 100.0) == pytest.approx([8.5, 12.5])


def test_nothing_is_spread_to_nothing():
    assert spread([], 4.0, 0.0, 100.0) == []


def test_boxes_keep_to_their_room_or_have_no_place():
    centres, clear = np.array([(0.0, 0.0), (9.0, 0.0)]), np.array([2.0, 2.0])
    no_lines = np.empty((0, 4))
    room = (-20.0, -4.0, 20.0, 8.0)
    first, second = place_boxes([(6.0, 2.0)] * 2, centres, clear, no_lines, room)
    for place in (first, second):
        x0, y0, x1, y1 = place[0]
        assert room[0] <= x0 and room[1] <= y0 and x1 <= room[2] and y1 <= room[3]
    (x0, y0, x1, y1), (x2, y2, x3, y3) = first[0], second[0]
    assert x1 <= x2 or x3 <= x0 or y1 <= y2 or y3 <= y0
    assert place_boxes([(50.0, 2.0)], centres[:1], clear[:1], no_lines, room, 30.0) == [None]
    near = [(-9.0, -9.0, 9.0, 9.0)]
    assert place_boxes([(6.0, 2.0)], centres[:1], clear[:1], np.array(near), farthest=5.0) == [None]


# -- tiles --------------------------------------------------------------------------------------

spans = st.tuples(st.floats(-600, 0), st.floats(0, 600))
holes = st.lists(st.floats(-600, 600), max_size=10)


@given(spans, st.floats(100, 270), holes)
def test_windows_cover_everything_and_overlap(span, size, avoid):
    low, high = span
    windows = cut(low, high, size, avoid)
    assert windows[0].low <= low + 1e-9
    assert windows[-1].high >= high - 1e-9
    assert all(w.high - w.low == pytest.approx(size) for w in windows)
    for one, other in itertools.pairwise(windows):
        assert one.high - other.low == pytest.approx(OVERLAP)
    if len(windows) > 1:  # one fewer would not do
        assert (len(windows) - 1) * (size - OVERLAP) + OVERLAP < high - low + 1e-9


@given(spans, st.floats(100, 270), st.floats(-500, 500), st.floats(1, 8))
def test_every_hole_lies_whole_in_a_window(span, size, place, reach):
    low, high = min(span[0], place - 12), max(span[1], place + 12)
    windows = cut(low, high, size, [place])
    assert any(window.holds(place, reach) for window in windows)


def test_seams_keep_off_holes_where_they_can():
    (seam,) = seams(cut(-150.0, 150.0, 200.0, [0.0]))
    assert abs(seam) == pytest.approx(40.0)  # as far as the spare 80 mm allow


def test_two_crosses_for_every_shared_seam_none_on_a_hole():
    columns = (Window(-200.0, 50.0), Window(30.0, 280.0))
    rows = (Window(0.0, 150.0), Window(-130.0, 20.0))
    at = [(40.0, 136.0), (40.0, 14.0)]  # just where the crosses would be
    made = tuple(registers(columns, rows, at))
    pairs = [register.pages for register in made]
    assert sorted(set(pairs)) == [
        ((0, 0), (0, 1)),
        ((0, 0), (1, 0)),
        ((0, 1), (1, 1)),
        ((1, 0), (1, 1)),
    ]
    assert all(pairs.count(pair) == 2 for pair in pairs)
    assert len({register.at for register in made}) == len(made)
    for register in made:
        for hole in at:
            apart = max(abs(a - b) for a, b in zip(register.at, hole, strict=True))
            assert apart >= APART


# -- pages --------------------------------------------------------------------------------------


def test_sections_are_kept_whole_and_headings_stand_again():
    width, height = frame_size("A4")
    full, half = int(height / 10), int(height / 20)  # rows of 10 mm

    def rows(name: str, count: int):
        return [[Picture(width, 10.0, [typeset((0, -8), f"{name}{n}", 9.0)])] for n in range(count)]

    story = [
        section(headline("one", width), rows("a", half), (width,)),
        section(headline("two", width), rows("b", half), (width,)),
        section(headline("three", width), rows("c", 2 * full), (width,), names=["column"]),
    ]
    pages = [[word.text for word in page.words] for page in read_pages(write(story))]
    assert [word for word in pages[0] if len(word) < 6][: half + 1] == [
        "one",
        *(f"a{n}" for n in range(half)),
    ]
    assert "two" not in pages[0]
    assert "two" in pages[1]
    assert {f"b{n}" for n in range(half)} <= set(pages[1])
    long = [page for page in pages if any(re.fullmatch(r"c\d+", word) for word in page)]
    assert len(long) >= 3
    for page in long:
        assert "three" in page
        assert "column" in page
    told = [word for page in long for word in page if re.fullmatch(r"c\d+", word)]
    assert told == [f"c{n}" for n in range(2 * full)]
    for page in long:  # a heading never stands with fewer than four rows, but at the end
        assert sum(bool(re.fullmatch(r"c\d+", word)) for word in page) >= 4 or page is long[-1]


def test_every_page_has_its_number_and_all_cautions():
    story = [para("first"), PageBreak(), para("second")]
    read = read_pages(write(story))
    for count, page in enumerate(read, start=1):
        assert f"page {count} of 2" in page.text
        assert all(caution in page.text for caution in CAUTIONS)
