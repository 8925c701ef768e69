"""Everything engraved is found in the written files and held to the job, and nothing else is."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from mutations_engraving import cut, rewritten
from shapely import affinity

import jiggen
from jiggen import wording
from jiggen.design import lettering
from jiggen.design.engraving import ARROW
from jiggen.verify import signs
from jiggen.verify.engraving import Item, _matched, _shift
from jiggen.verify.grooves import _judge, _Row
from jiggen.verify.reading.engraved import Sign
from jiggen.verify.results import Ledger
from jiggen.verify.words import judge_texts


def told(folder: Path, code: str) -> list[str]:
    return [str(fault) for fault in jiggen.verify(folder).faults if fault.code == code]


# -- outlines -------------------------------------------------------------------------------------


@pytest.mark.parametrize("turn", [0, 90, -90])
@pytest.mark.parametrize("text", ["BOOT 305", "DRILL 3.6 / 4.1 METAL", "Ä±…8é&Q"])
def test_letters_drawn_anew_are_those_that_the_design_draws(text, turn):
    drawn = lettering.write(text, 4.2).turned(turn).centred(31.0, -7.0)
    (sign,) = drawn.signs
    again = signs.shapes_of(Sign(**vars(sign)))
    whole = shapely.union_all([shape for _, shape in again])
    assert whole.symmetric_difference(drawn.shape).area < 1e-6
    assert signs.box_of(Sign(**vars(sign))) == pytest.approx(drawn.bounds)


def test_an_arrow_drawn_anew_points_to_the_tip():
    ((_, shape),) = signs.shapes_of(Sign(kind="arrow", x=8.0, y=4.0, size=16.0, turn=0))
    assert shape.symmetric_difference(ARROW).area < 1e-9
    ends = [y for x, y in shape.exterior.coords if x == 16.0]
    assert ends == [4.0]  # a point, not the shaft's end


def test_what_lies_elsewhere_is_told_by_how_much():
    letters = [shape for _, shape in signs.shapes_of(sign("DRILL 3.6"))]
    there = np.array([affinity.translate(shape, 0.3, -0.1) for shape in letters], dtype=object)
    assert _shift(letters, there) == pytest.approx((0.3, -0.1))
    assert _shift(letters, there[:-1]) is None


def test_a_letter_that_is_off_is_not_matched_and_all_others_are():
    item = Item("label", signs.shapes_of(sign("BOOT 305")), 0.07)
    floors = np.array([shape for _, shape in item.shapes], dtype=object)
    assert not _matched([item], floors).lost
    floors[2] = affinity.translate(floors[2], 0.08)
    match = _matched([item], floors)
    assert (len(match.lost), len(match.spare)) == (1, 1)


def sign(text: str) -> Sign:
    return Sign(kind="text", text=text, x=0.0, y=0.0, size=6.0, turn=0)


# -- grooves --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("groove", "code"),
    [
        ((-0.4, 0.4, 0.6), ""),
        ((-0.37, 0.43, 0.6), "verify.engraving-moved"),
        ((-0.4, 0.4, 0.4), "verify.engraving-deep"),
        ((-0.4, 0.4, 0.8), "verify.engraving-deep"),
        ((-0.4, 0.3, 0.6), "verify.engraving-moved"),
        (None, "verify.engraving-missing"),
    ],
)
def test_a_groove_is_where_it_must_be_and_as_deep(groove, code):
    # A wall at y = 10, plastic below it, the groove's floor at 9.4.
    wall, row = shapely.box(-20, 0, 20, 10), _Row("line", ((-0.4, 9.4, 0.4, 10.6),), 9.4, -1.0)
    if groove:
        start, stop, depth = groove
        wall = wall - shapely.box(start, 10 - depth, stop, 11)
    ring = np.array(wall.exterior.coords)
    ledger = Ledger()
    outline = np.stack([ring[:-1], ring[1:]], axis=1)
    _judge(ledger.about("STL", "body"), row, 0.6, 5.0, wall, outline, lowest=False)
    assert {fault.code for fault in ledger.faults} == ({code} if code else set())


def test_a_second_groove_is_told():
    wall = shapely.box(-20, 0, 20, 10) - shapely.box(-0.4, 9.4, 0.4, 11)
    wall -= shapely.box(2.0, 9.4, 2.8, 11)
    ring = np.array(wall.exterior.coords)
    row, ledger = _Row("boot-centre line", ((-0.4, 9.4, 0.4, 10.6),), 9.4, -1.0), Ledger()
    outline = np.stack([ring[:-1], ring[1:]], axis=1)
    _judge(ledger.about("STL", "body"), row, 0.6, 5.0, wall, outline, lowest=False)
    assert [fault.code for fault in ledger.faults] == 2 * ["verify.engraving-extra"]
    assert "x 2.00" in ledger.faults[0].message


# -- words ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "faults"),
    [
        (("BOOT 305", "DRILL 3.6 PLAIN"), 0),
        (("BOOT", "305", "D 3.6 PLAIN", "Arvenal…"), 0),
        (("BOOT 295", "DRILL 3.6 PLAIN"), 2),  # one is missing, the other not wanted
        (("DRILL 3.6 PLAIN",), 1),
        (("BOOT 305", "BOOT 305", "DRILL 3.6 PLAIN"), 1),
    ],
)
def test_every_line_must_be_there_in_one_of_its_forms_and_no_other(texts, faults):
    name, *lines = wording.body_lines("Arvenal Club Piste", (305.0,), 0.0, (3.6, 3.6), "plain")
    ledger = Ledger()
    judge_texts(lines, name, (), texts, ledger.about("record", "body"))
    assert [fault.code for fault in ledger.faults] == faults * ["verify.words"]


# -- a jig's files --------------------------------------------------------------------------------


@pytest.fixture
def copied(built: SimpleNamespace, tmp_path: Path) -> Path:
    import shutil

    return shutil.copytree(built.folder, tmp_path / "jig")


def test_the_record_says_what_is_engraved_where(built):
    data = json.loads((built.folder / "manifest.json").read_text())
    faces = {(face["part"], face["down"]): face for face in data["engraved"]}
    assert set(faces) == {
        ("body-toe", False),
        ("body-heel", False),
        ("rail", False),
        ("rail", True),
    }
    toe = faces["body-toe", False]
    assert {"BOOT 305", "DRILL 3.6 PLAIN"} <= {one["text"] for one in toe["signs"]}
    assert [ruled["name"] for ruled in toe["lines"]] == ["boot-centre line"]
    assert len(toe["grooves"][0]["boxes"]) == 2


def test_a_second_mark_line_is_named_with_its_place_and_depth(copied):
    cut(shapely.box(1.7, -20, 2.3, 20))(copied)
    (said,) = told(copied, "verify.engraving-extra")
    assert "0.6 × 40.0 mm about (2.0, 0.0)" in said
    assert "0.60 mm deep" in said


def test_an_exchanged_digit_is_named(copied):
    rewritten(copied, "BOOT 385")
    said = told(copied, "verify.engraving-wrong")
    assert any("‘BOOT 305’" in one and "‘0’" in one for one in said)
