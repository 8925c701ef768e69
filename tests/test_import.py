from __future__ import annotations

from pathlib import Path
from typing import get_args

import ezdxf
import numpy as np
import pytest
from ezdxf import units as dxf_units
from hypothesis import given, settings
from hypothesis import strategies as st

import jiggen.cli.new as command
from jiggen.cli import main
from jiggen.errors import InputError
from jiggen.export.hole_plan import layout_dxf, layout_svg
from jiggen.importing import Choices, Turn, Unit
from jiggen.importing.job import import_pattern
from jiggen.layout import Layout, lay_out
from jiggen.pattern import read_pattern
from jiggen.pattern.find import shipped_patterns
from jiggen.pattern.model import Datum, Pattern

MICROMETRE = 1e-3
SHIPPED = [pytest.param(read_pattern(path), id=path.stem) for path in shipped_patterns()]


def chosen(**how) -> Choices:
    """Choices with the circles' own diameters as drills, whatever they are."""
    return Choices(**{"as_drawn": "drill" not in how, "unusual": True} | how)


def holes_of(pattern: Pattern) -> set[tuple[float, float, float]]:
    """x, y, plain drill of every hole from the group's origin, both sides written out."""
    (group,) = pattern.groups
    return {
        (hole.at[0], y, hole.drill.plain)
        for hole in group.holes
        for y in ((hole.at[1], -hole.at[1]) if hole.both_sides else (hole.at[1],))
    }


def codes(caught) -> list[str]:
    return [finding.code for finding in caught.value.findings]


# -- round trip ---------------------------------------------------------------------------------


def rows(found: Layout) -> np.ndarray:
    table = np.column_stack([found.positions, found.diameters])
    return table[np.lexsort(np.round(table.T, 6))]


@pytest.mark.parametrize("kind", [".dxf", ".svg"])
@pytest.mark.parametrize("pattern", SHIPPED)
def test_a_layout_drawn_and_imported_has_the_same_holes(pattern: Pattern, kind: str, tmp_path):
    drawn = lay_out(pattern, 305.0, mount_shift=-3.3, core="metal", side="right")
    path = tmp_path / f"plate{kind}"
    path.write_bytes(layout_dxf(drawn) if kind == ".dxf" else layout_svg(drawn).encode())
    made = import_pattern(path, chosen(layers=("holes",)))
    back = lay_out(made.pattern, 305.0)
    assert len(back) == len(drawn) == made.circles
    assert np.abs(rows(back) - rows(drawn)).max() < MICROMETRE


def test_what_is_imported_is_what_the_file_reads_as(tmp_path: Path):
    drawn = lay_out(read_pattern(shipped_patterns()[0]), 305.0)
    drawing, target = tmp_path / "plate.svg", tmp_path / "pattern.toml"
    drawing.write_text(layout_svg(drawn))
    made = import_pattern(drawing, chosen(), str(target))
    target.write_text(made.text)
    assert read_pattern(target) == made.pattern


# -- DXF ----------------------------------------------------------------------------------------


def dxf(tmp_path: Path, draw, units: int = dxf_units.MM, version: str = "R2010", **how) -> Path:
    document = ezdxf.new(version, units=units)
    draw(document)
    path = tmp_path / "plate.dxf"
    document.saveas(path, **how)
    return path


def two(document) -> None:
    space = document.modelspace()
    space.add_circle((1.0, 0.5), 0.07, {"layer": "drill"})
    space.add_circle((1.0, -0.5), 0.07, {"layer": "drill"})
    space.add_circle((1.0, 0.5), 0.15, {"layer": "heads"})
    space.add_line((0, 0), (1, 1))


def test_a_drawing_in_inches(tmp_path: Path):
    made = import_pattern(dxf(tmp_path, two, dxf_units.IN), chosen(layers=("drill",)))
    # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959. 0.14 in = 3.556 mm.
    assert holes_of(made.pattern) == {(25.4, 12.7, 3.556), (25.4, -12.7, 3.556)}
    assert made.pattern.units == "mm"
    assert (made.circles, made.passed_over, made.pairs) == (2, 1, 1)
    assert made.unit == "inches, as the drawing's header says"


