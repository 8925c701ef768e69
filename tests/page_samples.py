"""A jig's folder to make a page of: a real manifest, blocks in place of the parts it names."""

from __future__ import annotations

from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from record_samples import jig_data, verification

from jiggen.design import Design, Settings, SkiRange, design_jig
from jiggen.export.folder import listing
from jiggen.export.hole_plan import layout_svg
from jiggen.export.meshes import PartMesh, stl_bytes
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.verify.reading.mesh import read_stl

DEPTH = 0.6  # mm: of an engraving, as the design has it
# Blocks about as large as the parts, mm.
SIZES = {
    "body-toe": (209.7, 68.0, 14.0),
    "body-heel": (181.5, 68.0, 14.0),
    "rail": (22.0, 83.0, 19.0),
    "pinion": (25.0, 25.0, 20.0),
    "knob": (31.0, 31.0, 12.0),
}
VOID = ("area", "br", "img", "input", "link", "meta")


@cache
def jig() -> Design:
    """A club piste jig."""
    holes = lay_out(read_pattern(find_pattern("club-piste")), 305.0)
    return design_jig(holes, Settings(ski=SkiRange(84.0, 112.0)))


@cache
def club() -> tuple[Any, Any, dict[str, Any]]:
    """Layout, ski widths and manifest of a club piste jig that was neither drawn nor verified."""
    chosen = jig()
    return chosen.layout, (84.0, 112.0), jig_data(chosen)


def make_folder(folder: Path) -> dict[str, Any]:
    """Write the folder's files but the page; its manifest, with a verification that passed."""
    holes, ski, manifest = club()
    (folder / "parts").mkdir(parents=True)
    for name, size in SIZES.items():
        block = engraved(size) if name.startswith("body") else corner_block(size)
        mesh = PartMesh(name, block.vertices, block.faces, count=1)
        (folder / "parts" / f"{name}.stl").write_bytes(stl_bytes(mesh))
    for bed in manifest["beds"]:
        (folder / bed["file"]).write_bytes(b"not opened by the page")
    (folder / "layout.svg").write_text(layout_svg(holes, ski), encoding="utf-8")
    files = {name: entry.model_dump() for name, entry in listing(folder).items()}
    return jig_data(jig(), lambda file: read_stl(folder / file)) | {
        "verification": verification(manifest).as_dict(),
        "files": files,
    }


def corner_block(size: tuple[float, float, float]) -> trimesh.Trimesh:
    """A block with a corner in the origin, as parts lie on the bed."""
    block = trimesh.creation.box(extents=size)
    block.apply_translation(np.array(size) / 2)
    return block


def engraved(size: tuple[float, float, float]) -> trimesh.Trimesh:
    """A block printed top down, with a 40 mm × 10 mm engraving in the face on the bed."""
    groove = trimesh.creation.box(extents=(40.0, 10.0, 2 * DEPTH))
    groove.apply_translation((size[0] / 2, size[1] / 2, 0.0))
    return trimesh.boolean.difference([corner_block(size), groove])


class Seen(HTMLParser):
    """A page as parsed: its texts and tags in order, tags with their attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self._texts: list[str] = []
        self._open: list[str] = []
        self._scripts: list[str] = []
        self.feed(page)
        self.close()
        assert self._open == [], "every element is closed"

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        kept = (
            self._scripts if self._open and self._open[-1] in ("script", "style") else self._texts
        )
        kept.append(data)

    @property
    def text(self) -> str:
        """What is read, runs of white space as one blank."""
        return " ".join(" ".join(self._texts).split())

    @property
    def own(self) -> list[str]:
        """Style, data and script, in that order."""
        return self._scripts

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.tags if name == tag]
