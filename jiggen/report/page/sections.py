"""The parts of the page: what may be done with the jig, its holes, its files."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from urllib.parse import quote
from xml.etree import ElementTree as ET

from jiggen.cautions import CAUTIONS
from jiggen.files import PLAN_SVG
from jiggen.outcome import Fault, Verification, WantedBore
from jiggen.record import Hole, JigRecord
from jiggen.record.entries import Compensated, FileEntry, JigInputs, PrintBed
from jiggen.report.page.markup import Content, bullets, classed, node, section, table
from jiggen.report.summary import LAY, compensated
from jiggen.verify.results import HEAD, NOTHING

CORES = {"plain": "plain", "metal": "metal sheet under the top"}
DRAWN = {"svg", "title", "g", "line", "circle", "polygon", "polyline", "path", "rect", "text"}
NAMESPACE = re.compile(r"^\{[^}]*\}")


def heading(inputs: JigInputs, holes: int) -> ET.Element:
    """What the jig is for."""
    ski = dict.fromkeys((inputs.ski.least, inputs.ski.most))
    facts = {
        "Boot sole": f"{boot_words(inputs)} mm",
        "Mount shift": _shift(inputs.shift),
        "Ski widths": f"{'–'.join(f'{width:g}' for width in ski)} mm",
        "Skis": "left and right alike" if inputs.pair == "same" else f"{inputs.side} only",
        "Core": CORES[inputs.core],
        "Holes": str(holes),
    }
    entries = (node("div", node("dt", name), node("dd", value)) for name, value in facts.items())
    return node(
        "header",
        classed("p", "kind", "Drilling jig"),
        node("h1", inputs.pattern),
        classed("dl", "facts", *entries),
    )


def boot_words(inputs: JigInputs) -> str:
    """The boot sole, or the shortest and the longest, in mm."""
    return "–".join(f"{boot:g}" for boot in inputs.boots or (inputs.boot,))


def _shift(shift: float) -> str:
    return f"{abs(shift):g} mm to the {'tip' if shift > 0 else 'tail'}" if shift else "none"


def verdict(verification: Verification | None) -> ET.Element:
    """Whether the jig may be printed, before anything else is read."""
    if verification is None:
        return alarm("Do not print", "This jig was never verified: where it drills is unknown.")
    count, checks = len(verification.holes), verification.checks
    if verification.passed:
        worst = verification.deviation
        return classed(
            "div",
            "verdict passed",
            node("strong", "Verification passed"),
            node(
                "p",
                f"{count} holes, {checks} checks; the farthest hole is {worst:.3f} mm from where "
                "it should be, measured in the files themselves.",
            ),
        )
    faults = verification.faults
    lost = [hole.id for hole in verification.holes if hole.deviation is None]
    text = f"Verification failed: {len(faults)} of {checks} checks. Keep the files only to look at."
    lines = [_fault(fault) for fault in faults] or [node("span", f"not found: {', '.join(lost)}")]
    return alarm("Do not print", text, bullets(lines))


def _fault(fault: Fault) -> ET.Element:
    text = f"{fault.source}: {fault.subject}: {fault.message} "
    return node("span", text, node("code", fault.code))


def alarm(head: str, text: str, *more: Content) -> ET.Element:
    """A red box that says what not to do, and why."""
    words = (node("strong", head), node("p", text), *more)
    return node("div", *words, at={"class": "verdict failed", "role": "alert"})


def cautions() -> ET.Element:
    """The usual cautions."""
    return node(
        "section", node("h2", "Before you drill"), bullets(CAUTIONS), at={"class": "caution"}
    )


def layout(folder: Path, holes: Sequence[Hole], boot: float | None = None) -> ET.Element:
    """The drawing of the layout, and every hole in numbers; of one `boot` out of many, if so."""
    note = "mm, from the mounting mark (+ to the tip) and from the centre line (+ to the left)."
    if boot is not None:
        note += f" All for a boot of {boot:g} mm."
    return section(
        "Layout",
        _drawing(folder / PLAN_SVG),
        table(
            ("hole", "from the mark", "from the centre line", "drill ⌀", "depth"),
            ((h.id, _signed(h.x), _signed(h.y), f"{h.diameter:g}", f"{h.depth:g}") for h in holes),
        ),
        classed("p", "note", note),
    )


def _signed(value: float) -> str:
    """To a hundredth of a mm; nothing before a zero."""
    hundredths = round(value, 2)
    return f"{hundredths:+.2f}" if hundredths else "0.00"


def _drawing(path: Path) -> ET.Element:
    """The drawing as part of the page; only its plain shapes and words are taken."""
    try:
        drawing = ET.fromstring(path.read_bytes())
    except (OSError, ET.ParseError):
        return classed("p", "note", f"{path.name} could not be read.")
    plain = _plain(drawing)
    label = "The holes seen from above, tip to the right"
    for name, value in (("role", "img"), ("aria-label", label)):
        plain.set(name, value)
    for name in ("width", "height"):  # it fills the page's width
        plain.attrib.pop(name, None)
    link = {"href": f"./{path.name}"}
    caption = ("Smaller than life. At 1:1: ", node("a", path.name, at=link), " and layout.dxf.")
    return node("figure", node("a", plain, at=link), node("figcaption", *caption))


def _plain(element: ET.Element) -> ET.Element:
    """A copy of drawn shapes alone, without names that could meet others on the page."""
    attributes = {name: value for name, value in element.attrib.items() if name != "id"}
    copy = ET.Element(NAMESPACE.sub("", element.tag), attributes)
    copy.text, copy.tail = element.text, element.tail
    for child in element:
        if isinstance(child.tag, str) and NAMESPACE.sub("", child.tag) in DRAWN:
            copy.append(_plain(child))
    return copy


def to_make(
    record: JigRecord,
) -> ET.Element:
    """What to print, part by part and bed by bed, and for which printer, beside what to buy."""
    printed = section(
        "To print",
        table(
            ("part", "pieces", "file", "volume"),
            (
                (p.name, str(p.count), _link(p.file), f"{p.volume / 1000:.1f}\u00a0cm³")
                for p in record.parts
                if p.printed
            ),
            words=(2,),
        ),
        bullets(_bed(number, bed) for number, bed in enumerate(record.beds, start=1)),
        classed("p", "note", "As the files lie, unturned and without supports."),
        *_for_printer(record.compensation),
    )
    bought = section(
        "To buy",
        table(
            ("what", "pieces", "size", "standard"),
            ((h.name, str(h.count), h.size, h.standard) for h in record.hardware),
            words=(2, 3),
        ),
    )
    return classed("div", "pair", printed, bought)


def _for_printer(compensation: Compensated | None) -> list[ET.Element]:
    if compensation is None:
        return []
    text = f" {compensated(compensation)}. {LAY}"
    return [node("p", node("strong", f"For printer {compensation.printer}:"), text)]


def _bed(number: int, bed: PrintBed) -> ET.Element:
    pieces = ", ".join(f"{count}\u00a0×\u00a0{part}" for part, count in bed.counts.items())
    return node("span", "Print bed ", str(number), ", ", _link(bed.file), f": {pieces}")


def verified(verification: Verification | None) -> list[ET.Element]:
    """Where each hole was found, format by format."""
    if verification is None:
        return []
    rows = (
        (
            hole.id,
            _point(hole.wanted),
            _point(hole.step),
            _point(hole.stl),
            "–" if hole.deviation is None else f"{hole.deviation:.3f}",
        )
        for hole in verification.holes
    )
    step, stl = (verification.limits[f"position_{kind}"] for kind in ("step", "stl"))
    note = (
        "mm, from the mounting mark and the centre line. "
        f"Allowed: {step:g} mm in STEP, {stl:g} mm in STL."
    )
    return [section("Verification", table(HEAD, rows), classed("p", "note", note))]


def _point(found: WantedBore | None) -> str:
    return NOTHING if found is None else f"{found.x + 0.0:.3f}, {found.y + 0.0:.3f}"


def files(entries: Mapping[str, FileEntry], own: str) -> ET.Element:
    """Every file with its size and SHA-256; not `own`, the page itself."""
    rows = (
        (_link(name), _size(entry.bytes), node("code", entry.sha256))
        for name, entry in entries.items()
        if name != own
    )
    note = (
        "jiggen check verifies the folder again and finds every file that has changed since. "
        f"manifest.json has this list too, and the checksum of {own}."
    )
    return section(
        "Files",
        table(("file", "size", "SHA-256"), rows, words=(2,), stacked=True),
        classed("p", "note", note),
    )


def _link(name: str) -> ET.Element:
    """A link to a file of the folder: never out of it, whatever its name."""
    return node("a", name, at={"href": f"./{quote(name)}"})


def _size(count: int) -> str:
    for unit, size in (("MB", 1_000_000), ("kB", 1_000)):
        if count >= size:
            return f"{count / size:.1f} {unit}"
    return f"{count} bytes"


def foot(versions: Mapping[str, str]) -> ET.Element:
    """What it was made with."""
    made = ", ".join(f"{name} {version}" for name, version in versions.items())
    return node("footer", node("p", f"Made with {made}. This page loads nothing from anywhere."))


def unreadable(names: Iterable[str]) -> list[ET.Element]:
    """Files of parts that cannot be shown."""
    return [classed("p", "note", f"{name} could not be read.") for name in names]
