"""Old holes, conflicts, and the clear shifts against brute force."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product, starmap
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jiggen.errors import InputError
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.remount.read import read_old_holes
from jiggen.remount.shifts import (
    SPAN,
    Conflict,
    OldHole,
    RemountLimits,
    check_mount,
    clear_shifts,
    conflicts,
    moved,
    old_holes,
    reused,
    settable,
)
from jiggen.remount.shifts import nearest_clear as nearest_of

LIMITS = RemountLimits()


def holes(*places: tuple[float, float], diameter: float = 4.1) -> Layout:
    """A layout of `places`, whatever pattern it may come from."""
    count = len(places)
    return Layout(
        pattern="test",
        boot=300.0,
        mount_shift=0.0,
        core="plain",
        side="left",
        pair="same",
        ids=tuple(f"new-{number}" for number in range(1, count + 1)),
        groups=("new",) * count,
        positions=np.array(places, dtype=float),
        diameters=np.full(count, diameter),
        depths=np.full(count, 9.0),
    )


def shipped(name: str, boot: float, shift: float = 0.0) -> Layout:
    return lay_out(read_pattern(find_pattern(name)), boot, mount_shift=shift)


def nearest_clear(new, old, limits, span=SPAN):
    return nearest_of(clear_shifts(new, old, limits, span))


# -- limits and conflicts, by hand -------------------------------------------------------------


def test_default_limits_are_those_of_the_issue():
    # all three: common practice, no source
    assert RemountLimits() == RemountLimits(open=10.0, plugged=6.0, reuse=0.3)


def test_limits_that_are_none_are_all_named_at_once():
    with pytest.raises(InputError) as caught:
        RemountLimits(open=-1.0, plugged=math.nan, reuse=2.5).check()
    found = caught.value.findings
    assert [finding.key for finding in found] == ["limit", "plugged-limit", "reuse"]
    assert {finding.code for finding in found} == {"remount.limit"}
    with pytest.raises(InputError, match="-1"):
        conflicts(holes((0, 0)), [], RemountLimits(open=-1.0))


def test_a_conflict_names_both_holes_distance_and_limit():
    old = [OldHole("open", 6.0, 8.0), OldHole("plugged", 3.0, 4.0, plugged=True)]
    [found] = conflicts(holes((0, 0), (40, 0)), old, LIMITS)
    assert found == Conflict("new-1", "plugged", 5.0, 6.0)  # 6-8-10 is at the limit: clear
    old[0] = OldHole("open", 6.0, 7.9)
    first, _ = conflicts(holes((0, 0)), old, LIMITS)
    assert (first.old, first.limit) == ("open", 10.0)
    assert first.distance == pytest.approx(math.sqrt(98.41))


@pytest.mark.parametrize(
    ("diameter", "off", "again"),
    [
        (4.1, 0.3, True),
        (3.6, 0.0, True),
        (4.1, 0.31, False),
        (4.2, 0.0, False),  # larger than the drill: the screw would find no wall
        (None, 0.0, False),  # nobody knows
    ],
)
def test_an_old_hole_is_reused_when_it_is_near_and_not_larger(diameter, off, again):
    old = [OldHole("old-1", 100.0 + off, 0.0, diameter)]
    new = holes((100, 0))
    assert bool(reused(new, old, LIMITS)) is again
    assert bool(conflicts(new, old, LIMITS)) is not again


def test_a_reused_hole_may_still_lie_too_near_another():
    old = [OldHole("a", 0.0, 0.0, 4.1), OldHole("b", 0.0, 8.0, 4.1)]
    new = holes((0.1, 0))
    assert [(r.new, r.old) for r in reused(new, old, LIMITS)] == [("new-1", "a")]
    assert [c.old for c in conflicts(new, old, LIMITS)] == ["b"]


# -- clear shifts, by hand ---------------------------------------------------------------------


def test_one_pair_abreast_leaves_both_sides_and_the_reuse_window():
    old = [OldHole("old-1", 100.0, 0.0, 4.1)]
    found = clear_shifts(holes((95, 0)), old, LIMITS)
    wanted = [(-60.0, -5.0), (4.7, 5.3), (15.0, 60.0)]
    assert np.allclose(found, wanted, rtol=0, atol=1e-8)


def test_a_pair_offset_across_the_ski_is_a_chord_of_the_circle():
    found = clear_shifts(holes((0, 0)), [OldHole("old-1", 0.0, 6.0)], LIMITS)
    assert np.allclose(found, [(-60.0, -8.0), (8.0, 60.0)], rtol=0, atol=1e-8)  # 6-8-10


def test_a_plugged_hole_keeps_its_own_limit():
    found = clear_shifts(holes((0, 0)), [OldHole("old-1", 0.0, 0.0, plugged=True)], LIMITS)
    assert np.allclose(found, [(-60.0, -6.0), (6.0, 60.0)], rtol=0, atol=1e-8)


def test_circles_that_touch_leave_a_single_shift():
    old = [OldHole("a", 5.0, 6.0), OldHole("b", 21.0, 6.0)]  # chords of ±8 meet at 13
    found = clear_shifts(holes((0, 0)), old, LIMITS)
    assert np.allclose(found, [(-60.0, -3.0), (13.0, 13.0), (29.0, 60.0)], rtol=0, atol=1e-8)
    assert not conflicts(moved(holes((0, 0)), 13.0), old, LIMITS)


def test_no_old_hole_leaves_the_whole_span():
    assert clear_shifts(holes((0, 0)), [], LIMITS, (-3.0, 4.0)) == ((-3.0, 4.0),)


@pytest.mark.parametrize("span", [(1.0, 5.0), (-5.0, -1.0), (-math.inf, 5.0), (0.0, math.nan)])
def test_a_span_without_the_wanted_mount_is_refused(span):
    with pytest.raises(InputError) as caught:
        clear_shifts(holes((0, 0)), [], LIMITS, span)
    assert caught.value.findings[0].code == "remount.span"


def test_the_same_pattern_moved_by_a_boot_ten_shorter():
    # Toe group 5 towards the tail, heel group 5 towards the tip: a shift of 5 lays the toe
    # holes on the old ones (reuse) and the heel holes 10 from the old ones (just clear).
    new, old = shipped("club-piste", 295), old_holes(shipped("club-piste", 305))
    assert len(conflicts(new, old, LIMITS)) == len(new) == 9
    near = nearest_clear(new, old, LIMITS)
    assert (near.to_tip, near.to_tail) == pytest.approx((5.0, -5.0), abs=1e-8)
    assert near.best == near.to_tip
    assert {r.old for r in reused(moved(new, 5.0), old, LIMITS)} == {
        f"old-toe-{number}" for number in range(1, 6)
    }


def test_a_clear_mount_is_its_own_nearest():
    near = nearest_clear(holes((0, 0)), [OldHole("old-1", 30.0, 0.0)], LIMITS)
    assert (near.to_tip, near.to_tail, near.best) == (0.0, 0.0, 0.0)


def test_no_clear_shift_is_said_in_words():
    old = [OldHole(str(x), float(x), 0.0) for x in range(-90, 91, 5)]
    near = nearest_clear(holes((0, 0)), old, LIMITS)
    assert (near.to_tip, near.to_tail, near.best) == (None, None, None)
    found = check_mount(holes((0, 0)), old, LIMITS)
    assert found.to_tip_why == "no shift of up to 60 mm towards the tip is clear"
    assert found.to_tail_why == "no shift of up to 60 mm towards the tail is clear"


def test_only_one_way_may_be_clear():
    old = [OldHole(str(x), float(x), 0.0) for x in range(0, 91, 5)]
    near = nearest_clear(holes((0, 0)), old, LIMITS)
    assert near.to_tip is None
    assert near.to_tail == near.best == pytest.approx(-10.0, abs=1e-8)
    assert check_mount(holes((0, 0)), old, LIMITS).to_tail_why == ""


@pytest.mark.parametrize(
    ("shift", "clear", "mount", "wanted"),
    [
        (6.13, (6.13, 20.0), 0.0, 6.2),
        (6.13, (6.13, 20.0), 2.05, 8.2),  # the sum is what is set
        (-6.13, (-20.0, -6.13), 0.0, -6.2),
        (6.13, (6.13, 6.15), 0.0, 6.13),
        (6.131, (6.131, 6.15), 0.0, 6.14),
        (6.131, (6.131, 6.1312), 0.0, 6.131),  # nothing rounder is clear
        (0.0, (-1.0, 1.0), 3.0, 3.0),
    ],
)
def test_a_shift_to_set_is_rounded_into_the_clear(shift, clear, mount, wanted):
    assert settable(shift, clear, mount) == pytest.approx(wanted, abs=1e-12)


def test_the_answer_is_in_whole_mount_shifts():
    new, old = shipped("club-piste", 295, shift=2.03), old_holes(shipped("club-piste", 305))
    found = check_mount(new, old, LIMITS)
    assert found.conflicts == conflicts(new, old, LIMITS)
    tip, tail = found.to_tip, found.to_tail
    assert (tip.exact, *tip.room) == pytest.approx((5.0, 5.0, 5.3), abs=1e-8)
    assert (tail.exact, *tail.room) == pytest.approx((-5.0, -5.0, -5.3), abs=1e-8)
    assert (tip.set_to, tail.set_to) == (5.0, -5.0)
    assert found.best.mount_shift == pytest.approx(5.0)  # 2.97 is nearer than 7.03
    assert not conflicts(found.best, old, LIMITS)
    assert np.allclose(found.best.positions, shipped("club-piste", 295, shift=5.0).positions)


def test_the_answer_of_a_clear_mount_has_no_best():
    new = shipped("club-piste", 305)
    found = check_mount(new, old_holes(new), LIMITS)
    assert (found.conflicts, found.best) == ((), None)
    assert len(found.reused) == 9
    assert found.as_dict()["is_clear"] is True
    assert check_mount(new, [], LIMITS).best is None


def test_the_answer_where_no_mount_is_clear():
    old = [OldHole(str(x), float(x), 0.0) for x in range(-90, 91, 5)]
    found = check_mount(holes((0, 0)), old, LIMITS)
    assert found.to_tip is found.to_tail is found.best is None
    data = found.as_dict()
    assert (data["is_clear"], data["to_tip"], data["clear"]) == (False, None, [])
    assert "towards the tip" in data["to_tip_why"]


# -- clear shifts, against brute force ---------------------------------------------------------


class Case(NamedTuple):
    new: Layout
    old: list[OldHole]
    limits: RemountLimits
    span: tuple[float, float]


KINDS = list(product((None, 3.6, 4.1, 5.0), (False, True)))
LIMIT_SETS = list(starmap(RemountLimits, product((10.0, 0.0, 3.3), (6.0, 0.0), (0.3, 0.0, 1.9))))
SPANS = [
    (-60.0, 60.0),
    (-7.5, 12.0),
    (0.0, 33.3),
    (-60.0, 60.0),
    (0.0, 0.0),
    (-20.0, 0.0),
    (-60.0, 60.0),
]


def decoded(code: bytes) -> Case:
    """A case in tenths of a mm, so that ties are common.

    One draw of bytes instead of one for each number, and of several cases at once: what takes
    time is Hypothesis, not the check.
    """
    words = iter(np.frombuffer(code, dtype="<u2").tolist())

    def pick(choices):
        return choices[next(words) % len(choices)]

    def place() -> tuple[float, float]:
        return round(next(words) % 401 / 10 - 20, 1), round(next(words) % 161 / 10 - 8, 1)

    drill, limits, span = pick((3.6, 4.1)), pick(LIMIT_SETS), pick(SPANS)
    new = holes(*(place() for _ in range(pick((1, 2, 3, 4)))), diameter=drill)
    old = [OldHole("old", *place(), *pick(KINDS)) for _ in range(pick(range(6)))]
    return Case(new, old, limits, span)


TIES = st.binary(min_size=56, max_size=56).map(decoded)
PLACES = st.tuples(st.floats(-20, 20), st.floats(-8, 8))
ANYWHERE = st.builds(
    lambda new, old, limits: Case(
        holes(*new), [OldHole("old", *at, *kind) for at, kind in old], limits, SPANS[0]
    ),
    st.lists(PLACES, min_size=1, max_size=4),
    st.lists(st.tuples(PLACES, st.sampled_from(KINDS)), max_size=5),
    st.sampled_from(LIMIT_SETS),
)
SLACK = 2e-9  # mm: twice the rounding that conflicts() allows


def lack(case: Case, shifts: np.ndarray) -> np.ndarray:
    """How much the worst pair of holes lacks at each of the `shifts`, in mm; clear at 0 or less.

    Brute force: the distance of every pair at every shift, and nothing cleverer.
    """
    worst = np.full(len(shifts), -math.inf)
    for x, y in case.new.positions.tolist():
        for old in case.old:
            distance = np.sqrt((x + shifts - old.x) ** 2 + (y - old.y) ** 2)
            lacking = (case.limits.plugged if old.plugged else case.limits.open) - distance
            if old.diameter is not None and old.diameter <= case.new.diameters[0]:
                lacking = np.minimum(lacking, distance - case.limits.reuse)
            worst = np.maximum(worst, lacking)
    return worst


def within(shifts: np.ndarray, clear: tuple[tuple[float, float], ...]) -> np.ndarray:
    inside = np.zeros(len(shifts), dtype=bool)
    for start, stop in clear:
        inside |= (start <= shifts) & (shifts <= stop)
    return inside


def at_a_limit(case: Case, shift: float) -> bool:
    """Whether a pair lies exactly at its limit, or at the edge of reuse."""
    gaps = [
        abs(math.hypot(x + shift - old.x, y - old.y) - limit)
        for x, y in case.new.positions
        for old in case.old
        for limit in (case.limits.plugged if old.plugged else case.limits.open, case.limits.reuse)
    ]
    return min(gaps, default=math.inf) < 1e-8


@settings(max_examples=920, deadline=None, derandomize=True, database=None)
@given(st.tuples(*[TIES] * 5))
def test_clear_shifts_are_those_of_brute_force(cases: tuple[Case, ...]):  # 4,600 of them
    for case in cases:
        check_clear(case)


@settings(max_examples=400, deadline=None, derandomize=True, database=None)
@given(ANYWHERE)
def test_clear_shifts_are_those_of_brute_force_anywhere(case: Case):
    check_clear(case)


def check_clear(case: Case) -> None:
    """On a grid, at every interval's ends, just inside and just outside of them."""
    clear = clear_shifts(*case)
    low, high = case.span
    ends = np.array(clear).reshape(-1)
    assert (np.diff(ends) >= 0).all()
    assert ((low <= ends) & (ends <= high)).all()
    grid = np.linspace(low, high, 241)
    shifts = np.concatenate([grid, ends, ends - 1e-6, ends + 1e-6])
    shifts = shifts[(low <= shifts) & (shifts <= high)]
    lacking, inside = lack(case, shifts), within(shifts, clear)
    assert (lacking[inside] <= SLACK).all()
    assert (lacking[~inside] > 0).all()
    at_ends = np.isin(shifts, ends[(low < ends) & (ends < high)])
    assert (np.abs(lacking[at_ends]) < 1e-8).all()  # exactly at a limit, or at reuse's edge

    nearest = nearest_clear(*case)
    for shift, way in ((nearest.to_tip, shifts >= 0), (nearest.to_tail, shifts <= 0)):
        before = way if shift is None else way & (np.abs(shifts) < abs(shift))
        assert (lacking[before] > 0).all()
        assert shift is None or not conflicts(moved(case.new, shift), case.old, case.limits)


