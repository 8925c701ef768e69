"""Round holes are found where a simulated scanner put them; what is no round hole is named."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageDraw
from scanner import Drilled, Lying, Plate, Scanner

from jiggen.measure.scan.holes import CROPPED, FILLED, OVAL, find_holes
from jiggen.measure.scan.read import Scan

HOLE = Drilled(1.0, -2.0, 5.5)
OUTLINE = ((-12.0, -10.0), (12.0, -10.0), (12.0, 10.0), (-12.0, 10.0))
SIZE = (30.0, 26.0)


def scanned(*holes, scanner=None, turn=0.0, dpi=600.0, seed=1, **plate) -> Scan:
    scanner = scanner or Scanner(dpi=dpi)
    laid = Lying(scanner, Plate(holes, OUTLINE, **plate), turn, size=SIZE, seed=seed)
    return Scan("scan", laid.picture(), (25.4 / scanner.dpi, 25.4 / scanner.dpi))


@pytest.mark.parametrize("dpi", [300.0, 600.0, 1200.0])
def test_a_hole_is_found_where_it_is(dpi):
    (hole,) = find_holes(scanned(HOLE, dpi=dpi))
    assert math.dist((hole.x, hole.y), (1.0, -2.0)) < 0.006
    assert hole.diameter == pytest.approx(5.5, abs=0.02)
    assert hole.out_of_round < 0.02
    assert hole.share > 0.95
    assert not hole.fault


@pytest.mark.parametrize(("lid", "grey"), [(0.05, 0.75), (0.95, 0.3)])
@pytest.mark.parametrize("rim", [0.0, 0.3, 1.5])
def test_on_bright_and_dark_with_chamfer_and_countersink(lid, grey, rim):
    scanner = Scanner(lid=lid, noise=0.02, dust=2, blur=1.6)
    holes = find_holes(scanned(replace(HOLE, rim=rim), scanner=scanner, grey=grey, shine=0.05))
    (hole,) = (hole for hole in holes if not hole.fault)
    assert math.dist((hole.x, hole.y), (1.0, -2.0)) < 0.02
    assert hole.diameter == pytest.approx(5.5, abs=0.1)


def test_a_scatter_of_edge_points_is_stated_truly():
    off = []
    for seed in range(7):
        (hole,) = find_holes(scanned(HOLE, scanner=Scanner(noise=0.06), seed=seed))
        off.append(np.array([hole.x - 1.0, hole.y + 2.0]) / hole.sigma)
    assert 0.3 < np.sqrt(np.mean(np.square(off))) < 2.0


def test_a_shadow_moves_the_centre_by_half_its_width():
    (hole,) = find_holes(scanned(HOLE, scanner=Scanner(shadow=0.2, lid=0.9)))
    assert abs(hole.x - 1.0) < 0.01
    assert abs(abs(hole.y + 2.0) - 0.1) < 0.03


def test_a_slot_a_screw_and_a_cropped_hole_are_named():
    faults = {
        OVAL: replace(HOLE, slot=1.5),
        FILLED: replace(HOLE, screw=True),
        CROPPED: replace(HOLE, x=SIZE[0] / 2 - 1.0),
    }
    for fault, hole in faults.items():
        outline = tuple((1.4 * x, y) for x, y in OUTLINE)
        laid = Lying(Scanner(), Plate((hole,), outline), size=SIZE)
        found = find_holes(Scan("scan", laid.picture(), (25.4 / 600, 25.4 / 600)))
        assert [one.fault for one in found] == [fault]


@pytest.mark.parametrize("share", [-0.4, 0.0, 0.4, 0.9])
def test_a_cropped_hole_is_named_however_much_is_left_and_with_dust_in_it(share):
    pixels = scanned(HOLE).pixels.copy()
    column, row = (
        round((side / 2 + at) * 600 / 25.4) for side, at in zip(SIZE, (1, 2), strict=True)
    )
    pixels[row - 8 : row + 8, column - 42 : column - 30] = pixels[0, 0]
    cut = pixels[:, : round(column + share * HOLE.diameter / 2 * 600 / 25.4)]
    for picture in (cut, cut[:, ::-1], cut.T, cut.T[::-1]):
        found = find_holes(Scan("scan", np.ascontiguousarray(picture), (25.4 / 600, 25.4 / 600)))
        assert [one.fault for one in found] == [CROPPED]


def test_a_corner_of_the_plate_at_the_edge_of_the_picture_is_no_hole():
    corner = ((-9.0, 0.0), (60.0, 0.0), (60.0, 60.0), (-9.0, 60.0))
    for turn in (20.0, 45.0, 70.0):
        laid = Lying(Scanner(), Plate((), corner), turn, (13.0, 2.0), size=(26.0, 26.0))
        assert find_holes(Scan("scan", laid.picture(), (25.4 / 600, 25.4 / 600))) == ()


def test_letters_and_specks_are_no_holes():
    picture = Image.new("L", (900, 500), 190)
    draw = ImageDraw.Draw(picture)
    draw.text((60, 60), "BENCH PLATE 40", fill=20, font_size=80)
    draw.ellipse((700, 300, 730, 330), fill=20)
    scan = Scan("scan", np.asarray(picture), (25.4 / 600, 25.4 / 600))
    assert [hole for hole in find_holes(scan) if not hole.fault] == []


def test_nothing_is_found_where_nothing_is():
    plain = np.full((400, 400), 120, dtype=np.uint8)
    assert find_holes(Scan("scan", plain, (0.0423, 0.0423))) == ()
