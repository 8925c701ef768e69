"""The page of a built jig: one file to look at in a browser, with nothing fetched from anywhere.

Style, script and data are within, and the page is closed to everything else.
"""

import math
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote
from xml.etree import ElementTree as ET

from jiggen.cautions import CAUTIONS
from jiggen.errors import Finding
from jiggen.files import PAGE, PLAN_SVG
from jiggen.outcome import Verification, WantedBore
from jiggen.record import JigRecord
from jiggen.record.entries import JigInputs
from jiggen.record.results import Accuracy, Drilling, Plastic
from jiggen.report import check
from jiggen.report.depth import TERM_HEADS, TERMS_NOTE, depth_words, giving_words, term_rows
from jiggen.report.page.markup import (
    Html,
    bullets,
    document,
    node,
    note,
    plain_drawing,
    section,
    table,
)
from jiggen.report.page.view import picture_of, view_of, viewer
from jiggen.report.sides import about_ski, measured_where
from jiggen.report.summary import (
    CORES,
    LAY,
    MOUNT_SHIFT,
    WRONG_LINE,
    compensated,
    half_instructions,
    headline,
    mass_note,
    mass_rows,
    print_settings,
)
from jiggen.units import counted
from jiggen.verify.results import HEAD, NOTHING, scope

DEPTH_NOTE = (
    "mm. The stop comes down on the top of the drill bush, or of the printed hole in a jig without "
    "bushes. Set it by A or by B: A reaches from the stop to the drill's cutting corners, B to its "
    "very tip. Drill a scrap board first and measure the depth."
)
UNMEASURED, CHECKED = "this jig as printed, unmeasured", "this jig after the check of its print"
BY_HAND = "paper sheet, by hand"


def report_html(folder: Path, record: JigRecord) -> str:
    """The page of a built jig: the same text for the same files and record.

    `folder` holds the files.  What is not verified gets a page that says so, without what to
    print, to buy and how to drill.  The page lists every file of the record but itself.
    """
    view = view_of(folder, record)
    cautions = section("Before you drill", bullets(CAUTIONS), class_="caution")
    made = ", ".join(f"{name} {version}" for name, version in record.versions.items())
    body = [
        _heading(record),
        _verdict(record.verification),
        *_notices(record.drilling),
        node("div", viewer(view, picture_of(folder)), cautions, class_="first"),
        *(note(f"{name} could not be read.") for name in view.unreadable),
        *([_stops(record), _sides(record), *_setting(record)] if record.passed else ()),
        _layout(folder, record),
        *([_to_make(record), _printing(record.plastic)] if record.passed else ()),
        *(_check(record) if record.passed else ()),
        *_verified(record.verification),
        *([_accuracy(record.accuracy)] if record.passed else ()),
        _files(record),
        node("footer", node("p", f"Made with {made}. This page loads nothing from anywhere.")),
    ]
    title = f"{record.inputs.pattern}, boot {_boots(record.inputs)} mm"
    return document(title, record.mark, view.data, *body)


def _heading(record: JigRecord) -> Html:
    """What the jig is for."""
    inputs = record.inputs
    way = "tip" if inputs.shift > 0 else "tail"
    skis = dict.fromkeys((inputs.ski.least, inputs.ski.most))
    facts = {
        "Jig mark": record.jig_mark,
        "Boot sole": f"{_boots(inputs)} mm",
        "Mount shift": f"{abs(inputs.shift):g} mm to the {way}" if inputs.shift else "none",
        "Ski widths": f"{'–'.join(f'{width:g}' for width in skis)} mm, "
        + measured_where(inputs.rail_depth),
        "Skis": "left and right alike" if inputs.pair == "same" else f"{inputs.side} only",
        "Core": CORES[inputs.core],
        "Holes": str(len(record.holes)),
    }
    entries = (node("div", node("dt", name), node("dd", value)) for name, value in facts.items())
    return node(
        "header",
        node("p", "Drilling jig", class_="kind"),
        node("h1", inputs.pattern),
        node("dl", *entries, class_="facts"),
    )


def _boots(inputs: JigInputs) -> str:
    return "–".join(f"{boot:g}" for boot in inputs.boots or (inputs.boot,))