@settings(max_examples=300, deadline=None, derandomize=True, database=None)
@given(TIES)
def test_a_mount_is_clear_when_and_only_when_it_has_no_conflict(case: Case):
    found = {(c.new, c.distance) for c in conflicts(*case[:3])}
    assert bool(found) is not bool(nearest_clear(*case).to_tip == 0.0)
    everyone = {c.new for c in conflicts(*case[:3])} | {r.new for r in reused(*case[:3])}
    assert everyone <= set(case.new.ids)


# -- old holes of a known pattern --------------------------------------------------------------


def test_old_holes_of_a_layout_keep_place_and_diameter():
    known = shipped("club-piste", 305, shift=3.0)
    old = old_holes(known, plugged=True)
    assert [hole.id for hole in old][:2] == ["old-toe-1", "old-toe-2"]
    assert [(hole.x, hole.y) for hole in old] == [tuple(p) for p in known.positions.tolist()]
    assert {hole.diameter for hole in old} == {3.6}
    assert all(hole.plugged for hole in old)
    assert not any(hole.plugged for hole in old_holes(known))


def test_moving_a_layout_moves_its_holes_and_its_mount():
    start = shipped("club-piste", 305, shift=3.0)
    shifted = moved(start, 4.5)
    assert np.allclose(shifted.positions, shipped("club-piste", 305, shift=7.5).positions)
    assert shifted.mount_shift == 7.5
    assert not shifted.positions.flags.writeable
    assert start.mount_shift == 3.0


