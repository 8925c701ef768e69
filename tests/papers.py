"""Folders with a manifest, drawings, sheet and page, and nothing else: no CAD kernel is needed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from record_samples import report_html, sheet_pdf
from sheet_samples import manifest_for

from jiggen.export.hole_plan import layout_dxf, layout_svg
from jiggen.files import MANIFEST, PAGE, PICTURE, PLAN_DXF, PLAN_SVG, SHEET, STEP_FILE, mark_of
from jiggen.layout import Layout
from jiggen.outcome import Fault
from jiggen.verify.drawn import judge_drawings
from jiggen.verify.evidence import Evidence
from jiggen.verify.papers import judge_papers
from jiggen.verify.reading.manifest import read_manifest
from jiggen.verify.results import Ledger

NOTHING = {"bytes": 0, "sha256": "0" * 64}


def drawn_folder(folder: Path, layout: Layout, ski=(84.0, 112.0)) -> dict[str, Any]:
    """The record of a jig for `layout`, written into `folder` with its drawings."""
    data = json.loads(json.dumps(manifest_for(layout)))
    data["files"] = dict.fromkeys((PLAN_SVG, PLAN_DXF), NOTHING)
    mark = mark_of(data)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / PLAN_SVG).write_text(layout_svg(layout, ski, mark), encoding="utf-8")
    (folder / PLAN_DXF).write_bytes(layout_dxf(layout, ski, mark))
    (folder / SHEET).write_bytes(sheet_pdf(data))
    (folder / PICTURE).write_bytes(b"a picture")
    data["files"] |= dict.fromkeys((PICTURE, SHEET, STEP_FILE), NOTHING)
    (folder / PAGE).write_text(report_html(folder, data), encoding="utf-8")
    data["files"][PAGE] = NOTHING
    (folder / MANIFEST).write_text(json.dumps(data), encoding="utf-8")
    return data


def faults_of(folder: Path, *names: str) -> list[Fault]:
    """What the checks of drawings and papers find, in the files of those `names` alone if any."""
    ledger = Ledger()
    found = read_manifest(folder)
    if names:
        found = found.model_copy(update={"files": {name: found.files[name] for name in names}})
    evidence = Evidence(folder, found, {}, {})
    judge_drawings(evidence, ledger)
    judge_papers(evidence, ledger)
    return ledger.faults
