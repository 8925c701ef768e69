"""How the halves of a jig for many boots are set, and the verified error of each boot length."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.etree import ElementTree as ET

from jiggen.report.page.markup import bullets, classed, section, table
from jiggen.report.setting import first_holes_of, read_ladders, settings_by_boot

HOW = (
    "The halves are used by themselves, one after the other. Lay the line of your boot length on "
    "the ski's mark, seen straight down at the tongue's edge: then the half sits right.",
    "Odd lengths are at the left edge, even ones at the right; from one line to the next it is "
    "2 mm of boot. Where the numbers name a band, its boots share one place of the holes.",
    "For a mount shift, lay the 0 in a half's slot on the mark, draw a new mark at the shift, on "
    "the TIP or the TAIL side, and tape over the old one: both halves are set on the new mark.",
    "Measure from the mark to the half's first hole before you drill: a wrong line puts every "
    "hole in the wrong place.",
)


def setting(manifest: Mapping[str, Any]) -> list[ET.Element]:
    """How to set the halves, and a row for each boot length; nothing of a jig without ladders."""
    ladders = read_ladders(manifest)
    if not ladders.ladders:
        return []
    part_of = {guide["id"]: guide["part"] for guide in manifest["guides"]}
    first = first_holes_of({hole["id"]: part_of[hole["id"]] for hole in manifest["holes"]})
    off = _deviations(manifest.get("verification"))
    heads = [
        "boot",
        *(f"{ladder.half} half: line" for ladder in ladders.ladders),
        *(f"mark to {first[ladder.part]}" for ladder in ladders.ladders),
        "verification: farthest hole off",
    ]
    rows = (
        (
            f"{one.boot:g}",
            *(str(reading) for reading in one.readings.values()),
            *(f"{abs(x):.2f}" for x in one.first_holes.values()),
            off.get(one.boot, "–"),
        )
        for one in settings_by_boot(ladders, first)
    )
    note = "mm. + and − count lines on from the number, + towards longer boots."
    words = tuple(range(1, 1 + len(ladders.ladders)))
    return [
        section(
            "Set each half by the boot",
            bullets(HOW),
            table(heads, rows, words=words, stacked=True),
            classed("p", "note", note),
        )
    ]


def _deviations(verification: Mapping[str, Any] | None) -> dict[float, str]:
    """By boot, the farthest verified error of a hole with the lines on the mark, mm."""
    found: dict[float, float] = {}
    for line in (verification or {}).get("ladders", ()):
        if line["deviation"] is not None:
            found[line["boot"]] = max(found.get(line["boot"], 0.0), line["deviation"])
    return {boot: f"{off:.3f}" for boot, off in found.items()}
