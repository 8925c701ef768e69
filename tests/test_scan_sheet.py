"""A picture that another program made: the 1:1 page of a sheet, rendered by poppler, read back."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image
from record_samples import sheet_pdf
from sheet_samples import shipped

from jiggen.measure.scan.holes import FILLED, find_holes
from jiggen.measure.scan.matching import match
from jiggen.measure.scan.read import read_scan

PAGE = 6  # the second of the two at 1:1


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The second page at 1:1 as a picture, and the jig's record."""
    folder, record = tmp_path_factory.mktemp("sheet"), shipped("club-piste")
    (folder / "sheet.pdf").write_bytes(sheet_pdf(record))
    command = ["pdftoppm", "-f", str(PAGE), "-l", str(PAGE), "-r", "600", "-png", "-singlefile"]
    subprocess.run([*command, "sheet.pdf", "page"], cwd=folder, check=True)
    with Image.open(folder / "page.png") as picture:
        wide, high = picture.size
        middle = (wide // 4, high // 5, wide, 3 * high // 4)  # most words are beyond
        return picture.convert("L").crop(middle), record


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="poppler renders the page")
@pytest.mark.parametrize(("shrunk", "turned"), [(0.97, 7.3)])
def test_a_sheet_shrunk_and_turned_is_read_back(tmp_path, page, shrunk, turned):
    picture, record = page
    size = tuple(round(shrunk * side) for side in picture.size)
    smaller = picture.resize(size, Image.Resampling.LANCZOS)
    turn = smaller.rotate(turned, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    turn.save(tmp_path / "scan.png", dpi=(600, 600))
    found = find_holes(read_scan(tmp_path / "scan.png"))
    # the cross in a circle may be seen to stand in it, and the circle is found all the same
    circles = [hole for hole in found if hole.fault in ("", FILLED)]
    places = np.array([(hole.x, hole.y) for hole in circles]) / shrunk
    holes = [hole for hole in record["holes"] if hole["x"] > 0]
    true = np.array([(hole["x"], hole["y"]) for hole in holes])
    assert len(places) <= 6  # a round letter of the title may look like one more
    best = match(places, true, -turned)[0]
    assert len(best.pairs) == 5
    off = best.moved(places)[best.pairs[:, 0]] - true[best.pairs[:, 1]]
    assert np.hypot(*off.T).max() < 0.05