# $INSUNITS as the DXF reference lists it: 1 inches, 2 feet, 4 millimetres, 5 centimetres,
# 6 metres, 9 mils, 13 microns, 14 decimetres.  1 ft = 304.8 mm (agreement of 1959).
@pytest.mark.parametrize(
    ("code", "mm"),
    [(1, 25.4), (2, 304.8), (4, 1), (5, 10), (6, 1e3), (9, 0.0254), (13, 1e-3), (14, 100)],
)
def test_the_units_of_a_header(tmp_path: Path, code: int, mm: float):
    def draw(document) -> None:
        document.modelspace().add_circle((30.0 / mm, 20.0 / mm), 2.0 / mm)

    (hole,) = holes_of(import_pattern(dxf(tmp_path, draw, code), chosen()).pattern)
    assert hole == pytest.approx((30.0, 20.0, 4.0), abs=1e-6)


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_a_drawing_without_units_asks_for_them(tmp_path: Path, version: str):
    path = dxf(tmp_path, two, units=0, version=version)
    with pytest.raises(InputError) as caught:
        import_pattern(path, chosen(layers=("drill",)))
    (finding,) = caught.value.findings
    assert (finding.code, finding.key) == ("import.units", "units")
    made = import_pattern(path, chosen(units="in", layers=("drill",)))
    assert (25.4, 12.7, 3.556) in holes_of(made.pattern)


def test_the_word_of_a_person_outranks_the_header(tmp_path: Path):
    def draw(document) -> None:
        document.modelspace().add_circle((20.0, 10.0), 2.0)

    path = dxf(tmp_path, draw, dxf_units.IN)
    made = import_pattern(path, chosen(units="mm"))
    assert holes_of(made.pattern) == {(20.0, 10.0, 4.0)}
    assert made.unit == "mm, as chosen"


def test_a_layer_that_is_not_there_names_those_that_are(tmp_path: Path):
    path = dxf(tmp_path, two, dxf_units.IN)
    with pytest.raises(InputError) as caught:
        import_pattern(path, chosen(layers=("dril", "HEADS", "0")))
    assert codes(caught) == ["import.layer", "import.layer"]
    first = caught.value.findings[0]
    assert first.key == "layer"
    assert 'Did you mean "drill"?' in first.hint
    assert "drill (2), heads (1)" in first.hint


@pytest.mark.parametrize("state", ["off", "freeze"])
def test_what_nobody_sees_is_passed_over(tmp_path: Path, state: str):
    def draw(document) -> None:
        getattr(document.layers.add("hidden"), state)()
        document.modelspace().add_circle((1, 2), 2, {"layer": "hidden"})
        document.modelspace().add_circle((30, 2), 2)

    made = import_pattern(dxf(tmp_path, draw), chosen())
    assert holes_of(made.pattern) == {(30.0, 2.0, 4.0)}


def blocks(document) -> None:
    hole = document.blocks.new("hole")
    hole.add_circle((0, 0), 1.0)  # layer 0: it takes the layer it is placed on
    pair = document.blocks.new("pair")
    pair.add_blockref("hole", (0, 10))
    pair.add_blockref("hole", (0, -10), {"xscale": -1.5, "yscale": 1.5, "zscale": 1.5})
    space = document.modelspace()
    space.add_blockref("pair", (40, 5), {"layer": "toe", "rotation": 90})
    row = {"layer": "heel", "row_count": 1, "column_count": 3, "column_spacing": 20}
    space.add_blockref("hole", (-80, 0), row | {"xscale": 2, "yscale": 2, "zscale": 2})


def test_circles_in_blocks_in_blocks(tmp_path: Path):
    path = dxf(tmp_path, blocks)
    # By hand: a quarter turn takes (0, 10) to (-10, 0), and (0, -10) to (10, 0), about (40, 5).
    toe = {(30.0, 5.0, 2.0), (50.0, 5.0, 3.0)}
    heel = {(-80.0, 0.0, 4.0), (-60.0, 0.0, 4.0), (-40.0, 0.0, 4.0)}
    assert holes_of(import_pattern(path, chosen()).pattern) == toe | heel
    assert holes_of(import_pattern(path, chosen(layers=("toe",))).pattern) == toe
    assert holes_of(import_pattern(path, chosen(layers=("heel",))).pattern) == heel


def test_a_block_that_squeezes_its_circles(tmp_path: Path):
    def draw(document) -> None:
        document.blocks.new("hole").add_circle((0, 0), 2.0)
        space = document.modelspace()
        space.add_blockref("hole", (10, 10), {"xscale": 1.2})
        space.add_circle((50, 10), 2)

    with pytest.raises(InputError, match="squeezed to an ellipse") as caught:
        import_pattern(dxf(tmp_path, draw), chosen())
    assert codes(caught) == ["import.circle"]
    assert "circle at (10, 10)" in caught.value.findings[0].key


