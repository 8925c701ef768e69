"""A plate without a sheet: measured, tried on, then a jig made for it."""

from __future__ import annotations

import shutil
from pathlib import Path

SURVEY = Path(__file__).parents[1] / "data" / "survey.toml"


def test_a_plate_is_measured_tried_and_a_jig_is_made(walk):
    shutil.copy(SURVEY, "platte.toml")
    said = walk.type("survey platte.toml -o bench.toml --svg look.svg")
    assert "within" in said
    assert Path("look.svg").exists()
    walk.type("layout bench.toml --boot 305 --pdf tiles.pdf")
    said = walk.type("trial bench.toml --boot 305 --out out/trial")
    assert "To print" in said
    said = walk.type("build bench.toml --boot 305 --ski 84-100 --out out/bench")
    assert "Files verified" in said
    walk.type("check out/bench")
    sheet = walk.words("out/bench/sheet.pdf")
    assert "ISO 11088" in sheet


def test_a_drawing_is_read_instead(walk):
    Path("platte.csv").write_text('x,y,d\n"10,5",20,"4,1"\n-10.5,-20,4.1\n', encoding="cp1252")
    walk.type("import platte.csv --units mm --depth 9.5 -o platte.toml")
    said = walk.type("layout platte.toml --boot 305")
    assert "10.50" in said
