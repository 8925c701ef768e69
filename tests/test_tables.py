"""The standards tables against outside values."""

from __future__ import annotations

import ast
import csv
import importlib.util
import math
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import pytest

from jiggen import tables
from jiggen.errors import InputError

CSV_FILES = sorted(p.name for p in files("jiggen.tables").iterdir() if p.name.endswith(".csv"))


def data_of(table: str) -> list[dict[str, str]]:
    """The rows of one of bd-warehouse's tables, or a skipped test without it."""
    package = importlib.util.find_spec("bd_warehouse")
    if package is None or not package.submodule_search_locations:
        pytest.skip("bd-warehouse is not installed")
    path = Path(package.submodule_search_locations[0], "data", f"{table}.csv")
    with path.open(encoding="utf-8", newline="") as text:
        return [{k.strip(): v for k, v in row.items() if k} for row in csv.DictReader(text)]


def copied(table: str) -> dict[str, dict[str, str]]:
    """A table of bd-warehouse by size (M5-0.8 and M5 alike)."""
    rows = data_of(table)
    coarse = {"M3-0.5", "M4-0.7", "M5-0.8", "M6-1", "M8-1.25", "M3", "M4", "M5", "M6", "M8"}
    return {row["Size"].split("-")[0]: row for row in rows if row["Size"] in coarse}


def test_there_are_tables():
    assert len(CSV_FILES) == 11


@pytest.mark.parametrize("name", CSV_FILES)
def test_every_row_names_its_source(name: str):
    text = files("jiggen.tables").joinpath(name).read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert rows
    assert all(row["source"].strip() and None not in row for row in rows)


# -- drill bushes ------------------------------------------------------------------------------


# No open table of DIN 179 was found: its rows are marked as unverified, and no test here states
# that they are the standard's.  The same holds for DIN 338 (test_drilling.py) and ISO 54 above 3.
@pytest.mark.parametrize("row", tables.drill_bushes(), ids=lambda row: f"{row.outside:g}")
def test_bush_for_a_drill(row: tables.DrillBush):
    for drill in (row.over + 1e-9, (row.over + row.up_to) / 2, row.up_to):
        assert tables.bush_for(drill) == row


def test_what_has_no_second_source_is_marked_as_unverified():
    for name in CSV_FILES:
        text = files("jiggen.tables").joinpath(name).read_text(encoding="utf-8")
        for row in csv.DictReader(text.splitlines()):
            assert ("from memory" in row["source"]) == ("unverified" in row["source"]), row
    for row in (*tables.drill_bushes(), *tables.jobber_drills()):
        assert row.source.startswith("unverified")


def test_bushes_leave_no_gap_between_bores_and_keep_a_wall():
    rows = tables.drill_bushes()
    for thin, thick in pairwise(rows):
        assert thin.up_to == thick.over
        assert thin.outside < thick.outside
    assert all(row.outside - row.up_to >= 2 for row in rows)
    assert all(list(row.lengths) == sorted(row.lengths) for row in rows)


@pytest.mark.parametrize("drill", [0.0, -1.0, 12.01, math.inf, math.nan])
def test_no_bush_for_other_drills(drill: float):
    with pytest.raises(InputError, match="over 0 mm up to 12 mm"):
        tables.bush_for(drill)


# -- fasteners ---------------------------------------------------------------------------------

# ISO 4032 and ISO 273 as copied in the CSV tables of bd-warehouse 0.4.0 (PyPI); heads of ISO 4762
# (plain) as copied in iso4762def.csv of an open fasteners workbench.
FASTENERS = {
    # s, m, fine, medium, coarse, head diameter, k, key
    "M3": (5.5, 2.4, 3.2, 3.4, 3.6, 5.5, 3, 2.5),
    "M4": (7, 3.2, 4.3, 4.5, 4.8, 7, 4, 3),
    "M5": (8, 4.7, 5.3, 5.5, 5.8, 8.5, 5, 4),
    "M6": (10, 5.2, 6.4, 6.6, 7, 10, 6, 5),
    "M8": (13, 6.8, 8.4, 9, 10, 13, 8, 6),
}


