"""How the parts are to be printed in the plastic asked for, what they weigh, and what to know."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from jiggen.record.results import Plastic
from jiggen.report.page.markup import bullets, classed, node, section, table

HEADS = ("part", "pieces", "volume", "solid", "as advised", "print it")


def printing(plastic: Plastic) -> ET.Element:
    """How the parts are printed, what they weigh, and advice."""
    note = (
        f"Masses by {plastic.density:g} g/cm³. As advised: {shell(plastic)}, and the infill "
        "within, estimated from each part's surface; a slicer gives 4-8 % less."
    )
    return section(
        f"Printing in {plastic.name}",
        table(HEADS, _rows(plastic), words=(5,)),
        classed("p", "note", note),
        bullets(plastic.advice),
    )


def shell(plastic: Plastic) -> str:
    """What a part that is not solid is closed by, in words."""
    walls = plastic.walls * plastic.line
    return (
        f"{plastic.walls} walls ({walls:g} mm), {plastic.skin:g} mm of solid top and bottom layers"
    )


def _rows(plastic: Plastic) -> Iterator[tuple[str | ET.Element, ...]]:
    for part in plastic.parts:
        how = "solid: 100 %" if part.infill == 100 else f"{plastic.walls} walls, {part.infill} %"
        yield (
            part.name,
            str(part.count),
            f"{part.volume / 1000:.1f}\u00a0cm³",
            f"{part.solid:.0f}\u00a0g",
            f"{part.printed:.0f}\u00a0g",
            how,
        )
    pieces = sum(part.count for part in plastic.parts)
    volume = sum(part.count * part.volume for part in plastic.parts)
    yield (
        "all pieces",
        str(pieces),
        f"{volume / 1000:.1f}\u00a0cm³",
        f"{plastic.solid:.0f}\u00a0g",
        node("strong", f"{plastic.printed:.0f}\u00a0g"),
        "",
    )
