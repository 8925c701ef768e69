"""Sheets to judge: of the shipped patterns, and of cases that strain the room on a page."""

from __future__ import annotations

from functools import cache
from typing import Any

from record_samples import jig_data, sheet_pdf, verified

from jiggen.design import Settings, SkiRange, design_jig
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.find import shipped_patterns
from jiggen.pattern.model import Core, Side
from jiggen.verify.reading.pdf import Sheet, read_pages

STEMS = [path.stem for path in shipped_patterns()]
STRAINED = ("long", "far", "crowd")
UNITS = {"A4": "mm", "letter": "in"}  # with inches, words are wider: on the narrower page
TICKET = "Order 4711, the second pair of the club's racing team, " * 5
WIDE = SkiRange(84.0, 112.0)
NAME = "W" * 20 + " " + "M" * 19  # as long and as wide as a name may be
GROUP = "W" * 40


def manifest_for(holes: Layout, ski: SkiRange = WIDE) -> dict[str, Any]:
    """What `jiggen build` writes for `holes`, verified; no CAD kernel needed."""
    return verified(jig_data(design_jig(holes, Settings(ski=ski)), volume=1.0))


def shipped(
    stem: str, boot: float = 305.0, *, side: Side = "left", core: Core = "plain", shift=0.0
):
    found = read_pattern(find_pattern(stem))
    return manifest_for(lay_out(found, boot, side=side, core=core, mount_shift=shift))


def hole(name: str, group: str, x: float, y: float, drill=3.6, depth=9.2) -> dict[str, Any]:
    return {"id": name, "group": group, "x": x, "y": y, "diameter": drill, "depth": depth}


def long_names(base: dict[str, Any]) -> dict[str, Any]:
    """Names as long and as wide as a pattern's may be, numbers with all their decimals."""
    groups = ((GROUP, 140.0), ("M" * 40, -140.0))
    holes = [
        hole(f"{group}-{n}", group, x + 0.3456, y, 3.607, 9.144)
        for group, x in groups
        for n, y in enumerate((21.98765, -21.98765), start=1)
    ]
    inputs = base["inputs"] | {"pattern": NAME, "boot": 305.55, "shift": -12.345}
    return verified(base | {"inputs": inputs}, holes)


def far_apart(base: dict[str, Any]) -> dict[str, Any]:
    """Holes as far from the mark and the centre line as a pattern may have them."""
    ends = [
        hole(f"end-{n}", "end", x, y, 12.0, 30.0)
        for n, (x, y) in enumerate(
            ((600, 75), (600, -75), (-600, 75), (-600, -75), (3, 0), (210, 5)), start=1
        )
    ]
    return verified(base, ends)


def crowd(base: dict[str, Any]) -> dict[str, Any]:
    """Many holes, as near to one another, set in three ways."""
    return verified(
        base,
        [
            hole(
                f"group{n % 2}-{n}",
                f"group{n % 2}",
                5.1 * (n // 10),
                5.1 * (n % 10) - 23,
                3.6,
                7.0 + 0.5 * (n % 3),
            )
            for n in range(75)
        ],
    )


@cache
def manifest(name: str):
    base = shipped("club-piste") if name in STRAINED else None
    if name == "long":
        return long_names(base)
    if name == "far":
        return far_apart(base)
    if name == "crowd":
        return crowd(base)
    side = "right" if name == "skew-plate" else "left"
    return shipped(name, side=side, core="metal", shift=-7.5)


@cache
def pages(name: str, paper: str) -> list[Sheet]:
    ticket = TICKET if name == "long" else ""
    return read_pages(sheet_pdf(manifest(name), paper=paper, units=UNITS[paper], ticket=ticket))


def bench(name: str, paper="A4") -> str:
    """The words of the bench pages."""
    read = pages(name, paper)
    return " ".join(page.text for page in read if page.size[0] < page.size[1])


def tiles(name: str, paper: str) -> list[Sheet]:
    return [page for page in pages(name, paper) if page.size[0] > page.size[1]]