def test_ellipses_circles_from_below_and_leaning_ones(tmp_path: Path):
    def draw(document) -> None:
        space = document.modelspace()
        space.add_ellipse((20, 5), (2, 0), 1.0)  # a circle by another name
        space.add_ellipse((90, 5), (9, 0), 0.5)  # an outline
        # seen from below: in the drawing x changes its sign (DXF reference, object coordinates)
        space.add_circle((40, 5), 2, {"extrusion": (0, 0, -1)})

    assert holes_of(import_pattern(dxf(tmp_path, draw), chosen()).pattern) == {
        (20.0, 5.0, 4.0),
        (-40.0, 5.0, 4.0),
    }

    def leaning(document) -> None:
        document.modelspace().add_circle((40, 5), 2, {"extrusion": (0, 0.1, 1)})

    with pytest.raises(InputError, match="does not lie flat"):
        import_pattern(dxf(tmp_path, leaning), chosen())


def test_a_binary_drawing(tmp_path: Path):
    path = dxf(tmp_path, two, dxf_units.IN, fmt="bin")
    assert len(holes_of(import_pattern(path, chosen(layers=("drill",))).pattern)) == 2


def test_blocks_without_end(tmp_path: Path):
    def draw(document) -> None:
        document.blocks.new("a").add_blockref("b", (0, 0))
        document.blocks.new("b").add_blockref("a", (1, 0))
        document.modelspace().add_blockref("a", (0, 0))

    with pytest.raises(InputError, match="without end"):
        import_pattern(dxf(tmp_path, draw), chosen())


def test_a_drawing_without_circles_says_what_is_there(tmp_path: Path):
    def draw(document) -> None:
        document.modelspace().add_lwpolyline([(0, 0, 1), (4, 0, 1)])

    with pytest.raises(InputError, match="What is there: 1 x LWPOLYLINE") as caught:
        import_pattern(dxf(tmp_path, draw), chosen())
    assert codes(caught) == ["import.no-circle"]


@pytest.mark.parametrize("data", [b"", b"nonsense", b"0\nSECTION\n2\nHEADER\n", b"\xff" * 99])
def test_a_file_that_is_no_dxf(tmp_path: Path, data: bytes, capfd):
    path = tmp_path / "plate.dxf"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        import_pattern(path, chosen(units="mm"))
    assert codes(caught)[0] in ("import.no-dxf", "import.no-circle")
    assert capfd.readouterr() == ("", "")  # the reader's own log stays silent


# -- SVG ----------------------------------------------------------------------------------------


def svg(
    tmp_path: Path, body: str, head: str = 'width="200mm" height="100mm" viewBox="0 0 200 100"'
):
    path = tmp_path / "plate.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{body}</svg>')
    return path


PLAIN = chosen()


def from_svg(tmp_path: Path, *drawn: str, choices: Choices = PLAIN) -> set:
    return holes_of(import_pattern(svg(tmp_path, *drawn), choices).pattern)


# CSS Values and Units 3, absolute lengths: 1in = 2.54cm = 96px = 72pt = 6pc, 1Q = 1/40cm.
@pytest.mark.parametrize(
    "width",
    ["25.4mm", "2.54cm", "1in", "96px", "96", "72pt", "6pc", "101.6Q", " 1.0e0IN "],
)
def test_an_inch_in_every_unit(tmp_path: Path, width: str):
    head = f'width="{width}" viewBox="0 0 10 10"'
    (hole,) = from_svg(tmp_path, '<circle cx="10" cy="-5" r=".8"/>', head)
    assert hole == pytest.approx((25.4, 12.7, 4.064), abs=1e-6)


def test_without_a_view_box_a_unit_is_a_pixel(tmp_path: Path):
    body = '<circle cx="96" cy="-48" r="7pt"/>'  # 7 pt = 7/72 in
    (hole,) = from_svg(tmp_path, body, 'width="400mm" height="99mm"')
    assert hole == pytest.approx((25.4, 12.7, 25.4 * 7 / 36), abs=1e-6)