@pytest.mark.parametrize("size", FASTENERS)
def test_fasteners(size: str):
    nut, screw, hole = tables.nut(size), tables.socket_screw(size), tables.clearance_hole(size)
    found = (
        nut.across_flats,
        nut.height,
        hole.fine,
        hole.medium,
        hole.coarse,
        screw.head_diameter,
        screw.head_height,
        screw.key,
    )
    assert found == FASTENERS[size]
    assert size == f"M{screw.diameter:g}"


def test_every_size_is_in_every_table():
    for rows in (tables.nuts(), tables.clearance_holes(), tables.socket_screws()):
        assert [row.size for row in rows] == list(FASTENERS)


def test_nuts_as_in_bd_warehouse():
    theirs = copied("hex_nut_parameters")
    for nut in tables.nuts():
        row = theirs[nut.size]
        assert nut.across_flats == float(row["iso4032:s"])
        assert nut.height == float(row["iso4032:m"])


def test_clearance_holes_as_in_bd_warehouse():
    theirs = copied("clearance_hole_sizes")
    for hole in tables.clearance_holes():
        row = theirs[hole.size]
        wanted = [float(row[series]) for series in ("Close", "Normal", "Loose")]
        assert [hole.fine, hole.medium, hole.coarse] == wanted


def test_socket_screws_as_in_bd_warehouse():
    theirs = copied("socket_head_cap_parameters")
    for screw in tables.socket_screws():
        row = theirs[screw.size]
        assert screw.head_height == float(row["iso4762:k"])
        assert screw.key == float(row["iso4762:s"])
        # It lists knurled heads, which are a little wider than plain ones.
        assert 0 < float(row["iso4762:dk"]) - screw.head_diameter <= 0.3
        assert float(row["iso4762:short"]) <= screw.lengths[0]
        assert screw.lengths[-1] <= float(row["iso4762:long"])


def test_screw_lengths_as_in_bd_warehouse():
    (theirs,) = (row for row in data_of("nominal_screw_lengths") if row["Screw_Type"] == "iso4762")
    lengths = [float(length) for length in theirs["Nominal_Sizes"].split(",")]
    for screw in tables.socket_screws():
        first, last = (lengths.index(end) for end in (screw.lengths[0], screw.lengths[-1]))
        assert list(screw.lengths) == lengths[first : last + 1]  # no length is left out


@pytest.mark.parametrize("look_up", [tables.nut, tables.clearance_hole, tables.socket_screw])
def test_unknown_size_lists_the_known(look_up):
    with pytest.raises(InputError, match=r"M7 is listed\n.*M3, M4, M5, M6, M8") as caught:
        look_up("M7")
    assert caught.value.exit_code == 2
    assert caught.value.findings[0].code == "tables.unlisted"


# -- limit deviations --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("symbol", "nominal", "upper", "lower"),
    [
        # ISO 286-2 as copied in isofits 1.0 (PyPI), data module.
        ("F7", 3.6, 0.022, 0.010),
        ("F7", 8, 0.028, 0.013),
        ("n6", 7, 0.019, 0.010),
        ("n6", 12, 0.023, 0.012),
        ("H7", 6, 0.012, 0.0),
        ("H7", 6.001, 0.015, 0.0),
        ("H11", 20, 0.130, 0.0),
        ("g6", 10, -0.005, -0.014),
        ("h6", 18, 0.0, -0.011),
        # Twist drills are h8 (DIN 1414).
        ("h8", 3.6, 0.0, -0.018),
        # ISO 6005:1991: the test hole is 4.1 mm, H12 (+0.12/0).
        ("H12", 4.1, 0.12, 0.0),
    ],
)
def test_deviation(symbol: str, nominal: float, upper: float, lower: float):
    assert tables.deviation(symbol, nominal) == pytest.approx((upper, lower), abs=1e-12)


# Standard tolerances and fundamental deviations of ISO 286-1 in µm, for sizes over 0, 3, 6, 10, 18
# up to 3, 6, 10, 18, 30 mm, as copied in pressfit 0.1.0 (PyPI); IT12 as in the table of
# engineersvault.blogspot.com/2007/02/index-of-iso-hole-and-shaft.html.
GRADES = {
    6: (6, 8, 9, 11, 13),
    7: (10, 12, 15, 18, 21),
    8: (14, 18, 22, 27, 33),
    11: (60, 75, 90, 110, 130),
    12: (100, 120, 150, 180, 210),
}
NEAREST_TO_NOMINAL = {
    "F": (6, 10, 13, 16, 20),
    "n": (4, 8, 10, 12, 15),
    "g": (-2, -4, -5, -6, -7),
    "h": (0, 0, 0, 0, 0),
    "H": (0, 0, 0, 0, 0),
}


