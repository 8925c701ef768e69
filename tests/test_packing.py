"""Pieces on beds: inside, apart, unturned, on as few beds as there can be."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations, product

import numpy as np
import pytest
import shapely
from verify_samples import read_facets

from jiggen.cli import main
from jiggen.design import Bed, Settings, SkiRange
from jiggen.design.jig import tight_rims
from jiggen.design.plan import bed_turn, free_rim
from jiggen.export.packing import Room, pack
from jiggen.job import Job, design_job
from jiggen.pattern import find_pattern, read_pattern

ROOM = Room(2.0, 2.0, 218.0, 218.0)
GAP = 5.0
SKIS = SkiRange(84.0, 112.0)
TINY = Room(0.0, 0.0, 10.0, 10.0)


def rectangle(wide, deep, x=0.0, y=0.0):
    return np.array([(x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep)])


def disc(radius):
    angles = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return radius * np.column_stack([np.cos(angles), np.sin(angles)])


def turned(outline, degrees):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return outline @ np.array([(c, s), (-s, c)])


def hulls(outlines, bed):
    return [shapely.MultiPoint(outlines[spot.index] + (spot.x, spot.y)).convex_hull for spot in bed]


def judge(outlines, beds, room=ROOM, gap=GAP):
    """Every piece once, inside the room, a gap from every other."""
    assert sorted(spot.index for bed in beds for spot in bed) == list(range(len(outlines)))
    inside = shapely.box(room.left, room.front, room.right, room.back).buffer(2e-3)
    for bed in beds:
        placed = hulls(outlines, bed)
        assert all(inside.covers(hull) for hull in placed)
        assert all(one.distance(other) >= gap - 4e-3 for one, other in combinations(placed, 2))


@cache
def fits(sizes: tuple[tuple[int, int], ...], side: int, gap: int) -> bool:
    """Whether rectangles fit one square bed: every place on the whole-number grid is tried.

    Sizes, gap and side being whole numbers, a packing pushed to the left and to the front has all
    its corners on that grid: what it does not find is not there.
    """

    def put(rest, placed):
        if not rest:
            return True
        wide, deep = rest[0]
        for x, y in product(range(side - wide + 1), range(side - deep + 1)):
            free = all(
                x + wide + gap <= u or u + w + gap <= x or y + deep + gap <= v or v + d + gap <= y
                for u, v, w, d in placed
            )
            if free and put(rest[1:], [*placed, (x, y, wide, deep)]):
                return True
        return False

    return put(sizes, [])


def fewest(sizes, side, gap):
    """The least number of beds, by trying every way of sharing the pieces out."""

    def share(rest, beds, limit):
        if not rest:
            return True
        options = range(min(len(beds) + 1, limit))
        for number in options:
            bed = beds[number] if number < len(beds) else ()
            grown = tuple(sorted((*bed, rest[0]), reverse=True))
            if fits(grown, side, gap):
                more = [*beds[:number], grown, *beds[number + 1 :]]
                if share(rest[1:], more, limit):
                    return True
        return False

    return next(n for n in range(1, len(sizes) + 1) if share(sizes, [], n))


@pytest.mark.parametrize("seed", range(30))
def test_small_cases_take_as_few_beds_as_brute_force_finds(seed):
    rng = np.random.default_rng(seed)
    sizes = tuple((int(w), int(d)) for w, d in rng.integers(2, 8, (6, 2)))
    outlines = [rectangle(*size) for size in sizes]
    beds = pack(outlines, TINY, 1.0)
    judge(outlines, beds, TINY, 1.0)
    assert len(beds) == fewest(sizes, 10, 1)


def test_what_fits_to_the_hair_is_not_lost():
    outlines = [rectangle(216.0, 68.0), rectangle(216.0, 68.0), rectangle(216.0, 70.0)]
    beds = pack(outlines, ROOM, GAP)
    judge(outlines, beds)
    assert len(beds) == 1


def test_pieces_find_room_beside_one_that_lies_askew():
    # Boxes around them would need two beds: the slanting one's box is the whole bed.
    outlines = [turned(rectangle(220, 60), 45), *[rectangle(22, 83)] * 4, disc(15), disc(15)]
    beds = pack(outlines, ROOM, GAP)
    judge(outlines, beds)
    assert len(beds) == 1


def test_round_pieces_are_apart_by_the_gap_and_not_by_their_boxes():
    outlines = [disc(10.0)] * 25
    beds = pack(outlines, ROOM, GAP)
    judge(outlines, beds)


def test_pieces_whose_file_starts_elsewhere_are_laid_as_well():
    outlines = [rectangle(50, 50, x=-300.0, y=77.7), rectangle(50, 50, x=12.3)]
    judge(outlines, pack(outlines, ROOM, GAP))


def test_a_piece_longer_than_the_room_lies_in_its_middle_and_leaves_room_beside_it():
    outlines = [rectangle(219, 50), rectangle(50, 50), rectangle(20, 217)]
    first, second = pack(outlines, ROOM, GAP)
    (long, beside), (upright,) = first, second
    assert (long.x, long.y) == pytest.approx((0.5, 2.0), abs=2e-3)
    assert (beside.x, beside.y) == pytest.approx((2.0, 57.0), abs=2e-3)
    assert (upright.x, upright.y) == pytest.approx((2.0, 1.5), abs=2e-3)


def test_the_same_pieces_are_laid_the_same_way_again():
    outlines = [disc(r) for r in (30, 12, 12, 50, 41)]
    assert pack(outlines, ROOM, GAP) == pack(outlines, ROOM, GAP)


def test_no_pieces_need_no_bed():
    assert pack([], ROOM, GAP) == ()


def test_every_piece_of_the_jig_leaves_the_beds_rim_free(built):
    data = built.record.values()
    assert (data["inputs"]["bed"]["x"], data["inputs"]["bed"]["rim"]) == (220.0, 8.0)
    names, infills = [], []
    for bed in data["beds"]:
        infills.append(bed["advice"]["infill"])
        for piece in bed["pieces"]:
            names.append(piece["name"])
            at = read_facets(built.folder / f"parts/{piece['part']}.stl").reshape(-1, 3)[:, :2]
            at = at + np.array((piece["x"], piece["y"]))
            low, high = at.min(axis=0), at.max(axis=0)
            least = np.minimum(8.0, (220.0 - (high - low)) / 2) - 2e-3
            assert (low >= least).all() and (220.0 - high >= least).all(), piece["name"]
            assert least.min() > 5.0
    # The toe half is longer than 204 mm: it lies in the middle, along the bed, 5 mm from its ends.
    toe, heel = built.plan.design.bodies
    assert np.ptp(toe.outline.outer[:, 0]) > 204.0 and toe.turn == heel.turn == 0.0
    assert infills == [30, 100]  # what is solid has a bed to itself
    assert sorted(names) == sorted(
        placed["name"] for part in data["parts"] for placed in part["placed"]
    )


@pytest.mark.parametrize(
    ("long", "free"),
    # By hand, 68 mm wide on 220 mm: askew at 45 degrees it takes (long + 68)/sqrt(2) each way.
    [(204.0, 8.0), (204.1, 7.95), (212.0, 4.0), (212.1, 8.0), (220.0, 8.0), (230.0, 4.64),
     (237.0, 2.17)],
)  # fmt: skip
def test_the_rim_gives_way_to_what_is_too_long_and_no_further_than_it_must(long, free):
    bed, outline = Bed(), rectangle(long, 68.0)
    turn = bed_turn(outline, bed)
    assert (turn == 0.0) is (long <= 212.0)  # askew only where less than half of it is left
    left = free_rim(outline, turn, bed)
    assert left >= 8.0 - 1e-6 if free == 8.0 else left == pytest.approx(free, abs=0.01)
    assert bed_turn(rectangle(238.0, 68.0), bed) is None  # 1.8 mm would be left: 2 are the least


def test_a_jig_too_long_for_the_rim_is_made_and_says_so():
    wanted = Job(read_pattern(find_pattern("hut-plate")), (305.0, 305.0), Settings(SKIS))
    design = design_job(wanted, engraved=False).whole
    [said] = tight_rims(design.bodies, design.settings.bed)
    assert said.message == "body is so long that 5.4 mm of the bed stay free around it, not 8"
    larger = replace(wanted, settings=replace(wanted.settings, bed=Bed(256.0, 256.0)))
    roomy = design_job(larger, engraved=False).whole
    assert tight_rims(roomy.bodies, roomy.settings.bed) == ()


def test_the_rim_is_settable_within_reason(capsys):
    words = ["hut-plate", "--boot", "305", "--ski", "84-112", "--bed-rim", "40"]
    assert main(["build", *words]) == 2
    said = capsys.readouterr().err
    assert "the bed's rim is 40 mm" in said and "--bed-rim" in said
    assert main(["trial", *words[:3], *words[-2:]]) == 2
    assert "--bed-rim" in capsys.readouterr().err