# -- old holes from files ----------------------------------------------------------------------


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def faults(path: Path) -> list[tuple[str, str, str]]:
    """Code, place and key of every finding."""
    with pytest.raises(InputError) as caught:
        read_old_holes(path)
    assert all(f.where.startswith(str(path)) for f in caught.value.findings)
    return [
        (f.code.removeprefix("remount."), f.where.removeprefix(str(path)), f.key)
        for f in caught.value.findings
    ]


GOOD = (
    OldHole("old-1", 152.4, 17.3, 4.1, False),
    OldHole("old-2", 152.4, -17.3, None, True),
    OldHole("old-3", -101.6, 0.0, 3.6, False),
)


def test_toml(tmp_path):
    text = """format = 1
    note = "measured by hand"
    hole = [
      { at = [152.4, 17.3], diameter = 4.1 },
      { at = [152.4, -17.3], plugged = true },
      { at = [-101.6, 0], diameter = 3.6, plugged = false },
    ]"""
    assert read_old_holes(written(tmp_path, "old.toml", text)) == GOOD


def test_toml_in_inches(tmp_path):
    text = 'format = 1\nunits = "in"\n[[hole]]\nat = [6.0, -0.5]\ndiameter = 0.16\n'
    [hole] = read_old_holes(written(tmp_path, "old.toml", text))
    assert (hole.x, hole.y, hole.diameter) == (152.4, -12.7, 4.064)


