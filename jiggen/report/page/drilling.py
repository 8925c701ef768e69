"""How the drill is set, and what the drilling check has to say about the ski."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from jiggen.errors import Finding
from jiggen.record import Drilling
from jiggen.report.page.markup import bullets, classed, node, section, table
from jiggen.report.page.sections import alarm

NOTE = (
    "mm. The stop comes down on the top of the drill bush, or of the printed hole in a jig without "
    "bushes. Set it by A or by B: A reaches from the stop to the drill's cutting corners, B to its "
    "very tip. Drill a scrap board first and measure the depth."
)


def notices(drilling: Drilling) -> list[ET.Element]:
    """Errors and warnings of the drilling check, where there are any."""
    boxes = []
    if errors := drilling.errors:
        lines = bullets(map(_notice, errors))
        boxes.append(alarm("Do not drill", "The ski must not be drilled so.", lines))
    if warnings := drilling.warnings:
        lines = bullets(map(_notice, warnings))
        boxes.append(
            classed("div", "verdict mind", node("strong", "Warnings before drilling"), lines)
        )
    return boxes


def _notice(notice: Finding) -> str:
    about = f"{notice.key}: " if notice.key else ""
    return f"{about}{notice.message}. {notice.hint}".strip()


def stops(drilling: Drilling) -> ET.Element:
    """Where to set the drill's stop, one row for all holes that share it."""
    rows = (
        (
            _names(stop.holes),
            f"{stop.drill:g}",
            f"{stop.depth:g}",
            f"{stop.from_corners:.1f}",
            f"{stop.from_tip:.1f}",
        )
        for stop in drilling.stops
    )
    heads = ("holes", "drill ⌀", "depth", "stop A, to the corners", "stop B, to the tip")
    base = [hole.base_left for hole in drilling.holes if hole.base_left is not None]
    least = f" At least {min(base):.1f} mm of the ski are left under the drill." if base else ""
    return section("Drill and depth stop", table(heads, rows), classed("p", "note", NOTE + least))


def _names(holes: Sequence[str]) -> ET.Element:
    """Names in a row, none broken at its hyphen while there is room."""
    listed = [f"{name}," for name in holes[:-1]] + list(holes[-1:])
    parted = [piece for name in listed for piece in (classed("span", "name", name), " ")]
    return node("span", *parted)
