"""How the halves of a jig for many boots are set, and the verified error of each boot length."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from jiggen.record import JigRecord
from jiggen.record.results import Verification
from jiggen.report.page.markup import bullets, classed, section, table

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


def setting(record: JigRecord) -> list[ET.Element]:
    """How to set the halves, and a row for each boot length; nothing of a jig without ladders."""
    if not record.ladders:
        return []
    halves = [(ladder.half, record.first_holes[ladder.part]) for ladder in record.ladders]
    off = _deviations(record.verification)
    heads = [
        "boot",
        *(f"{half} half: line" for half, _ in halves),
        *(f"mark to {first}" for _, first in halves),
        "verification: farthest hole off",
    ]
    rows = (
        (
            f"{one.boot:g}",
            *(str(reading) for reading in one.readings.values()),
            *(f"{abs(x):.2f}" for x in one.first_holes.values()),
            off.get(one.boot, "–"),
        )
        for one in record.boot_settings
    )
    note = "mm. + and − count lines on from the number, + towards longer boots."
    words = tuple(range(1, 1 + len(halves)))
    return [
        section(
            "Set each half by the boot",
            bullets(HOW),
            table(heads, rows, words=words, stacked=True),
            classed("p", "note", note),
        )
    ]


def _deviations(verification: Verification | None) -> dict[float, str]:
    """By boot, the farthest verified error of a hole with the lines on the mark, mm."""
    found: dict[float, float] = {}
    for line in verification.ladders if verification else ():
        if line.deviation is not None:
            found[line.boot] = max(found.get(line.boot, 0.0), line.deviation)
    return {boot: f"{off:.3f}" for boot, off in found.items()}