@pytest.mark.parametrize("head", ["", 'viewBox="0 0 200 100"', 'width="100%" viewBox="0 0 9 9"'])
def test_a_drawing_without_a_size_asks_for_the_unit(tmp_path: Path, head: str):
    body = '<circle cx="20" cy="-5" r="2"/>'
    with pytest.raises(InputError) as caught:
        from_svg(tmp_path, body, head)
    assert codes(caught) == ["import.units"]
    assert from_svg(tmp_path, body, head, choices=chosen(units="mm")) == {(20.0, 5.0, 4.0)}


def test_y_grows_downwards_in_svg_and_the_view_box_moves_no_origin(tmp_path: Path):
    head = 'width="400mm" height="200mm" viewBox="-100 -50 200 100"'
    body = '<circle cx="-10" cy="-9" r="1"/><circle cx="-10" cy="12" r="1"/>'
    assert from_svg(tmp_path, body, head) == {(-20.0, 18.0, 4.0), (-20.0, -24.0, 4.0)}


@pytest.mark.parametrize(
    ("aspect", "mm"),
    # SVG 2, preserveAspectRatio: meet takes the smaller scale, slice the larger; meet if unsaid
    [("", 1.0), ("xMinYMax meet", 1.0), ("xMidYMid slice", 2.0)],
)
def test_a_size_of_other_proportions(tmp_path: Path, aspect: str, mm: float):
    head = f'width="400mm" height="100mm" viewBox="0 0 200 100" preserveAspectRatio="{aspect}"'
    assert from_svg(tmp_path, '<circle cx="10" cy="-5" r="1"/>', head) == {
        (10 * mm, 5 * mm, 2 * mm)
    }


def test_a_size_that_stretches_the_circles(tmp_path: Path):
    head = 'width="400mm" height="100mm" viewBox="0 0 200 100" preserveAspectRatio="none"'
    with pytest.raises(InputError, match="its circles are ellipses") as caught:
        from_svg(tmp_path, '<circle cx="10" cy="-5" r="1"/>', head)
    assert codes(caught) == ["import.view"]


def test_nested_transforms_as_in_the_standard(tmp_path: Path):
    # SVG 1.1, section 7.5, figure NestedTransforms: translate(50, 90), then rotate(-45), then
    # translate(130, 160) is the matrix [.707 -.707 .707 .707 255.03 111.21]; there .707 is cut
    # from 0.7071, so 130 + 160 times 0.0001 is to spare.
    body = (
        '<g transform="translate(50, 90)"><g transform="rotate(-45)">'
        '<g transform="translate(130 160)"><circle r="2"/></g></g></g>'
    )
    (hole,) = from_svg(tmp_path, body, choices=chosen(origin=(0.0, 90.0)))
    assert hole == pytest.approx((255.03, 90 - 111.21, 4.0), abs=0.04)
    matrix = '<g transform="matrix(.707 -.707 .707 .707 255.03 111.21)"><circle r="2"/></g>'
    (said,) = from_svg(tmp_path, matrix, choices=chosen(origin=(0.0, 90.0)))
    assert said == pytest.approx(hole, abs=0.04)


@pytest.mark.parametrize(
    ("transform", "wanted"),
    [
        ("", (10, -4, 4)),
        ("translate(5)", (15, -4, 4)),
        ("translate(5,7)", (15, -11, 4)),
        ("scale(2)", (20, -8, 8)),
        ("scale(-1 1)", (-10, -4, 4)),
        ("rotate(90)", (-4, -10, 4)),  # (10, 4) to (-4, 10), y downwards
        ("rotate(180 10 0)", (10, 4, 4)),
        ("matrix(0 1 1 0 0 0)", (4, -10, 4)),
        ("skewX(0)scale(3), translate(-10,-4)", (0, 0, 12)),
        ("translate(1,1) scale(.5)", (6, -3, 2)),
    ],
)
def test_each_transform_by_hand(tmp_path: Path, transform: str, wanted: tuple):
    body = f'<circle cx="10" cy="4" r="2" transform="{transform}"/>'
    (hole,) = from_svg(tmp_path, body)
    assert hole == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize(
    "transform", ["skewX(20)", "skewY(9)", "scale(1 2)", "matrix(1 0 1 1 0 0)"]
)
def test_a_transform_that_squeezes(tmp_path: Path, transform: str):
    with pytest.raises(InputError, match="squeezed to an ellipse") as caught:
        from_svg(tmp_path, f'\n<circle cx="10" cy="4" r="2" transform="{transform}"/>')
    assert caught.value.findings[0].where.endswith("plate.svg:2")