def _verdict(found: Verification | None) -> Html:
    """Whether the jig may be printed, before anything else is read."""
    if found is None:
        return _alarm("Do not print", "This jig was never verified: where it drills is unknown.")
    if found.passed:
        text = (
            f"{counted(len(found.holes), 'hole')}, {found.checks} checks; the farthest hole is "
            f"{found.deviation:.3f} mm from where it should be, measured in the files themselves."
        )
        passed = node("strong", "Files verified"), node("p", text), node("p", scope(found))
        return node("div", *passed, class_="verdict passed")
    lost = ", ".join(hole.id for hole in found.holes if hole.deviation is None)
    lines = [
        node("span", f"{one.source}: {one.subject}: {one.message} ", node("code", one.code))
        for one in found.faults
    ]
    count = f"{len(found.faults)} of {found.checks} checks"
    text = f"Verification failed: {count}. Keep the files only to look at."
    return _alarm("Do not print", text, bullets(lines or [f"not found: {lost}"]))


def _alarm(head: str, text: str, *more: str) -> Html:
    """A red box that says what not to do, and why."""
    words = node("strong", head), node("p", text), *more
    return node("div", *words, class_="verdict failed", role="alert")


def _notices(drilling: Drilling) -> Iterator[Html]:
    """Errors and warnings of the drilling check, where there are any."""
    if drilling.errors:
        yield _alarm("Do not drill", "The ski must not be drilled so.", _told(drilling.errors))
    if drilling.warnings:
        words = node("strong", "Warnings before drilling"), _told(drilling.warnings)
        yield node("div", *words, class_="verdict caution")


def _told(notices: tuple[Finding, ...]) -> Html:
    return bullets(
        f"{one.key + ': ' if one.key else ''}{one.message}. {one.hint}".strip() for one in notices
    )


def _stops(record: JigRecord) -> Html:
    """Where to set the drill's stop, one row for holes that share it; how deep they come."""
    drilling, depth = record.drilling, record.accuracy.depth
    heads = (
        "holes",
        "drill ⌀",
        "depth",
        "stop A, to the corners",
        "stop B, to the tip",
        "out of the chuck, at least",
    )
    rows = []
    for stop in drilling.stops:
        # No name is broken at its hyphen while there is room.
        listed = [*(f"{name}," for name in stop.holes[:-1]), *stop.holes[-1:]]
        names = (part for name in listed for part in (node("span", name, class_="name"), " "))
        lengths = f"{stop.from_corners:.1f}", f"{stop.from_tip:.1f}", f"{math.ceil(stop.leave)}"
        rows.append((node("span", *names), f"{stop.drill:g}", f"{stop.depth:g}", *lengths))
    base = [hole.base_left for hole in drilling.holes if hole.base_left is not None]
    least = f" At least {min(base):.1f} mm of the ski are left under the drill." if base else ""
    words = depth_words(depth, "{:.2f} mm".format), giving_words(depth)
    return section(
        "Drill and depth stop",
        table(heads, rows),
        note(DEPTH_NOTE + least),
        bullets(f"{line[0].upper()}{line[1:]}." for line in words if line),
        table(TERM_HEADS, term_rows(depth), words=(1, 4), stacked=True),
        note(TERMS_NOTE),
    )


def _sides(record: JigRecord) -> Html:
    """Where a ski's width is measured, and what holds the jig down on its sides."""
    return section("The ski's sides", bullets(about_ski(record)))


def _setting(record: JigRecord) -> Iterator[Html]:
    """How to set the halves, and a row for each boot length; nothing of a jig without ladders."""
    if not record.ladders:
        return
    off: dict[float, float] = {}  # by boot, the farthest verified error of a hole, mm
    for line in record.verification.ladders if record.verification else ():
        if line.deviation is not None:
            off[line.boot] = max(off.get(line.boot, 0.0), line.deviation)
    heads = [
        "boot",
        *(f"{ladder.half} half: line" for ladder in record.ladders),
        *(f"mark to {record.first_holes[ladder.part]}" for ladder in record.ladders),
        "verification: farthest hole off",
    ]
    rows = (
        (
            f"{one.boot:g}",
            *map(str, one.readings.values()),
            *(f"{abs(x):.2f}" for x in one.first_holes.values()),
            f"{off[one.boot]:.3f}" if one.boot in off else "–",
        )
        for one in record.boot_settings
    )
    yield section(
        "Set each half by the boot",
        bullets([*half_instructions(record), MOUNT_SHIFT, WRONG_LINE]),
        table(heads, rows, words=range(1, 1 + len(record.ladders)), stacked=True),
        note("mm."),
    )


