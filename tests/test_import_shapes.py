"""What a person draws a plate with: round outlines of any kind, points, pieces, upright sheets."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import ezdxf
import pytest
from ezdxf import units as dxf_units

from jiggen.cli import main
from jiggen.errors import InputError
from jiggen.importing import Choices
from jiggen.importing.job import import_pattern
from jiggen.layout import lay_out
from jiggen.pattern import read_pattern

MICROMETRE = 1e-3


def drawing(tmp_path: Path, draw, units: int = dxf_units.MM) -> Path:
    document = ezdxf.new("R2010", units=units)
    draw(document.modelspace())
    path = tmp_path / "plate.dxf"
    document.saveas(path)
    return path


def svg(tmp_path: Path, body: str) -> Path:
    path = tmp_path / "plate.svg"
    head = 'xmlns="http://www.w3.org/2000/svg" width="400mm" viewBox="0 0 400 200"'
    path.write_text(f"<svg {head}>{body}</svg>")
    return path


def places(path: Path, **how) -> set[tuple[float, float]]:
    """Every hole's place to the micrometre, both sides written out."""
    made = import_pattern(path, Choices(**how)).pattern
    found = lay_out(made, 305.0).positions
    return {(round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in found.tolist()}


def imported(capsys, path: Path, *words: str) -> tuple[int, str, str]:
    out = path.with_name("pattern.toml")
    code = main(["import", str(path), "-o", str(out), "--force", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def comments(tmp_path: Path) -> str:
    """The pattern file's words, its lines joined."""
    return (tmp_path / "pattern.toml").read_text().replace("\n# ", " ")


RADIUS = 2.75


def corners(count: int, x: float, y: float, size: float = RADIUS) -> list[tuple[float, float]]:
    turns = (2 * math.pi * n / count for n in range(count))
    return [(x + size * math.cos(turn), y + size * math.sin(turn)) for turn in turns]


def every_kind(space) -> None:
    """Nine holes of 5.5 mm, each drawn in another way, a hexagon, a slot and half a circle."""
    space.add_circle((0, 20), RADIUS)
    space.add_arc((20, 20), RADIUS, 30, 200)
    space.add_arc((20, 20), RADIUS, 200, 30)
    space.add_line((20 + RADIUS * math.cos(math.pi / 6), 20 + RADIUS / 2), (90, 60))
    space.add_lwpolyline([(40 - RADIUS, 20, 1), (40 + RADIUS, 20, 1)], format="xyb", close=True)
    space.add_lwpolyline([(60, 20 - RADIUS, -1), (60, 20 + RADIUS, -1), (60, 20 - RADIUS, 0)],
                         format="xyb")  # fmt: skip
    space.add_ellipse((80, 20), (RADIUS, 0), 1.0, 0.5, 0.5 + math.pi)
    space.add_ellipse((80, 20), (RADIUS, 0), 1.0, 0.5 + math.pi, 0.5 + 2 * math.pi)
    space.add_spline(dxfattribs={"flags": 11}).apply_construction_tool(
        ezdxf.math.rational_bspline_from_arc((100, 20), RADIUS, 0, 360)
    )
    space.add_polyline2d(corners(32, 120, 20), close=True)
    for a, b in pairwise([*corners(24, 0, -20), corners(24, 0, -20)[0]]):
        space.add_line(a, b)
    hatch = space.add_hatch()
    hatch.paths.add_edge_path().add_arc((20, -20), RADIUS, 0, 360)
    space.add_lwpolyline(corners(6, 40, -20), close=True)
    slot = [(60, -22, 0), (66, -22, 1), (66, -18, 0), (60, -18, 1)]
    space.add_lwpolyline(slot, format="xyb", close=True)
    space.add_arc((80, -20), RADIUS, 0, 180)
    space.add_lwpolyline([(-30, -40), (150, -40), (150, 40), (-30, 40)], close=True)


def test_a_hole_drawn_in_any_way_is_a_hole(tmp_path: Path, capsys):
    path = drawing(tmp_path, every_kind)
    found = places(path)
    assert found == {(x, 20.0) for x in range(0, 140, 20)} | {(0.0, -20.0), (20.0, -20.0)}
    code, out, err = imported(capsys, path)
    assert code == 0
    assert "9 circles; its unit: mm" in out
    assert "round within 0.5% of their diameter" in out
    assert "2 x LWPOLYLINE" in out
    assert "1 x SPLINE" in out
    assert "2 small closed shapes not round" in err
    assert "LWPOLYLINE at (40, -20), 5.5 by 4.76 mm" in err
    assert "LWPOLYLINE at (63, -20), 10 by 4 mm" in err
    assert "small open curves: 1 x ARC" in err
    assert "LWPOLYLINE at (40, -20)" in comments(tmp_path)


def test_a_circle_that_is_filled_or_drawn_over_is_one_hole(tmp_path: Path, capsys):
    def draw(space) -> None:
        clearance(space)
        space.add_hatch().paths.add_edge_path().add_arc((40, 15), RADIUS, 0, 360)
        space.add_lwpolyline([(-RADIUS, 15, 1), (RADIUS, 15, 1)], format="xyb", close=True)

    path = drawing(tmp_path, draw)
    assert places(path) == {(0.0, 15.0), (40.0, 15.0), (0.0, -15.0), (40.0, -15.0)}
    code, out, err = imported(capsys, path, "--as-drawn", "--unusual")
    assert (code, err) == (0, "")
    assert "4 circles; its" in out
    assert "4 holes, 2 pairs" in out


def test_the_diameter_of_an_outline_is_its_own(tmp_path: Path):
    made = import_pattern(drawing(tmp_path, every_kind), Choices(as_drawn=True, unusual=True))
    assert {hole.drill.plain for group in made.pattern.groups for hole in group.holes} == {5.5}


@pytest.mark.parametrize(("corner_count", "round_enough"), [(16, True), (12, False)])
def test_a_polygon_is_round_from_sixteen_corners_on(tmp_path: Path, corner_count, round_enough):
    def draw(space) -> None:
        space.add_circle((0, 20), RADIUS)
        space.add_lwpolyline(corners(corner_count, 30, 20), close=True)

    assert ((30.0, 20.0) in places(drawing(tmp_path, draw))) is round_enough


PATHS = """
  <g id="layer1" xmlns:i="urn:i" i:label="Holes">
    <circle cx="20" cy="50" r="2.75"/>
    <path d="M 37.25,50 a 2.75,2.75 0 1 0 5.5,0 a 2.75,2.75 0 1 0 -5.5,0 z"/>
    <path d="M 62.75,50 C 62.75,51.518783 61.518783,52.75 60,52.75 58.481217,52.75 57.25,51.518783
      57.25,50 57.25,48.481217 58.481217,47.25 60,47.25 61.518783,47.25 62.75,48.481217 62.75,50"/>
    <rect x="77.25" y="47.25" width="5.5" height="5.5" ry="2.75"/>
    <ellipse cx="50" cy="50" rx="1.375" ry="2.75" transform="translate(0 0) scale(2 1)"/>
    <path d="M117.25 50A2.75 2.75 0 0 1 122.75 50"/><path d="M122.75 50A2.75 2.75 0 0 1 117.25 50"/>
    <path d="M140 52.75A2.75 2.75 0 1 0 140 47.25A2.75 2.75 0 1 0 140 52.75M160 50h3v3h-3z"/>
    <rect x="180" y="48" width="4" height="4" rx="1"/>
  </g>
  <g id="layer2" xmlns:i="urn:i" i:label="Outline"><circle cx="200" cy="50" r="5"/></g>
"""


def test_an_svg_stores_circles_in_many_ways(tmp_path: Path, capsys):
    path = svg(tmp_path, PATHS)
    wanted = {(float(x), -50.0) for x in (20, 40, 60, 80, 100, 120, 140)}
    assert places(path, layers=("holes",)) == wanted
    code, out, err = imported(capsys, path, "--layer", "Holes")
    assert code == 0
    assert "7 circles, 1 passed over, of other layers" in out
    assert "2 small closed shapes not round" in err
    assert "path at (161.5, 51.5), 3 by 3 mm" in err


def test_each_layer_is_listed_once_by_the_name_a_person_gave_it(tmp_path: Path, capsys):
    code, _, err = imported(capsys, svg(tmp_path, PATHS), "--layer", "Nope")
    assert code == 2
    assert "Layers with circles on them: Holes (7), Outline (1) " in err


def pointed(space) -> None:
    for x, y in ((0, 15), (0, -15), (40, 0)):
        space.add_point((x, y))
    space.add_point((0, 0), {"layer": "Defpoints"})


def test_points_are_holes_where_the_drill_is_given(tmp_path: Path, capsys):
    path = drawing(tmp_path, pointed)
    code, _, err = imported(capsys, path)
    assert code == 2
    assert "there is no circle in it, but 3 points" in err
    assert "--drill" in err
    assert imported(capsys, path, "--drill", "3.6")[0] == 0
    pattern = read_pattern(tmp_path / "pattern.toml")
    assert {tuple(at) for at in lay_out(pattern, 305.0).positions.tolist()} == {
        (0.0, 15.0),
        (0.0, -15.0),
        (40.0, 0.0),
    }

    def both(space) -> None:
        pointed(space)
        space.add_circle((0, 15), RADIUS)
        space.add_circle((0, -15), RADIUS)

    code, _, err = imported(capsys, drawing(tmp_path, both))
    assert code == 0
    assert "1 point with no drill given" in err  # those in the middle of a circle are the circle's


def mount(space) -> None:
    """A toe piece about (100, 40) and a heel piece about (-200, 40), with a plate's holes."""
    for layer, x0 in (("Toe", 100), ("Heel", -200)):
        for x, y in ((10, 17), (10, -17), (-20, 0)):
            space.add_circle((x0 + x, 40 + y), RADIUS, {"layer": layer})
    space.add_circle((300, 40), RADIUS, {"layer": "Stray"})


@pytest.mark.parametrize("where", [("Toe", "Heel"), ("0:200", "-300:-100")])
def test_toe_and_heel_pieces_of_one_drawing(tmp_path: Path, capsys, where: tuple[str, str]):
    path = drawing(tmp_path, mount)
    toe, heel = where
    pieces = ["--piece", f"{toe}=boot-toe@100/40", "--piece", f"{heel}=boot-heel@-200/40"]
    code, out, err = imported(capsys, path, *pieces)
    assert code == 0
    assert "6 holes, 2 pairs of them on both sides" in out
    assert "1 circle in none of the pieces" in err
    pattern = read_pattern(tmp_path / "pattern.toml")
    assert [(group.name, group.datum) for group in pattern.groups] == [
        ("toe", "boot-toe"),
        ("heel", "boot-heel"),
    ]
    # by hand, half a boot of 300 mm in front of the mark and behind it
    assert lay_out(pattern, 300.0).positions.tolist() == [
        [160.0, 17.0],
        [160.0, -17.0],
        [130.0, 0.0],
        [-140.0, 17.0],
        [-140.0, -17.0],
        [-170.0, 0.0],
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("Toe", "is not a valid piece"),
        ("=boot-toe", "is not a valid piece"),
        ("Toe=boot-toe@12", "is not a list of 2 lengths"),
        ("200:0=boot-toe", "is not a valid piece"),
        ("Toe=boot-to", 'Did you mean "boot-toe"?'),
        ("Toes=boot-toe", 'Did you mean "Toe"?'),
        ("400:500=boot-toe", "no circle of those chosen lies in the piece"),
    ],
)
def test_a_piece_that_is_none(tmp_path: Path, capsys, words: str, said: str):
    code, _, err = imported(capsys, drawing(tmp_path, mount), "--piece", words)
    assert code == 2
    assert said in err
    assert "--piece" in err


def upright(space) -> None:
    """A plate with its tip above, at x = 100."""
    for x, y in ((80, 20), (120, 20), (85, 60), (115, 60)):
        space.add_circle((x, y), RADIUS)


def test_a_drawing_that_stands_upright_is_told_how_to_be_turned(tmp_path: Path, capsys):
    path = drawing(tmp_path, upright)
    code, _, err = imported(capsys, path)
    assert code == 2
    assert "the drawing seems to stand upright" in err
    assert "270" in err
    assert "--turn" in err
    assert not (tmp_path / "pattern.toml").exists()
    code, out, _ = imported(capsys, path, "--turn", "270", "--origin", "100/20")
    assert code == 0
    assert "4 holes, 2 pairs" in out
    assert places(path, turn=270, origin=(100.0, 20.0)) == {
        (0.0, 20.0),
        (0.0, -20.0),
        (40.0, 15.0),
        (40.0, -15.0),
    }
    code, out, _ = imported(capsys, path, "--turn", "0", "--origin", "100/20")
    assert code == 0  # a person who says so has it
    assert "0 pairs" in out


def test_a_centre_line_beside_the_drawings_own_is_found(tmp_path: Path, capsys):
    def draw(space) -> None:
        for x, y in ((20, 20), (20, 60), (80, 25), (80, 55), (110, 40)):
            space.add_circle((x, y), RADIUS)

    path = drawing(tmp_path, draw)
    code, _, err = imported(capsys, path)
    assert code == 2
    assert "the holes mirror one another about y = 40, not about y = 0" in err
    assert "--origin" in err
    assert imported(capsys, path, "--origin", "50/40")[0] == 0


@pytest.mark.parametrize("kind", ["dxf", "svg"])
def test_a_drawing_without_unit_and_circle_is_told_both_at_once(tmp_path: Path, kind: str, capsys):
    path = tmp_path / f"empty.{kind}"
    if kind == "dxf":
        ezdxf.new("R12", units=0).saveas(path)
    else:
        path.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    code, _, err = imported(capsys, path)
    assert code == 2
    assert "there is no circle in it" in err
    assert "which unit" not in err


def test_a_table_is_not_called_a_drawing(tmp_path: Path, capsys):
    path = tmp_path / "plate.csv"
    path.write_text("10,5,5.5\n10,-5,5.5\n")
    code, out, _ = imported(capsys, path)
    assert code == 0
    assert "a table's circles" in out
    assert "drawing" not in out + (tmp_path / "pattern.toml").read_text()


# -- drills that a binding's screws hold in ---------------------------------------------------


def clearance(space) -> None:
    for y in (15, -15):
        for x in (0, 40):
            space.add_circle((x, y), RADIUS)


def test_a_plates_holes_are_not_taken_for_the_skis_drill(tmp_path: Path, capsys):
    path = drawing(tmp_path, clearance)
    code, out, _ = imported(capsys, path)
    assert code == 0
    assert "The drill of 3.6 mm is a guess" in out
    assert "here 5.5 mm" in out
    drills = {hole.drill for group in read_pattern(tmp_path / "pattern.toml").groups
              for hole in group.holes}  # fmt: skip
    assert {(drill.plain, drill.metal, drill.depth) for drill in drills} == {(3.6, 4.1, 9.0)}
    assert "is a guess" in comments(tmp_path)


@pytest.mark.parametrize(
    ("words", "key"),
    [
        (["--drill", "5.5"], "--drill"),
        (["--metal", "4.6"], "--metal"),
        (["--depth", "4.9"], "--depth"),
        (["--as-drawn"], "--as-drawn"),
    ],
)
def test_import_refuses_what_no_binding_has(tmp_path: Path, capsys, words: list[str], key: str):
    path = drawing(tmp_path, clearance)
    code, _, err = imported(capsys, path, *words)
    assert code == 2
    assert "binding's screw" in err
    assert f"({key}, --unusual)" in err
    assert imported(capsys, path, *words, "--unusual")[0] == 0
    assert "unusual = true" in (tmp_path / "pattern.toml").read_text()


def test_thousands_of_circles_are_too_many_at_once(tmp_path: Path):
    path = tmp_path / "plate.csv"
    path.write_text("".join(f"{n / 10},{m / 10},4\n" for n in range(200) for m in range(100)))
    with pytest.raises(InputError) as caught:  # each beside each would be 200 million looks
        import_pattern(path, Choices())
    assert [finding.code for finding in caught.value.findings] == ["import.too-many"]


def test_a_spline_without_points_is_passed_over(tmp_path: Path):
    def draw(space) -> None:
        clearance(space)
        space.add_spline()

    assert len(places(drawing(tmp_path, draw))) == 4