@pytest.mark.parametrize(
    "body",
    [
        '<circle cx="5" r="2" transform="turn(3)"/>',
        '<circle cx="5" r="2" transform="scale(1e999)"/>',
        '<circle cx="5" r="2" style="transform: rotate(3deg)"/>',
        '<style>circle { transform: scale(2) }</style><circle cx="5" r="2"/>',
        '<circle cx="5%" r="2"/>',
        '<circle cx="5" r="2em"/>',
        '<svg x="50%"><circle cx="5" r="2"/></svg>',
        '<svg x="9" y="-8" viewBox="0 0 10 10" width="20"><circle r="1"/></svg>',
        '<g id="a"><use href="#a"/><circle r="2"/></g>',
        '<symbol id="s" viewBox="0 0 9 9"><circle r="2"/></symbol><use href="#s"/>',
    ],
)
def test_what_is_not_understood_is_never_guessed(tmp_path: Path, body: str):
    with pytest.raises(InputError) as caught:
        from_svg(tmp_path, body + '<circle cx="70" r="2"/>')
    assert "import.shape" in codes(caught)


def test_what_is_drawn_and_what_is_not(tmp_path: Path):
    body = """
      <defs><circle id="d" cx="10" cy="0" r="2"/></defs>
      <symbol id="s"><circle cx="1" r="2"/></symbol>
      <clipPath id="c"><circle cx="20" r="2"/></clipPath>
      <g display="none"><circle cx="30" r="2"/></g>
      <g style="fill: red; display: none"><circle cx="35" r="2"/></g>
      <circle cx="40" r="2" visibility="hidden"/>
      <circle cx="45" r="0"/>
      <ellipse cx="50" rx="2" ry="2"/>
      <ellipse cx="60" rx="2" ry="3"/>
      <use href="#d" x="60" y="-5"/>
      <use href="#s" transform="translate(79 0)"/>
      <path d="M0,0 a2,2 0 1 0 4,0"/>
    """
    found = from_svg(tmp_path, body)
    assert found == {(50.0, 0.0, 4.0), (70.0, 5.0, 4.0), (80.0, 0.0, 4.0)}


def test_groups_are_layers(tmp_path: Path):
    body = """
      <g id="toe"><g xmlns:x="urn:x" x:label="Holes"><circle cx="10" r="2"/></g></g>
      <g id="toe2"><circle cx="20" r="2"/></g>
    """
    assert from_svg(tmp_path, body, choices=chosen(layers=("toe",))) == {(10.0, 0.0, 4.0)}
    assert from_svg(tmp_path, body, choices=chosen(layers=("holes",))) == {(10.0, 0.0, 4.0)}
    with pytest.raises(InputError, match="toe2 "):
        from_svg(tmp_path, body, choices=chosen(layers=("heel",)))


BILLION = """<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>
<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"><text>&b;</text></svg>"""
PUBLIC = """<?xml version="1.0"?>
<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">
<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"/>"""


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("text", [BILLION, PUBLIC])
def test_a_doctype_is_refused(tmp_path: Path, text: str, encoding: str):
    path = tmp_path / "plate.svg"
    path.write_bytes(text.encode(encoding))
    with pytest.raises(InputError) as caught:
        import_pattern(path, chosen())
    assert codes(caught) == ["import.doctype"]


@pytest.mark.parametrize(
    "text", ["", "<svg", "plain", "<html/>", "<a:svg/>", "<svg>" * 600, "<svg>&x;</svg>"]
)
def test_a_file_that_is_no_svg(tmp_path: Path, text: str):
    path = tmp_path / "plate.svg"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        import_pattern(path, chosen(units="mm"))
    assert codes(caught) == ["import.no-svg"]


# -- CSV ----------------------------------------------------------------------------------------


def table(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "plate.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    "text",
    [
        "40,12.5,3.6\n40,-12.5,3.6\n-20,0,4\n",
        "x,y,diameter\n40,12.5,3.6\n40,-12.5,3.6\n-20,0,4\n",
        "\ufeff# measured on the bench\n\nX (mm); Y (mm); Dia\n40;12,5;3,6\n40;-12,5;3,6\n-20;0;4",
        "d\tname\ty\tx\r\n3.6\ta\t12.5\t40\r\n3.6\tb\t-12.5\t40\r\n4\tc\t0\t-20\r\n",
        '"x","y","Ø"\n"40","12.5","3.6"\n"40","-12.5","3.6"\n"-20","0","4"\n',
    ],
)
def test_tables_of_every_kind(tmp_path: Path, text: str):
    made = import_pattern(table(tmp_path, text), chosen())
    assert holes_of(made.pattern) == {(40.0, 12.5, 3.6), (40.0, -12.5, 3.6), (-20.0, 0.0, 4.0)}