@pytest.mark.parametrize("row", tables.limit_deviations(), ids=lambda r: f"{r.symbol}-{r.up_to:g}")
def test_deviations_by_grade_and_letter(row: tables.LimitDeviation):
    band = [3, 6, 10, 18, 30].index(int(row.up_to))
    assert row.over == [0, 3, 6, 10, 18][band]
    assert row.upper_um - row.lower_um == GRADES[int(row.symbol[1:])][band]
    nearest = min(row.upper_um, row.lower_um, key=abs)
    assert nearest == NEAREST_TO_NOMINAL[row.symbol[0]][band]


def test_deviations_as_in_isofits():
    package = importlib.util.find_spec("isofits")
    if package is None or not package.origin:
        pytest.skip("isofits is not installed")
    # It may not import, but the module of data beside it is plain literals.
    text = Path(package.origin).with_name("data.py").read_text(encoding="utf-8")
    holes, shafts = (
        ast.literal_eval(node.value)
        for node in ast.parse(text).body
        if isinstance(node, ast.Assign)
    )
    compared = 0
    for row in tables.limit_deviations():
        column = (holes if row.symbol[0].isupper() else shafts).get(row.symbol)
        if row.over < 3 or column is None:
            continue
        cell = column[holes["over"].index(f"{row.over:g}")]
        assert [row.upper_um, row.lower_um] == [float(value) for value in cell.split("\n")]
        compared += 1
    assert compared == 8 * 4  # eight classes, four bands; H12 and sizes up to 3 mm are not there


@pytest.mark.parametrize("nominal", [2.0, 3.0, 3.6, 6.0, 8.0, 10.0, 15.0, 30.0])
@pytest.mark.parametrize("hole", ["H7", "H8", "H11"])
@pytest.mark.parametrize("shaft", ["n6", "h6", "g6", "h8"])
def test_deviations_as_in_pressfit(hole: str, shaft: str, nominal: float):
    pressfit = pytest.importorskip("pressfit")
    fit = pressfit.fit(f"{hole}/{shaft}", nominal)
    microns = [1000 * d for symbol in (hole, shaft) for d in tables.deviation(symbol, nominal)]
    wanted = [fit.hole_es_um, fit.hole_ei_um, fit.shaft_es_um, fit.shaft_ei_um]
    assert microns == pytest.approx(wanted)


def test_drill_passes_its_bush():
    """Thickest drill (h8) in the tightest bush bore (F7): always some play, never much."""
    for drill in (2.0, 3.6, 4.1, 6.5, 9.5):
        bore, thick = tables.deviation("F7", drill), tables.deviation("h8", drill)
        assert 0 < bore[1] - thick[0] < bore[0] - thick[1] < 0.06


def test_unlisted_deviations():
    with pytest.raises(InputError, match=r"Q9 is not listed\n.*F7, n6"):
        tables.deviation("Q9", 5)
    with pytest.raises(InputError, match=r"H7 is not listed at 31 mm\n.*up to 30 mm"):
        tables.deviation("H7", 31)


# -- gears -------------------------------------------------------------------------------------


def test_modules_and_basic_rack():
    # ISO 54 series 1, and ISO 53 profile A, as given in open copies.
    assert [float(row["module"]) for row in tables.cells_of("modules")][:6] == [
        1,
        1.25,
        1.5,
        2,
        2.5,
        3,
    ]
    rack = tables.basic_rack()
    assert (rack.pressure_angle, rack.addendum, rack.dedendum, rack.fillet) == (20, 1, 1.25, 0.38)
    # The fillet must end where the flank in use begins: at the bottom clearance of the rack.
    clearance = rack.fillet * (1 - math.sin(math.radians(rack.pressure_angle)))
    assert clearance == pytest.approx(rack.dedendum - rack.addendum, abs=1e-3)