@pytest.mark.parametrize(
    "text",
    [
        "x,y,diameter,plugged\n152.4,17.3,4.1,no\n152.4,-17.3,,yes\n-101.6,0,3.6,\n",
        "\ufeffx;y;diameter;plugged\r\n152,4;17,3;4,1;0\r\n152,4;-17,3;;1\r\n-101,6;0;3,6\r\n",
        "Y\tX\tPlugged\tDiameter\n17.3\t6in\tfalse\t4.1mm\n-17.3\t152.4\tX\n0\t-101.6\t\t3.6\n",
        '# measured by hand\nx (in), y (mm), plugged, diameter\n\n6,17.3,,4.1\n"6",-17.3,true\n'
        "-4, 0, open, 3.6\n",
    ],
    ids=["plain", "spreadsheet", "tabs", "units"],
)
def test_csv(tmp_path, text):
    assert read_old_holes(written(tmp_path, "old.csv", text)) == GOOD


def test_every_fault_of_a_toml_file_at_once(tmp_path):
    text = """format = 1
units = "mn"
[[hole]]
at = [152.4, 17.3]
diamter = 4.1
[[hole]]
at = [152.4, 17.3]
diameter = 41
[[hole]]
at = [700, 1]
plugged = "yes"
[[hole]]
at = [nan, 90]
[[hole]]
"""
    assert faults(written(tmp_path, "old.toml", text)) == [
        ("value", ":2:1", "units"),
        ("unknown-key", ":5:1", "hole[1].diamter"),
        ("diameter", ":8:1", "hole[2].diameter"),
        ("length", ":10:7", "hole[3].at"),
        ("type", ":11:1", "hole[3].plugged"),
        ("not-finite", ":13:7", "hole[4].at"),
        ("length", ":13:12", "hole[4].at"),
        ("missing-key", ":14:1", "hole[5].at"),
    ]
    twice = text.partition("diameter = 41")[0].replace("mn", "mm").replace("diamter", "diameter")
    assert faults(written(tmp_path, "old.toml", twice)) == [("same-hole", ":6:1", "hole[2]")]


