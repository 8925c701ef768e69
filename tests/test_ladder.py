"""Halves for many boots as plain numbers: lines, rows, places; no CAD."""

import numpy as np
import pytest
import shapely
from ladder_samples import mixed
from shapely.geometry import Polygon

from jiggen.design import Bed, Settings, SkiRange
from jiggen.design.ladder import (
    AIR,
    BAND_PITCH,
    CAPS,
    GROOVE,
    GROOVE_DEPTH,
    HALF,
    LONG,
    PITCH,
    REACH,
    SHIFTS,
    WINDOW,
    boot_rows,
)
from jiggen.design.plan import END_WALL, bed_turn
from jiggen.design.reusable import design_reusable
from jiggen.errors import InputError
from jiggen.layout import layouts, motions, whole_boots
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns
from jiggen.record.ladders import length_of

NARROW = SkiRange(84.0, 112.0)


def reusable(name, least=265.0, most=345.0, *, ski=NARROW, bed=220.0, engraved=False, **choices):
    found = read_pattern(find_pattern(name)) if isinstance(name, str) else name
    over = layouts(found, whole_boots(least, most), **choices)
    settings = Settings(ski, bed=Bed(bed, bed, 250.0))
    return design_reusable(over, settings, engraved=engraved)


@pytest.fixture(scope="module")
def club():
    return reusable("club-piste", engraved=True)


def rows(half):
    return {row.name: row for row in half.tongue.rows}


def test_a_half_for_each_group_that_moves_with_two_stations_and_two_strips(club):
    assert [half.body.name for half in club.halves] == ["body-toe", "body-heel"]
    for half in club.halves:
        assert len(half.design.stations) == len(half.body.stations) == 2
        assert len(half.design.supports) == 2
        assert half.design.joint is None
        names = {item.name for item in half.body.engravings}
        assert {"clamp seats", "arrow to the tip", "BOOT 265-345"} <= names
        assert half.body.notch.lengths[0].nominal > 100
    assert len(club.whole.stations) == 4
    assert {s.name for s in club.whole.stations} == {
        "toe rear", "toe front", "heel rear", "heel front"
    }  # fmt: skip
    assert club.whole.layout.boot == 345.0


def test_every_boot_has_one_line_half_as_far_from_the_longest_as_it_is_shorter(club):
    # By hand: the toe moves by half the boot, so its mark lies half of what a boot lacks to 345
    # in front of the line of 345; the heel's behind it.
    for half, way in zip(club.halves, (1, -1), strict=True):
        lines = {line.first: line for row in half.tongue.rows for line in row.lines}
        assert sorted(lines) == [float(boot) for boot in range(265, 346)]
        for boot, line in lines.items():
            assert line.x == pytest.approx(way * (345.0 - boot) / 2, abs=1e-9)
            assert line.last == boot


def test_odd_lengths_are_left_and_even_ones_right_a_printable_millimetre_apart(club):
    for half in club.halves:
        odd, even = rows(half)["odd"], rows(half)["even"]
        assert odd.wall > 0 > even.wall
        assert {line.first % 2 for line in odd.lines} == {1.0}
        assert {line.first % 2 for line in even.lines} == {0.0}
        for row in (odd, even):
            gaps = np.abs(np.diff([line.x for line in row.lines]))
            assert gaps == pytest.approx(PITCH)
    # A thread of 0.45 mm follows the wall in one go: along the middle of each land, half of it
    # behind the face, a straight piece is left between the threads along the two grooves.
    slope = np.arctan2(GROOVE / 2, GROOVE_DEPTH)
    land, thread = PITCH - GROOVE, 0.45
    assert land / 2 + thread / 2 * (np.tan(slope) - 1 / np.cos(slope)) > 0


def test_every_fifth_is_longer_and_numbered_by_what_it_is(club):
    for row in rows(club.halves[0]).values():
        for line in row.lines:
            assert line.number == (f"{line.first:g}" if line.first % 5 == 0 else "")
            # Evens end in 0 2 4 6 8 and odds in 5 7 9 1 3: long, short, half, short, short.
            wanted = {0: "long", 4: "half-long"}.get(line.first % 5, "short")
            assert length_of(row.name, line) == wanted
    shift = club.halves[0].tongue.shift
    assert [line.first for line in shift.lines] == list(range(-SHIFTS, SHIFTS + 1))
    assert {line.first: line.number for line in shift.lines if line.number} == {
        -10: "10", 0: "0", 10: "10"
    }  # fmt: skip
    zero = next(line.x for line in shift.lines if line.first == 0)
    assert all(line.x == pytest.approx(zero + line.first) for line in shift.lines)
    for line in shift.lines:
        assert length_of("shift", line) == ("short" if line.first % 5 else "long")


