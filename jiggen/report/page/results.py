"""The parts of the page that tell results: depth stops, halves, printing and accuracy."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from xml.etree import ElementTree as ET

from jiggen.errors import Finding
from jiggen.outcome import Verification
from jiggen.record import Drilling, JigRecord
from jiggen.record.results import Accuracy, BudgetSummary, Plastic
from jiggen.report.page.markup import bullets, classed, node, section, table
from jiggen.report.page.sections import alarm
from jiggen.report.summary import (
    MOUNT_SHIFT,
    WRONG_LINE,
    half_instructions,
    mass_note,
    mass_rows,
)

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
            classed("div", "verdict caution", node("strong", "Warnings before drilling"), lines)
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
    words = tuple(range(1, 1 + len(halves)))
    return [
        section(
            "Set each half by the boot",
            bullets([*half_instructions(record), MOUNT_SHIFT, WRONG_LINE]),
            table(heads, rows, words=words, stacked=True),
            classed("p", "note", "mm."),
        )
    ]


def _deviations(verification: Verification | None) -> dict[float, str]:
    """By boot, the farthest verified error of a hole with the lines on the mark, mm."""
    found: dict[float, float] = {}
    for line in verification.ladders if verification else ():
        if line.deviation is not None:
            found[line.boot] = max(found.get(line.boot, 0.0), line.deviation)
    return {boot: f"{off:.3f}" for boot, off in found.items()}


HEADS = ("part", "pieces", "volume", "solid", "as advised", "print it")


def printing(plastic: Plastic) -> ET.Element:
    """How the parts are printed, what they weigh, and advice."""
    rows = [[cell.replace(" ", "\u00a0") for cell in row] for row in mass_rows(plastic)]
    return section(
        f"Printing in {plastic.name}",
        table(HEADS, rows, words=(5,)),
        classed("p", "note", mass_note(plastic)),
        bullets(plastic.advice),
    )


JIG, SHEET = "this jig", "paper sheet, by hand"


def accuracy(expected: Accuracy) -> ET.Element:
    """How true the jig is expected to drill, in few words."""
    jig, sheet = expected.jig, expected.sheet
    lead = (
        f"Expect 95 of 100 holes within {jig.largest_95:.2f} mm of their place at the worst "
        f"hole; marked out by hand from a paper sheet, {sheet.largest_95:.2f} mm."
    )
    rows = [*_holes(jig, sheet), *_spacings(jig, sheet)]
    note = (
        "mm, 95 of 100 within. Computed from the parts' play and the usual errors of print and "
        "hand; not measured on a drilled ski."
    )
    return section(
        "Accuracy",
        node("p", lead),
        _bars({JIG: jig.largest_95, SHEET: sheet.largest_95}),
        table(("hole", JIG, SHEET, "most of it, with the jig"), rows, words=(3,)),
        classed("p", "note", note),
        bullets(_mechanism(expected)),
        _sources(jig, sheet),
    )


def _bars(sizes: Mapping[str, float]) -> ET.Element:
    longest = max(sizes.values()) or 1.0
    rows = []
    for number, (name, size) in enumerate(sizes.items()):
        width = f"{100 * size / longest:.2f}"
        bar = node("rect", at={"width": width, "height": "10", "rx": "1"})
        view = {"viewBox": "0 0 100 10", "preserveAspectRatio": "none", "aria-hidden": "true"}
        kind = "bar jig" if number == 0 else "bar"
        rows += [
            node("dt", name),
            node("dd", node("svg", bar, at={**view, "class": kind}), f"{size:.2f} mm"),
        ]
    return classed("dl", "bars", *rows)


def _holes(jig: BudgetSummary, sheet: BudgetSummary) -> Iterator[tuple[str, ...]]:
    for name, hole in jig.holes.items():
        other = sheet.holes[name].radial.expected_95
        yield name, f"{hole.radial.expected_95:.2f}", f"{other:.2f}", hole.most


def _spacings(jig: BudgetSummary, sheet: BudgetSummary) -> Iterator[tuple[str, ...]]:
    for group, spacing in jig.spacing_95.items():
        other = sheet.spacing_95.get(group)
        shown = "–" if other is None else f"{other:.2f}"
        yield f"{group}: hole to hole", f"{spacing:.2f}", shown, ""


def _mechanism(expected: Accuracy) -> Iterator[str]:
    centring, moving = expected.centring, expected.moving
    narrow, wide = moving.widths[:2]
    gap = moving.least_gap
    yield f"Centring: within {centring.loaded:.2f} mm at the worst hole, rails pressed on."
    yield (
        f"Parts run free from {narrow:g} to {wide:g} mm skis, at least {moving.teeth:.1f} teeth "
        f"in mesh."
    )
    yield f"Least gap: {gap.gap:.2f} mm between {' and '.join(gap.parts)}."


def _sources(*budgets: BudgetSummary) -> ET.Element:
    heads = ("error", "size", "spread", "source")
    tables = []
    for budget, title in zip(budgets, (JIG, SHEET), strict=True):
        rows = ((t.name, t.size, t.distribution, t.source) for t in budget.terms)
        tables += [
            node("h3", title.capitalize()),
            table(heads, rows, words=(1, 2, 3), stacked=True),
        ]
    return node("details", node("summary", "Inputs and sources"), *tables)