def test_a_table_in_inches(tmp_path: Path):
    made = import_pattern(table(tmp_path, "1,0.5,0.1\n"), chosen(units="in"))
    assert holes_of(made.pattern) == {(25.4, 12.7, 2.54)}


def test_a_unit_in_the_names_of_the_columns(tmp_path: Path):
    made = import_pattern(table(tmp_path, "x (in);y (in);d (in)\n1;0,5;0,1\n"), chosen())
    assert holes_of(made.pattern) == {(25.4, 12.7, 2.54)}
    assert made.unit == "in, as its columns say"
    with pytest.raises(InputError, match="different units") as caught:
        import_pattern(table(tmp_path, "x (in);y;d\n1;12.7;2.54\n"), chosen())
    assert codes(caught) == ["import.units"]


def test_every_faulty_row_is_named_with_its_line(tmp_path: Path):
    path = table(tmp_path, "x,y,d\n1,2,3\n40,wide,3\n# fine\n41,2\n42,nan,3\n99,2,40\n")
    with pytest.raises(InputError) as caught:
        import_pattern(path, chosen())
    found = caught.value.findings
    assert [finding.where for finding in found] == [f"{path}:{n}" for n in (3, 5, 6, 7)]
    assert codes(caught) == ["import.row"] * 3 + ["import.circle"]


@pytest.mark.parametrize("text", ["", "\n# nothing\n"])
def test_an_empty_table(tmp_path: Path, text: str):
    with pytest.raises(InputError) as caught:
        import_pattern(table(tmp_path, text), chosen())
    assert codes(caught) == ["import.empty"]


def test_a_table_that_is_not_utf8(tmp_path: Path):
    with pytest.raises(InputError, match="not UTF-8") as caught:
        import_pattern(table(tmp_path, b"1,2,3\n\x81,2,3\n"), chosen())
    assert caught.value.findings[0].where.endswith(":2:1")


# -- from circles to holes ----------------------------------------------------------------------


def made_of(tmp_path: Path, text: str, **how) -> Pattern:
    return import_pattern(table(tmp_path, text), chosen(**how)).pattern


def test_pairs_are_folded_and_all_else_is_left(tmp_path: Path):
    text = "10,5,4\n10,-5,4\n30,5,4\n30,-5,4.5\n50,0.0002,4\n70,-9,4\n90,5.0004,4\n90,-5,4\n"
    (group,) = made_of(tmp_path, text).groups
    assert [(hole.at, hole.both_sides, hole.drill.plain) for hole in group.holes] == [
        ((90.0, 5.0002), True, 4.0),  # 0.4 micrometres are drawing dust
        ((70.0, -9.0), False, 4.0),
        ((50.0, 0.0), False, 4.0),
        ((30.0, 5.0), False, 4.0),
        ((30.0, -5.0), False, 4.5),
        ((10.0, 5.0), True, 4.0),
    ]


def test_a_circle_drawn_twice_is_one_hole(tmp_path: Path):
    (group,) = made_of(tmp_path, "10,5,4\n10,5,4\n10.0005,5,4\n").groups
    assert len(group.holes) == 1


@pytest.mark.parametrize(
    ("turn", "wanted"), [(0, (30, 8)), (90, (-8, 30)), (180, (-30, -8)), (270, (8, -30))]
)
def test_origin_and_turn(tmp_path: Path, turn: Turn, wanted: tuple[float, float]):
    # the drawing's point (100, 50) becomes the origin, then all is turned anticlockwise about it
    (hole,) = holes_of(made_of(tmp_path, "130,58,4\n", origin=(100.0, 50.0), turn=turn))
    assert hole == (*wanted, 4.0)


def test_the_origin_of_an_svg_is_given_as_it_is_drawn(tmp_path: Path):
    body = '<circle cx="130" cy="58" r="2"/>'  # y downwards: 8 below the point is -8
    found = from_svg(tmp_path, body, choices=chosen(origin=(100.0, 50.0)))
    assert found == {(30.0, -8.0, 4.0)}