def _layout(folder: Path, record: JigRecord) -> Html:
    """The drawing of the layout, and every hole in numbers; of one boot, where there are many."""
    words = "mm, from the mounting mark (+ to the tip) and from the centre line (+ to the left)."
    if record.ladders:
        words += f" All for a boot of {record.inputs.boot:g} mm."
    rows = (
        (hole.id, _signed(hole.x), _signed(hole.y), f"{hole.diameter:g}", f"{hole.depth:g}")
        for hole in record.holes
    )
    heads = ("hole", "from the mark", "from the centre line", "drill ⌀", "depth")
    return section("Layout", _drawing(folder / PLAN_SVG), table(heads, rows), note(words))


def _signed(value: float) -> str:
    """To a hundredth of a mm; nothing before a zero."""
    hundredths = round(value, 2)
    return f"{hundredths:+.2f}" if hundredths else "0.00"


def _drawing(path: Path) -> Html:
    """The drawing as part of the page, as wide as it."""
    try:
        drawing = ET.fromstring(path.read_bytes())
    except (OSError, ET.ParseError):
        return note(f"{path.name} could not be read.")
    for name in ("width", "height"):
        drawing.attrib.pop(name, None)
    drawing.attrib |= {"role": "img", "aria-label": "The holes seen from above, tip to the right"}
    caption = ("Smaller than life. At 1:1: ", _link(path.name), " and layout.dxf.")
    picture = node("a", plain_drawing(drawing), href=f"./{path.name}")
    return node("figure", picture, node("figcaption", *caption))


def _link(name: str) -> Html:
    """A link to a file of the folder: never out of it, whatever its name."""
    return node("a", name, href=f"./{quote(name)}")


def _to_make(record: JigRecord) -> Html:
    """What to print, part by part and bed by bed, and for which printer, beside what to buy."""
    printed = (
        (part.name, str(part.count), _link(part.file), f"{part.volume / 1000:.1f}\u00a0cm³")
        for part in record.parts
        if part.printed
    )
    beds = []
    for number, bed in enumerate(record.beds, start=1):
        pieces = ", ".join(f"{count}\u00a0×\u00a0{part}" for part, count in bed.counts.items())
        how = f": {pieces}" + (f". Set {print_settings(bed.advice)}." if bed.advice else "")
        beds.append(node("span", f"Print bed {number}, ", _link(bed.file), how))
    to_print = [
        table(("part", "pieces", "file", "volume"), printed, words=(2,)),
        bullets(beds),
        note("As the files lie, unturned and without supports."),
    ]
    if entry := record.compensation:
        printer = node("strong", f"For printer {entry.printer}:")
        to_print.append(node("p", printer, f" {compensated(entry)}. {LAY}"))
    bought = ((one.name, str(one.count), one.size, one.standard) for one in record.hardware)
    to_buy = table(("what", "pieces", "size", "standard"), bought, words=(2, 3))
    sides = section("To print", *to_print), section("To buy", to_buy)
    return node("div", *sides, class_="pair")


def _printing(plastic: Plastic) -> Html:
    """How the parts are printed, what they weigh, and advice."""
    heads = ("part", "pieces", "volume", "solid", "as advised", "print it")
    rows = [[cell.replace(" ", "\u00a0") for cell in row] for row in mass_rows(plastic)]
    masses = table(heads, rows, words=(5,)), note(mass_note(plastic))
    return section(f"Printing in {plastic.name}", *masses, bullets(plastic.advice))


def _check(record: JigRecord) -> Iterator[Html]:
    """What the caliper must show on each body before it is used."""
    if record.print_check:
        limits = table(check.HEADS, check.check_rows(record), words=(1,))
        rules = note(f"mm. {check.HOW}"), bullets(check.rules(record))
        yield section("Check of the print", limits, *rules)


