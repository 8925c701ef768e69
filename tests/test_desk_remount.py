"""The page of old holes: rows, the strip of clear shifts, the ways out, the kept table."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlencode

import pytest
from desk_client import OWN, part
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from jiggen.cli import main
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.remount.read import as_line, holes_csv, read_lines, read_old_holes
from jiggen.remount.shifts import OldHole, RemountLimits, check_mount, clear_mounts, moved

TABLE = Path(__file__).parent / "data" / "old-holes.csv"
MOUNT = {"pattern": "club-piste", "boot": "305"}


@pytest.fixture(scope="module")
def new() -> Layout:
    return lay_out(read_pattern(find_pattern("club-piste")), 305)


@pytest.fixture(scope="module")
def old() -> tuple[OldHole, ...]:
    return read_old_holes(TABLE)


def address(lines: str, **more: str) -> str:
    return f"/remount?{urlencode(MOUNT | {'hole': lines} | more)}"


def rows_of(page: str) -> list[str]:
    table = page[page.index('id="rows"') :]
    rows = re.findall(r"<tr>(.*?)</tr>", table[: table.index("</table>")], re.S)[1:]
    return [unescape(" ".join(re.sub(r"<[^>]+>", " ", row).split())) for row in rows]


def test_the_clear_ranges_of_the_strip_agree_with_check_mount(desk: TestClient, new, old):
    page = desk.get(address("\n".join(map(as_line, old)), shift="3")).text
    bars = [
        (float(x), float(w)) for x, w in re.findall(r'"clear" x="(.*?)" y="3" width="(.*?)"', page)
    ]
    ends = [(x, x + w) for x, w in bars]
    assert ends == [
        pytest.approx(one) for one in clear_mounts(new, old, RemountLimits(), (-40, 40))
    ]
    sides = 0
    for step in range(-400, 401):
        shift = step / 10 + 0.0371
        near = any(abs(shift - end) < 1e-6 for one in ends for end in one)
        clear = not check_mount(moved(new, shift), old, RemountLimits()).conflicts
        assert near or clear == any(low <= shift <= high for low, high in ends) or shift > 40, shift
        sides += clear
    assert 0 < sides < 800
    assert f"shift {ends[0][0]:.3f}".rstrip("0").rstrip(".") in part(page, "clear-shifts")


def test_the_page_says_what_the_command_says_and_leads_to_a_clear_mount(desk, old, capsys):
    old = (*old, OldHole("old-8", 103, 0, 4.1))
    lines = "\n".join(map(as_line, old))
    page = desk.get(address(lines)).text
    assert (
        desk.post(address(lines, list="Ski 7").replace("?", "/save?"), headers=OWN).status_code
        == 303
    )
    kept = Path("old-holes/ski-7.csv")
    assert read_old_holes(kept) == old
    page = desk.get(address(lines, list="Ski 7")).text
    assert f"Kept: {kept}" in page
    line = unescape(re.search(r'<pre id="command".*?>(.*?)</pre>', page, re.S)[1])
    assert line == f"jiggen remount club-piste --boot 305 --old-holes {kept}"
    assert main(line.split()[1:]) == 1
    out = capsys.readouterr().out
    answer = part(page, "answer")
    assert re.search(r"NOT CLEAR: .*", out)[0] in answer
    for one, other, distance, needed in re.findall(r"(?m)^(\S+) +(old-\d) +(\S+) +(\S+)$", out):
        assert f"{one} {other} {distance} {needed}" in answer
    ways = re.findall(r"(\S+ mm towards the (?:tip|tail)): --shift (\S+)", out)
    assert ways and "/jig?" not in page
    for words, shift in ways:
        assert f"{words}: shift {shift}" in answer
        there = desk.get(address(lines, shift=shift)).text
        assert "Every hole is clear at this mount." in there
        assert (
            f'href="/jig?pattern=club-piste&amp;boot=305&amp;shift={shift.replace("-", "-")}"'
            in there
        )


def test_every_fault_stands_beside_its_row(desk: TestClient):
    lines = ["100/5 4.1", "abc/3", "100", "90/-5 plugged left", "100 5", "1/2 3 4 5", "999999/0"]
    page = desk.get(address("\n".join(lines))).text
    rows = rows_of(page)
    assert len(rows) == len(lines)
    assert rows[0] == "old-1 100.0 5.0 4.1 open both" and rows[3].startswith("old-4-left 90.0 -5.0")
    for n, said in (
        (1, "x: "),
        (2, "y: "),
        (4, "The same hole as old-1"),
        (5, "Too much"),
        (6, "x: "),
    ):
        assert rows[n].startswith(f"line {n + 1} {lines[n]}") and said in rows[n], rows[n]
    assert page.count('class="old"') == 2 + 3  # and three samples
    assert "line could be read: line 2, line 3, line 5, line 6 and line 7" in part(page, "answer")
    assert "/jig?" not in desk.get(address("200/0\nabc/3")).text  # however clear the rest is
    assert "/jig?" in desk.get(address("200/0")).text
    answer = desk.post(address("\n".join(lines)).replace("?", "/save?"), headers=OWN)
    assert answer.status_code == 422 and not Path("old-holes").exists()


def test_a_dropped_table_fills_the_rows(desk: TestClient, old):
    send = {"file": ("ski.csv", TABLE.read_bytes())}
    answer = desk.post(address("1/2", shift="2").replace("?", "/file?"), headers=OWN, files=send)
    given = parse_qs(answer.headers["location"].partition("?")[2])
    assert given == {
        **{name: [one] for name, one in MOUNT.items()},
        "shift": ["2"],
        "hole": ["\n".join(map(as_line, old))],
    }
    answer = desk.post("/remount/file", headers=OWN, files={"file": ("ski.csv", b"x;y\nabc;2\n")})
    assert answer.status_code == 422 and "ski.csv:2" in answer.text
    Path("mine.csv").write_bytes(TABLE.read_bytes())
    answer = desk.get("/remount?pattern=club-piste&old-holes=mine.csv")
    assert answer.headers["location"].startswith("/remount?pattern=club-piste&hole=171.2")


def test_an_earlier_mount_will_do_and_what_it_lacks_is_said(desk: TestClient):
    empty = desk.get(f"/remount?{urlencode(MOUNT)}").text
    assert 'class="new"' in empty and "Type the old holes" in part(empty, "answer")
    assert '<div id="faults" data-part role="alert"></div>' in empty
    lacking = desk.get(f"/remount?{urlencode(MOUNT | {'old': 'club-alpine'})}").text
    assert "old-boot" in lacking.lower() and "needs" in part(lacking, "old-boot-faults")
    page = desk.get(f"/remount?{urlencode(MOUNT | {'old': 'club-piste', 'old-boot': '295'})}").text
    assert "NOT CLEAR" in part(page, "answer")
    filled = MOUNT | {"old": "club-piste", "old-boot": "295", "old-plugged": "on"}
    plugged = desk.get(f"/remount?{urlencode(filled)}").text
    assert "plugged (keep 6 mm)" in part(plugged, "answer")


def test_a_pattern_is_picked_by_its_picture_and_the_rows_stay(desk: TestClient, old):
    lines = "\n".join(map(as_line, old))
    page = desk.get(f"/remount?{urlencode({'pattern': 'none', 'boot': '305', 'hole': lines})}").text
    assert "No pattern" in part(page, "pattern-faults")
    pick = unescape(re.search(r'id="pick".*?href="(.*?)"', page, re.S)[1])
    picked = re.search(r'href="(/remount\?[^"]*pattern=club-piste[^"]*)"', desk.get(pick).text)
    there = desk.get(unescape(picked[1])).text
    assert 'class="new"' in there and len(rows_of(there)) == len(old)


def test_a_click_on_the_drawing_is_a_place_on_the_ski(desk: TestClient, new):
    """The root of the drawing has the mounting mark as its origin, as the script takes it."""
    page = desk.get(address("103/0 4.1")).text
    figure = page[page.index('data-pick="hole"') :]
    spots = re.findall(r'<circle class="new" cx="(.*?)" cy="(.*?)"', figure)[: len(new)]
    drawn = {(round(float(x), 3), round(-float(y), 3)) for x, y in spots}
    assert drawn == {(round(x, 3), round(y, 3)) for x, y in new.positions.tolist()}
    assert 'class="old" cx="103" cy="0"' in figure


HOLES = st.builds(
    OldHole,
    st.just(""),
    st.floats(-250, 250).map(lambda x: round(x, 9)),
    st.floats(-30, 30).map(lambda y: round(y, 9)),
    st.none() | st.floats(2, 10).map(lambda size: round(size, 9)),
    st.booleans(),
    st.sampled_from([None, "left", "right"]),
)


@given(st.lists(HOLES, min_size=1, max_size=4, unique_by=lambda hole: (round(hole.x), hole.ski)))
@settings(max_examples=60, deadline=None)
def test_lines_and_the_kept_table_are_the_same_holes(tmp_path_factory, holes: list[OldHole]):
    read, wrong = read_lines([as_line(hole) for hole in holes])
    if not wrong:
        kept = tmp_path_factory.getbasetemp() / "kept.csv"
        kept.write_text(holes_csv(read), encoding="utf-8")
        assert read_old_holes(kept) == read
        same = ("x", "y", "diameter", "plugged", "ski")
        assert [[getattr(one, name) for name in same] for one in read] == [
            [getattr(one, name) for name in same] for one in holes
        ]


@given(st.lists(st.text(max_size=20), max_size=4))
@settings(max_examples=100, deadline=None)
def test_whatever_is_typed_is_a_hole_or_a_fault(lines: list[str]):
    holes, wrong = read_lines(lines)
    assert len(holes) + len(wrong) == len(lines)