def shape(item):
    return shapely.union_all([Polygon(r.outer, r.inner) for r in item.regions])


def test_what_is_engraved_keeps_clear_of_what_it_is_not_part_of(club):
    for half in club.halves:
        flat = [e for e in half.body.engravings if "down the wall" not in e.name]
        shapes = [(item.name, shape(item)) for item in flat]
        for index, (name, one) in enumerate(shapes):
            for other, second in shapes[index + 1 :]:
                assert one.distance(second) > 0.3, (name, other)
            inside = Polygon(half.body.outline.outer, half.body.outline.inner)
            if not name.endswith(("ladder", "seats")):  # lines are open to the windows
                assert inside.buffer(-0.6).contains(one), name
        for guide in half.body.guides:
            pocket = shapely.Point(guide.x, guide.y).buffer(guide.radius + guide.lead_in)
            assert all(one.distance(pocket) > 1.2 for _, one in shapes)


def test_long_lines_begin_in_the_window_and_go_down_the_wall_to_the_flare(club):
    half = club.halves[0]
    body = Polygon(half.body.outline.outer, half.body.outline.inner)
    for row, flare in zip((*half.tongue.rows, half.tongue.shift), half.body.flares, strict=True):
        (comb,) = (e for e in half.body.engravings if e.name == f"{row.name} ladder")
        lengths = [length_of(row.name, line) for line in row.lines]
        reach = sorted(r.outer[:, 1].max() - r.outer[:, 1].min() for r in comb.regions)
        halves = lengths.count("half-long")
        assert len(reach) == lengths.count("long") + halves
        assert reach[:halves] == pytest.approx([HALF + AIR] * halves)
        assert reach[halves:] == pytest.approx([LONG + AIR] * lengths.count("long"))
        assert shape(comb).bounds[3] - shape(comb).bounds[1] > LONG
        assert not body.contains(shape(comb))
        (down,) = (e for e in half.body.engravings if e.name == f"{row.name} ladder down the wall")
        assert flare.bend - 0.5 < half.design.settings.body - down.depth < flare.bend


def test_no_two_lines_within_ten_millimetres_of_boot_look_the_same(club):
    """A second witness: on a line beside the right one the neighbours are others."""
    for half in club.halves:
        for row in half.tongue.rows:
            along = sorted(row.lines, key=lambda line: line.first)
            looks = [length_of(row.name, line) for line in along]
            around = [tuple(looks[i - 1 : i + 2]) for i in range(1, len(looks) - 1)]
            for start in range(len(around) - 4):
                assert len(set(around[start : start + 5])) == 5
    xs = sorted(line.x for line in rows(club.halves[0])["even"].lines if not line.first % 5 % 4)
    assert min(np.diff(xs)) == pytest.approx(2 * PITCH)  # a land of three threads between two


def test_every_line_goes_down_a_flare_to_the_ski_beside_which_the_mark_shows(club):
    for half in club.halves:
        for row, flare in zip(
            (*half.tongue.rows, half.tongue.shift), half.body.flares, strict=True
        ):
            assert flare.lines == tuple(line.x for line in row.lines)
            assert flare.end == half.design.settings.relief <= 1.0
            assert flare.span[0] + GROOVE < min(flare.lines)
            assert max(flare.lines) + GROOVE < flare.span[1]
            # It leans out by 45° from the wall, which a printer lays without support.
            assert flare.bend - flare.end - REACH == pytest.approx(0.4)
        # 3 mm of the mark show beside it even on the narrowest ski, 1 mm inside the body's edge.
        foot = max(abs(flare.corners[:, 1]).max() for flare in half.body.flares)
        assert foot + 3.0 <= half.design.half_width - 1.0
        _, y0, _, y1 = half.tongue.slot
        assert y1 - y0 - REACH >= 3.0  # room for a pen
        # What is cut out below spares nothing of the flares: they stand as high as the tongue.
        relief = shapely.union_all([region.polygon for region in half.body.relief])
        over = shapely.box(half.tongue.span[0], -40.0, half.tongue.span[1], 40.0)
        for flare in half.body.flares:
            assert relief.contains(flare.plan & over)
        assert WINDOW > REACH