def test_the_middle_of_the_holes(tmp_path: Path):
    text = "100,50,4\n160,50,4\n100,90,4\n160,90,4\n"
    (group,) = made_of(tmp_path, text, origin="middle").groups
    assert [(hole.at, hole.both_sides) for hole in group.holes] == [
        ((30.0, 20.0), True),
        ((-30.0, 20.0), True),
    ]


@pytest.mark.parametrize(
    ("datum", "name"), [("boot-toe", "toe"), ("boot-heel", "heel"), ("boot-centre", "plate")]
)
def test_what_the_holes_move_with(tmp_path: Path, datum: Datum, name: str):
    found = made_of(tmp_path, "10,5,4\n", datum=datum)
    assert (found.groups[0].name, found.groups[0].datum) == (name, datum)
    # half a boot sole of 300 mm in front of the mark, behind it, or on it
    start = {"boot-toe": 150.0, "boot-heel": -150.0, "boot-centre": 0.0}[datum]
    assert lay_out(found, 300.0).positions.tolist() == [[start + 10.0, 5.0]]


def test_the_drill_is_the_circles_own_unless_said(tmp_path: Path):
    path = table(tmp_path, "10,5,5.5\n30,5,5.5\n50,5,6\n")
    made = import_pattern(path, chosen())
    drills = [hole.drill for hole in made.pattern.groups[0].holes]
    assert [(d.plain, d.metal, d.depth) for d in drills] == [
        (6, 6, 9),
        (5.5, 5.5, 9),
        (5.5, 5.5, 9),
    ]
    assert len(made.checks) == 4  # drill, metal, depth, and no hole on the other side
    made = import_pattern(path, chosen(drill=3.6, metal=4.1, depth=8.5))
    drills = [hole.drill for hole in made.pattern.groups[0].holes]
    assert {(d.plain, d.metal, d.depth) for d in drills} == {(3.6, 4.1, 8.5)}
    assert made.checks == (
        "No hole has a counterpart on the other side: is the table's y = 0 the centre line, and "
        "does its tip point to the right?",
    )


def test_only_circles_of_a_diameter(tmp_path: Path):
    text = "10,5,5.5\n10,5,9\n40,5,5.5\n40,5,9\n80,0,40\n"
    found = made_of(tmp_path, text, only=(5.0, 6.0))
    assert holes_of(found) == {(10.0, 5.0, 5.5), (40.0, 5.0, 5.5)}
    with pytest.raises(InputError, match=r"circles of 5\.5, 9, 40 mm") as caught:
        made_of(tmp_path, text, only=(3.0, 4.0))
    assert caught.value.findings[0].key == "only"


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("10,5,0.9\n", "circle", "0.9 mm wide"),
        ("10,5,12.1\n", "circle", "12.1 mm wide"),
        ("10,75.1,4\n", "circle", "y is 75.1 mm"),
        ("-600.1,5,4\n", "circle", "x is -600.1 mm"),
        ("10,5,4\n10,5,6\n", "spacing", "about the same centre as the hole at (10, 5), 4 mm wide"),
        ("10,5,4\n14.9,5,4\n", "spacing", "4.9 mm from the hole at (10, 5)"),
        ("".join(f"{5 * i},{5 * j},3\n" for i in range(21) for j in range(10)), "too-many", "210"),
    ],
)
def test_circles_that_are_no_holes(tmp_path: Path, text: str, code: str, said: str):
    with pytest.raises(InputError) as caught:
        made_of(tmp_path, text)
    assert codes(caught) == [f"import.{code}"]
    assert said in caught.value.findings[0].message


def test_drills_given_are_what_must_not_meet(tmp_path: Path):
    text = "10,5,4\n14.9,5,4\n"  # 3.6 and 1 mm of wall: 4.6 mm are enough
    assert len(holes_of(made_of(tmp_path, text, drill=3.6))) == 2
    with pytest.raises(InputError):
        made_of(tmp_path, text, drill=3.6, metal=4.1)


def test_a_name_of_the_file(tmp_path: Path):
    path = tmp_path / "hut_plate\u202e  front.csv"
    path.write_text("10,5,4\n")
    assert import_pattern(path, chosen()).pattern.name == "hut plate front"
    assert import_pattern(path, chosen(name="Hut")).pattern.name == "Hut"


# -- the command --------------------------------------------------------------------------------