def _verified(found: Verification | None) -> Iterator[Html]:
    """Where each hole was found, format by format."""
    if found is None:
        return
    rows = (
        (
            hole.id,
            *map(_point, (hole.wanted, hole.step, hole.stl)),
            "–" if hole.deviation is None else f"{hole.deviation:.3f}",
        )
        for hole in found.holes
    )
    step, stl = (found.limits[f"position_{kind}"] for kind in ("step", "stl"))
    words = (
        "mm, from the mounting mark and the centre line. "
        f"Allowed: {step:g} mm in STEP, {stl:g} mm in STL."
    )
    yield section("Verification", table(HEAD, rows), note(words))


def _point(found: WantedBore | None) -> str:
    return NOTHING if found is None else f"{found.x + 0.0:.3f}, {found.y + 0.0:.3f}"


def _accuracy(expected: Accuracy) -> Html:
    """How true the jig is expected to drill, in few words."""
    jig, sheet, moving = expected.jig, expected.sheet, expected.moving
    ways = {UNMEASURED: expected.unmeasured, CHECKED: jig, BY_HAND: sheet}
    lead = f"Expect 95 of 100 holes, at the worst hole, {headline(expected)}."
    rows = []
    for name, hole in jig.holes.items():
        off = (f"{way.holes[name].radial.expected_95:.2f}" for way in ways.values())
        rows.append((name, *off, hole.most))
    for group in jig.spacing_95:
        apart = (way.spacing_95.get(group) for way in ways.values())
        cells = ("–" if one is None else f"{one:.2f}" for one in apart)
        rows.append((f"{group}: hole to hole", *cells, ""))
    words = (
        "mm, 95 of 100 within. Computed from the parts' play and the usual errors of print and "
        "hand; not measured on a drilled ski."
    )
    mechanism = (
        f"Centring: within {expected.centring.loaded:.2f} mm at the worst hole, rails pressed on.",
        f"Parts run free from {moving.widths[0]:g} to {moving.widths[1]:g} mm skis, at least "
        f"{moving.teeth:.1f} teeth in mesh.",
        f"Least gap: {moving.least_gap.gap:.2f} mm between {' and '.join(moving.least_gap.parts)}.",
    )
    longest = max(way.largest_95 for way in ways.values()) or 1.0
    bars, sources = [], []
    for title, budget in ways.items():
        kind = "bar" if budget is sheet else "bar jig"
        bar = node("rect", width=f"{100 * budget.largest_95 / longest:.2f}", height="10", rx="1")
        how = {"viewBox": "0 0 100 10", "preserveAspectRatio": "none", "aria-hidden": "true"}
        size = node("svg", bar, **how, class_=kind), f"{budget.largest_95:.2f} mm"
        bars += [node("dt", title), node("dd", *size)]
        terms = ((t.name, t.size, t.distribution, t.source) for t in budget.terms)
        heads = ("error", "size", "spread", "source")
        listed = table(heads, terms, words=(1, 2, 3), stacked=True)
        sources += [node("h3", title.capitalize()), listed]
    return section(
        "Accuracy",
        node("p", lead),
        node("dl", *bars, class_="bars"),
        table(("hole", *ways, "most of it, once checked"), rows, words=(4,)),
        note(words),
        bullets(mechanism),
        node("details", node("summary", "Inputs and sources"), *sources),
    )


def _files(record: JigRecord) -> Html:
    """Every file with its size and SHA-256, but the page itself."""
    rows = (
        (_link(name), _size(entry.bytes), node("code", entry.sha256))
        for name, entry in record.files.items()
        if name != PAGE
    )
    words = (
        "jiggen check verifies the folder again and finds every file that has changed since. "
        f"manifest.json has this list too, and the checksum of {PAGE}."
    )
    listed = table(("file", "size", "SHA-256"), rows, words=(2,), stacked=True)
    return section("Files", listed, note(words))


def _size(count: int) -> str:
    for unit, size in (("MB", 1_000_000), ("kB", 1_000)):
        if count >= size:
            return f"{count / size:.1f} {unit}"
    return f"{count} bytes"