def test_every_fault_of_a_csv_file_at_once(tmp_path):
    text = """x,y,diameter,plugged
152.4,17.3,4.1,no
# a comment
bad,17.3,0.5,maybe
152,4,17,3,4.1
700,2
,99
152.4,17.3
"""
    assert faults(written(tmp_path, "old.csv", text)) == [
        ("value", ":4", "x"),
        ("diameter", ":4", "diameter"),
        ("value", ":4", "plugged"),
        ("cells", ":5", ""),
        ("length", ":6", "x"),
        ("missing-key", ":7", "x"),
        ("length", ":7", "y"),
    ]
    twice = "x,y\n152.4,17.3\n# a comment\n152.4,17.3\n"
    assert faults(written(tmp_path, "old.csv", twice)) == [("same-hole", ":4", "")]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("10,20\n30,40\n", {"unknown-column", "missing-column"}),
        ("x,z\n1,2\n", {"unknown-column", "missing-column"}),
        ("x,y,x\n1,2,3\n", {"same-column"}),
        ("x,y\n", {"no-hole"}),
        ("", {"no-hole"}),
    ],
)
def test_a_csv_file_without_names_or_holes(tmp_path, text, wanted):
    assert {code for code, _, _ in faults(written(tmp_path, "old.csv", text))} == wanted


