"""Folders as a build leaves them, without their parts: what a shelf looks at, verified or not."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from killing import small_record
from sheet_samples import shipped

from jiggen.files import JOB_FILE, MANIFEST, PATTERN_FILE
from jiggen.marks import jig_mark
from jiggen.pattern import find_pattern

BED = {"x": 220.0, "y": 220.0, "z": 250.0}
BOUGHT = {"bed": BED, "bush": "none", "caliper": 150.0}


@cache
def _jig_text(stem: str, boot: float) -> str:
    return json.dumps(shipped(stem, boot))


def _data(kind: str, stem: str, boot: float) -> dict[str, Any]:
    if kind == "jig":
        found: dict[str, Any] = json.loads(_jig_text(stem, boot))
        return found
    data = small_record(kind).values()
    if kind == "gauge":
        fits = {"bush_fit": [0.1], "slide": [0.2]}
        return data | {"inputs": BOUGHT, "span": [150.0, 20.0], "fits": fits}
    mount = {"pattern": "Arvenal", "boot": boot, "shift": 0.0, "core": "plain", "side": "left"}
    plate = {"bed": BED, "hole_fit": 0.1, "thickness": 3.0, "clearance": 0.1, "printer": None}
    return data | {"inputs": mount | {"pair": "same"} | plate}


def put_folder(
    folder: Path, copy: int = 1, *, kind: str = "jig", stem: str = "club-piste", boot: float = 305.0
) -> str:
    """Write a built folder; its jig mark."""
    folder.mkdir(parents=True)
    texts = {JOB_FILE: f'job = 1\nkind = "{kind}"\nboots = [{boot}, {boot}]\ncopy = {copy}\n'}
    if kind != "gauge":
        texts[PATTERN_FILE] = find_pattern(stem).read_text(encoding="utf-8")
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    mark = jig_mark(texts)
    data = _data(kind, stem, boot) | {"jig_mark": mark}
    (folder / MANIFEST).write_text(json.dumps(data), encoding="utf-8")
    return mark
