"""The sheet is true to scale: what its content streams draw is measured against the layout."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from record_samples import sheet_pdf
from sheet_samples import STEMS, manifest, pages, tiles

from jiggen.cautions import CAUTIONS
from jiggen.cli import main
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.verify.reading.pdf import Sheet, Stroke, read_pages

# Width and height in mm: A4 of ISO 216; letter, 8.5 x 11 in, of ANSI/ASME Y14.1.
PAPERS = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}
NEAR = 0.01  # mm: what 1:1 is held to
EITHER = pytest.mark.parametrize("paper", PAPERS)


@EITHER
@pytest.mark.parametrize("name", [*STEMS, "far"])
def test_the_pages_are_as_large_as_the_paper(name, paper):
    for page in pages(name, paper):
        assert sorted(page.size) == pytest.approx(PAPERS[paper], abs=NEAR)


@EITHER
@pytest.mark.parametrize("name", [*STEMS, "far", "crowd"])
def test_every_1_to_1_page_has_a_bar_of_100_mm_both_ways_with_ten_equal_parts(name, paper):
    for page in tiles(name, paper):
        bars = [s for s in page.strokes if abs(s.length - 100) < NEAR and not s.dashes]
        assert sorted(bar.upright for bar in bars) == [False, True]
        for bar in bars:
            along = 1 if bar.upright else 0
            ticks = [
                s.start[along] - bar.start[along]
                for s in page.strokes
                if s.upright != bar.upright
                and s.length < 5
                and abs(s.start[1 - along] - bar.start[1 - along]) < NEAR
            ]
            assert sorted(ticks) == pytest.approx(list(range(0, 101, 10)), abs=NEAR)


@EITHER
@pytest.mark.parametrize("name", [*STEMS, "far"])
def test_tiles_laid_together_by_their_crosses_give_the_layout(name, paper):
    placed = lay_together(name, paper)
    marks = [s.start[0] + dx for page, (dx, _) in placed for s in page.strokes if is_mark(s)]
    centres = [s.start[1] + dy for page, (_, dy) in placed for s in page.strokes if is_centre(s)]
    assert np.ptp(marks) < NEAR
    assert np.ptp(centres) < NEAR
    found = {
        (
            round(ring.centre[0] + dx - marks[0], 2) + 0.0,
            round(ring.centre[1] + dy - centres[0], 2) + 0.0,
            round(2 * ring.radius, 2),
        )
        for page, (dx, dy) in placed
        for ring in page.rings
    }
    wanted = {(h["x"], h["y"], h["diameter"]) for h in manifest(name)["holes"]}
    assert len(wanted) == len(manifest(name)["holes"])
    for one in wanted:
        assert min(np.abs(np.subtract(one, other)).max() for other in found) < NEAR + 0.005, one
    for one in found:
        assert min(np.abs(np.subtract(one, other)).max() for other in wanted) < NEAR + 0.005, one


@EITHER
@pytest.mark.parametrize("name", [*STEMS, "far"])
def test_each_hole_stands_whole_with_its_id_beside_it_on_a_tile(name, paper):
    places = {(h["x"], h["y"]): h["id"] for h in manifest(name)["holes"]}
    origin = mark_and_centre(name, paper)
    named = set()
    for page, (dx, dy) in lay_together(name, paper):
        ids = [word for word in page.words if word.text in places.values()]
        for ring in page.rings:
            at = np.add(ring.centre, (dx, dy)) - origin
            place = min(places, key=lambda p: math.dist(p, at))
            nearest = min(ids, key=lambda word: gap(word.box, ring.centre))
            assert nearest.text == places[place]
            assert gap(nearest.box, ring.centre) < ring.radius + 8
            named.add(places[place])
    assert named == set(places.values())


def mark_and_centre(name, paper) -> np.ndarray:
    placed = lay_together(name, paper)
    x = next(s.start[0] + dx for page, (dx, _) in placed for s in page.strokes if is_mark(s))
    y = next(s.start[1] + dy for page, (_, dy) in placed for s in page.strokes if is_centre(s))
    return np.array([x, y])


def gap(box, point) -> float:
    x, y = (min(max(point[i], box[i]), box[i + 2]) for i in (0, 1))
    return math.dist((x, y), point)


def is_mark(stroke: Stroke) -> bool:
    """The only wide line on a 1:1 page."""
    return abs(stroke.width - 0.4) < 1e-3


def is_centre(stroke: Stroke) -> bool:
    """The only line of dashes and dots."""
    return len(stroke.dashes) == 4


def crosses(page: Sheet) -> dict[str, tuple[float, float]]:
    """Registration crosses by their letter: arms of 6 mm, and a letter at 1.5 mm."""
    level = [s for s in page.strokes if not s.upright and abs(s.length - 12) < NEAR]
    upright = [s for s in page.strokes if s.upright and abs(s.length - 12) < NEAR]
    found = {}
    for one in level:
        middle = np.add(one.start, one.end) / 2
        for other in upright:
            if math.dist(middle, np.add(other.start, other.end) / 2) < NEAR:
                words = [w for w in page.words if re.fullmatch("[a-z]+ to page .*", w.text)]
                near = min(words, key=lambda w: gap(w.box, middle))
                assert gap(near.box, middle) < 3
                letter = near.text.split()[0]
                assert letter not in found
                found[letter] = tuple(middle)
    return found


@cache
def lay_together(name: str, paper: str) -> list[tuple[Sheet, tuple[float, float]]]:
    """Each 1:1 page with its shift on the table, found by the crosses it shares with others."""
    return laid_together(tiles(name, paper))


def laid_together(sheets: Sequence[Sheet]) -> list[tuple[Sheet, tuple[float, float]]]:
    """Pages with their shifts, as `lay_together`."""
    marks = [crosses(page) for page in sheets]
    shifts = {0: np.zeros(2)}
    while len(shifts) < len(sheets):
        before = len(shifts)
        for index, mine in enumerate(marks):
            for other, shift in list(shifts.items()):
                shared = sorted(mine.keys() & marks[other].keys())
                if index in shifts or not shared:
                    continue
                assert len(shared) == 2, "two crosses fix a page against turning"
                moves = [np.subtract(marks[other][c], mine[c]) + shift for c in shared]
                assert math.dist(*moves) < NEAR
                assert math.dist(mine[shared[0]], mine[shared[1]]) > 100
                shifts[index] = moves[0]
        assert len(shifts) > before, "every page is joined to another"
    return [(page, tuple(shifts[index])) for index, page in enumerate(sheets)]


@pytest.mark.parametrize("name", ["club-piste", "free-heel"])
def test_a_layout_has_the_same_pages_without_a_build(name, tmp_path, capsys):
    target = tmp_path / "look.pdf"
    words = ["layout", name, "--boot", "305", "--pdf", str(target), "--paper", "letter"]
    assert main([*words, "--plate-hole", "5.5"]) == 0
    read = read_pages(target.read_bytes())
    assert all(page.size == pytest.approx(PAPERS["letter"][::-1], abs=NEAR) for page in read)
    assert all(caution in page.text for page in read for caution in CAUTIONS)
    placed = laid_together(read)
    mark = next(s.start[0] + shift[0] for page, shift in placed for s in page.strokes if is_mark(s))
    middle = next(s.start[1] for s in read[0].strokes if is_centre(s))
    found = {
        (*np.round(np.add(ring.centre, shift), 2), round(2 * ring.radius, 2))
        for page, shift in placed
        for ring in page.rings
    }
    layout = lay_out(read_pattern(find_pattern(name)), 305.0)
    places = np.add(layout.positions, (mark, middle))
    for place in places:  # the drill's hole, and around it the plate's
        near = {size for x, y, size in found if math.dist((x, y), place) < NEAR + 0.01}
        assert near == {3.6, 5.5}
    assert all(min(math.dist(p, ring[:2]) for p in places) < NEAR + 0.01 for ring in found)
    assert main([*words, "--plate-hole", "30"]) == 2
    assert "Allowed: 2 to 15 mm" in capsys.readouterr().err


def test_the_plate_lies_on_the_page_never_under_it():
    for page in tiles("hut-plate", "A4"):
        assert "Lay the plate on it, mark on mark" in page.text
    said = " ".join(page.text for page in pages("hut-plate", "A4"))
    assert "pieces on the 1:1 holes, never under them" in said
    assert "holes over the" not in said and "Lay it over" not in said


def test_scale_is_seen_when_it_is_wrong(monkeypatch):
    """The reading above would notice a sheet one part in a thousand too small."""
    from jiggen.draw import pdf

    monkeypatch.setattr(pdf, "POINT", pdf.POINT * 1.001)
    page = read_pages(sheet_pdf(manifest("club-piste")))[-1]
    assert not [s for s in page.strokes if abs(s.length - 100) < NEAR]