def test_files_that_cannot_be_read(tmp_path):
    assert faults(tmp_path / "none.toml") == [("missing", "", "")]
    assert faults(tmp_path) == [("folder", "", "")]
    assert faults(tmp_path / "a\0b.csv") == [("unreadable", "", "")]
    broken = written(tmp_path, "broken.toml", "format = 1\nhole = [,\n")
    assert faults(broken) == [("syntax", ":2:9", "")]
    odd = tmp_path / "odd.csv"
    odd.write_bytes(b"x,y\n1,2\n\x81,3\n")  # no character of Windows-1252 either
    assert faults(odd) == [("not-utf8", ":3:1", "")]
    odd.write_bytes(b"#" * 1_000_001)
    assert faults(odd) == [("too-big", "", "")]
    many = "x,y\n" + "".join(f"{n}.5,1\n" for n in range(201))
    assert faults(written(tmp_path, "many.csv", many))[0][0] == "too-many-holes"


def test_a_format_of_another_day_is_refused(tmp_path):
    text = "format = 2\n[[hole]]\nat = [1, 2]\n"
    assert faults(written(tmp_path, "old.toml", text)) == [("value", ":1:1", "format")]


def test_the_answer_moves_with_the_mount():
    new, old = shipped("club-piste", 295), old_holes(shipped("club-piste", 305))
    there = nearest_clear(moved(new, 2.0), old, LIMITS)
    assert there.to_tip == pytest.approx(3.0, abs=1e-8)
    assert there.to_tail == pytest.approx(-7.0, abs=1e-8)


def test_moving_everything_leaves_the_clear_shifts():
    new, old = shipped("club-piste", 295), old_holes(shipped("skew-plate", 305))
    there = [replace(hole, x=hole.x + 12.5) for hole in old]
    found = clear_shifts(moved(new, 12.5), there, LIMITS)
    assert np.allclose(found, clear_shifts(new, old, LIMITS), rtol=0, atol=1e-9)