@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
@pytest.mark.parametrize("core", ["plain", "metal"])
def test_every_shipped_pattern_has_halves_for_265_to_345_on_a_common_bed(path, core):
    found = read_pattern(path)
    side = "right" if found.pair == "mirrored" else "left"
    jig = reusable(found, ski=SkiRange(70.0, 130.0), core=core, side=side)
    for half in jig.halves:
        turned = bed_turn(half.body.outline.outer * (1.0, -1.0), Bed(220, 220, 250))
        assert turned is not None
        wall, reach = half.design.settings.wall, half.design.mechanism.station.half_length
        for station in half.body.stations:
            assert station.x - reach >= half.body.plate.start + END_WALL - 1e-9
            assert station.x + reach <= half.body.plate.stop - END_WALL + 1e-9
            for guide in half.body.guides:
                assert abs(guide.x - station.x) - guide.radius - reach >= wall - 1e-9
            if half.tongue:
                low, high = half.tongue.span
                assert station.x - reach > high or station.x + reach < low


def test_a_mirrored_right_ski_has_its_holes_and_the_same_ladder():
    left = reusable("skew-plate")
    right = reusable("skew-plate", side="right")
    for one, other in zip(left.halves, right.halves, strict=True):
        assert [g.y for g in one.body.guides] == [-g.y for g in other.body.guides]
        assert one.tongue.rows == other.tongue.rows


def test_a_stepped_group_has_a_line_a_band_with_the_boots_that_share_it():
    toe, heel = reusable("step-track").halves
    left, bands = toe.tongue.rows
    assert [line.x for line in left.lines] == [line.x for line in bands.lines]
    assert left.wall == -bands.wall > 0  # read on both sides, where the jig's turn does not count
    # The file's steps, from the boots that were asked for: 112.6, 126.3, 140.0, 153.7.
    assert [(line.number, line.x) for line in bands.lines] == [
        ("265-277", pytest.approx(153.7 - 112.6)),
        ("278-305", pytest.approx(153.7 - 126.3)),
        ("306-333", pytest.approx(153.7 - 140.0)),
        ("334-345", 0.0),
    ]
    # The heel's datum moves within each band, so its lines are lengths; they jump at the step.
    lines = {line.first: line.x for row in heel.tongue.rows for line in row.lines}
    assert len(lines) == 81
    assert lines[302.0] - lines[303.0] == pytest.approx(-0.5)
    assert lines[303.0] - lines[304.0] == pytest.approx(-0.5 - (13.1 - 7.9))


def test_a_step_back_lays_lines_on_one_another_and_is_refused():
    # From 299 on the toe would go back by 6 mm: the lines of 300 and 288 would be one.
    with pytest.raises(InputError) as caught:
        reusable(mixed(-18.0))
    (finding,) = caught.value.findings
    assert finding.code == "design.ladder-close"
    assert "toe" in finding.message
    reusable(mixed(-18.0), 265.0, 299.0)
    reusable(mixed(-18.0), 300.0, 345.0)


def test_a_group_that_stands_still_among_others_has_an_ordinary_body():
    jig = reusable(mixed(-9.0), engraved=True)
    names = {half.body.name: half for half in jig.halves}
    assert set(names) == {"body-toe", "body-heel", "body-centre"}
    centre = names["body-centre"]
    assert centre.tongue is None
    assert {"boot-centre line", "BOOT 265-345"} <= {e.name for e in centre.body.engravings}


def test_a_short_range_still_has_a_number_on_each_edge():
    half = reusable("club-piste", 281.0, 284.0).halves[0]
    for row in half.tongue.rows:
        assert any(line.number for line in row.lines)
    assert half.tongue.span[1] - half.tongue.span[0] >= 36.0  # the ladder of shifts stays


def test_numbers_never_touch():
    for name in ("club-piste", "step-track"):
        for half in reusable(name).halves:
            for row in (*half.tongue.rows, half.tongue.shift):
                xs = sorted(line.x for line in row.lines if line.number)
                assert (np.diff(xs) >= BAND_PITCH - 1e-9).all()
    assert BAND_PITCH > CAPS


def test_narrow_skis_leave_no_room_for_the_ladder():
    with pytest.raises(InputError, match="too narrow for a boot-length ladder"):
        reusable("club-piste", ski=SkiRange(58.0, 80.0))


def test_a_small_bed_is_refused_with_the_numbers_of_each_half():
    with pytest.raises(InputError) as caught:
        reusable("club-piste", bed=180.0)
    messages = [finding.message for finding in caught.value.findings]
    assert any("body-toe" in m for m in messages) and any("body-heel" in m for m in messages)
    assert all("the longest a 180x180 mm bed takes" in message for message in messages)


def test_lines_come_from_the_layouts_and_not_from_a_rule():
    (toe, _) = motions(layouts(read_pattern(find_pattern("old-inch")), whole_boots(270, 272)))
    lines = sorted((line.first, line.x) for row in boot_rows(toe).values() for line in row)
    assert [x for _, x in lines] == pytest.approx([1.0, 0.5, 0.0])