def test_the_command_writes_a_pattern(tmp_path: Path, capsys):
    drawing, out = dxf(tmp_path, two, dxf_units.IN), tmp_path / "pattern.toml"
    words = ["import", str(drawing), "-o", str(out), "--layer", "drill", "--drill", "3.6mm"]
    more = [
        "--metal",
        "4.1",
        "--depth",
        "0.35in",
        "--name",
        "Hut",
        "--origin",
        "0,0",
        "--turn",
        "0",
    ]
    assert main([*words, *more]) == 0
    pattern = read_pattern(out)
    assert pattern.name == "Hut"
    assert pattern.groups[0].holes[0].drill.depth == pytest.approx(8.89)
    said = capsys.readouterr().out
    assert "2 circles, 1 passed over" in said
    assert "2 holes, 1 pair of them on both sides" in said
    assert "Check" not in said  # everything was said


def test_every_fault_at_once_and_nothing_written(tmp_path: Path, capsys):
    drawing, out = dxf(tmp_path, two, units=0), tmp_path / "pattern.txt"
    words = ["import", str(drawing), "-o", str(out), "--layer", "dril", "--depth", "deep"]
    odd = ["--drill", "40", "--origin", "here", "--only", "9-3", "--name", "x" * 41]
    assert main([*words, *odd]) == 2
    said = capsys.readouterr().err
    keys = ("--out", "--depth", "--only", "--origin", "--drill", "--name", "--layer", "--units")
    assert all(f"{key}: " in said or f"({key})" in said for key in keys)
    assert said.count("error: ") == len(keys)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plate.dxf"]


def test_a_file_that_is_there_is_only_replaced_by_force(tmp_path: Path, capsys):
    drawing, out = table(tmp_path, "10,5,4\n"), tmp_path / "pattern.toml"
    out.write_text("precious")
    assert main(["import", str(drawing), "-o", str(out)]) == 2
    assert out.read_text() == "precious"
    assert "--force" in capsys.readouterr().err
    assert main(["import", str(drawing), "-o", str(out), "--force"]) == 0
    assert read_pattern(out).groups[0].holes[0].at == (10.0, 5.0)


@pytest.mark.parametrize("name", ["plate.pdf", "plate", "missing.dxf", "folder.svg"])
def test_a_file_that_cannot_be_read(tmp_path: Path, name: str, capsys):
    (tmp_path / "folder.svg").mkdir()
    out = tmp_path / "pattern.toml"
    assert main(["import", str(tmp_path / name), "-o", str(out)]) == 2
    assert "error: " in capsys.readouterr().err
    assert not out.exists()


def test_the_command_knows_the_words_of_the_rooms():
    assert command.DRAWING_UNITS.choices == get_args(Unit)
    assert tuple(command.TURNS.values()) == get_args(Turn)
    assert list(command.TURNS) == [str(turn) for turn in get_args(Turn)]


# -- property -----------------------------------------------------------------------------------

# Places on a lattice wider than any drill here, moved by less than leaves them apart.
places = st.lists(
    st.tuples(st.integers(-20, 20), st.integers(-3, 3)), min_size=1, max_size=20, unique=True
)


@settings(deadline=None, max_examples=60)
@given(places, st.floats(-1, 1), st.floats(-1, 1), st.sampled_from(get_args(Turn)))
def test_no_hole_is_lost_moved_or_made(tmp_path_factory, at, dx: float, dy: float, turn: Turn):
    points = [(12.0 * i + dx, 12.0 * j + dy) for i, j in at]
    text = "".join(f"{x!r},{y!r},3.5\n" for x, y in points)
    path = table(tmp_path_factory.mktemp("any"), text)
    reach = max(abs(y) if turn in (0, 180) else abs(x) for x, y in points)
    if reach > 75.0:
        with pytest.raises(InputError, match="outside the range of real skis"):
            import_pattern(path, chosen(turn=turn, origin=(0.0, 0.0)))
        return
    pattern = import_pattern(path, chosen(turn=turn, origin=(0.0, 0.0))).pattern
    back = lay_out(pattern, 300.0).positions
    turned = np.array(points) @ np.linalg.matrix_power(np.array([[0, 1], [-1, 0]]), turn // 90)
    assert len(back) == len(points)
    distance = np.linalg.norm(back[:, None] - turned[None], axis=2)
    assert distance.min(axis=0).max() < MICROMETRE
    assert distance.min(axis=1).max() < MICROMETRE
