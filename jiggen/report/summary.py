"""A record in plain words: what a build says when it is done, and texts that all outputs share."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import zip_longest
from pathlib import Path

from jiggen.cautions import CAUTIONS
from jiggen.design.trial import SCALE_NAME
from jiggen.files import MEASUREMENTS, PAGE, PICTURE, SHEET
from jiggen.record import AnyRecord, GaugeRecord, JigRecord, Record, TrialRecord
from jiggen.record.entries import Compensated, JigInputs, PrintAdvice, PrintBed
from jiggen.record.results import Accuracy, DepthStop, Plastic
from jiggen.report.check import check_line
from jiggen.report.depth import depth_words, giving_words
from jiggen.report.mark import about_mark
from jiggen.report.plastics import car_words
from jiggen.report.sides import about_ski
from jiggen.tables import material
from jiggen.verify import Verification, verdict
from jiggen.wording import whose_holes

PRINT_TRIAL = "Print it as it lies, without supports."
SMALLER = (
    "Lay the real plate on it, never under it: arrow to the plate's tip end.",
    "Look straight down: in the middle of each hole of the plate the trial's smaller one must",
    "show, with an even rim. Or push a drill's shank through both: it stands in the middle.",
)
AS_LARGE = (
    "Lay the real plate on it: arrow to the plate's tip end.",
    "Look straight down: every hole must be open right through, without a crescent at its rim, and",
    "a pin that fits the plate's hole must go through both.",
)
USE_TRIAL = (
    "Where one does not, the pattern is wrong: correct it before a jig is built.",
    "It guides no drill: never drill through it.",
)
LABEL = 10  # characters of a line before its words
MEASURE_SCALE = "Measure its 100.0 scale with the caliper before you trust it."
USE_GAUGE = (
    "Print the parts as they lie, without supports; never turn them in the slicing program.",
    f"Measure as {SHEET} says, and write the readings into {MEASUREMENTS}.",
)


def summary(record: AnyRecord, verification: Verification, folder: Path) -> str:
    """The result of building something as plain lines; of what failed no more than where it is."""
    cautions = ("", *CAUTIONS) if isinstance(record, JigRecord) else ()
    if not verification.passed:
        where = f"DO NOT PRINT. The files are kept for a look in {folder}"
        return "\n".join([where, "", verdict(verification), *cautions])
    first, lines = before_and_after(record, verification, folder)
    return "\n".join([*first, "", verdict(verification), "", *lines, *cautions])


Lines = tuple[str, ...]


def before_and_after(
    record: AnyRecord, verification: Verification, folder: Path
) -> tuple[Lines, Lines]:
    """The lines of a summary before its verdict and after it: a label, if any, then words."""
    marked, printed = tuple(engraved_mark(record)), tuple(to_print(record.beds))
    if isinstance(record, GaugeRecord):
        x, y = record.span
        pegs = f"Pegs:     {x:g} mm apart along x, {y:g} mm along y"
        opened = to_open(folder, f"{SHEET} to measure by, {MEASUREMENTS} to fill in")
        return (*marked, *printed, opened), (pegs, *USE_GAUGE)
    which = tuple(_for_which(record, verification))
    if isinstance(record, TrialRecord):
        opened = to_open(folder, f"{PICTURE} to look at it")
        return (*marked, *printed, opened, *which), tuple(_trial(record))
    bought = f"To buy:   {', '.join(_bought(record))}"
    opened = to_open(folder, f"{PAGE} to look at it, {SHEET} to work from")
    return (*marked, *printed, bought, opened, *which), tuple(_jig(record))


def labelled(lines: Iterable[str]) -> list[tuple[str, list[str]]]:
    """Lines of a summary by their labels, each with its words; a line without one by itself."""
    found: list[tuple[str, list[str]]] = []
    for line in lines:
        label, words = line[:LABEL].rstrip(), line[LABEL:]
        if label.endswith(":") and line[LABEL - 1] == " ":
            found.append((label[:-1], [words]))
        elif not label and found:
            found[-1][1].append(words)
        else:
            found.append(("", [line]))
    return found


def whose(record: AnyRecord) -> str:
    """For what boot and ski the holes of a record are, in words; empty for a gauge."""
    if isinstance(record, GaugeRecord):
        return ""
    inputs, ladders = record.inputs, isinstance(record, JigRecord) and bool(record.ladders)
    boots = inputs.boots if isinstance(inputs, JigInputs) else None
    side = inputs.side if inputs.pair == "mirrored" else ""
    return whose_holes(inputs.boot, boots, inputs.shift, side, drawn=ladders)


def _trial(record: TrialRecord) -> Iterator[str]:
    """How a trial plate is printed and used."""
    left_out = [name for names in record.left_out.values() for name in names]
    entry = record.compensation
    if entry:
        yield f"Printer:  {entry.printer}: {compensated(entry)}"
    if left_out:
        yield f"No room to engrave: {', '.join(left_out)}"
    if any(line.name == SCALE_NAME for face in record.engraved for line in face.lines):
        yield MEASURE_SCALE
    if entry:
        yield LAY
    yield from about_mark(record.inputs.mark)
    yield PRINT_TRIAL
    yield from AS_LARGE if record.inputs.plate_hole else SMALLER
    yield from USE_TRIAL


def engraved_mark(record: Record) -> Iterator[str]:
    """The line of a summary on what the print is known by."""
    if record.jig_mark:
        bodies = ", ".join(part.name for part in record.parts if part.is_body)
        yield f"Jig mark: {record.jig_mark}, engraved on {bodies}"


def to_open(folder: Path, words: str) -> str:
    """The line of a summary on what to look at."""
    return f"To open:  {words}, in {folder}"


def _for_which(record: JigRecord | TrialRecord, verification: Verification) -> Iterator[str]:
    """For which boot and ski it is, and that a mirrored pair's other ski takes another."""
    inputs = record.inputs
    yield f"For:      {inputs.pattern}, {verification.whose}"
    if inputs.pair == "mirrored":
        other = "right" if inputs.side == "left" else "left"
        kind = "jig" if isinstance(record, JigRecord) else "trial plate"
        yield f"          The {other.upper()} ski takes another {kind}: build that one too."


def _bought(record: JigRecord) -> Iterator[str]:
    return (f"{one.count} x {one.name} {one.size} ({one.standard})" for one in record.hardware)


def _jig(record: JigRecord) -> Iterator[str]:
    """How to set jig and drill, and what to expect of it."""
    plastic, accuracy, moving = record.plastic, record.accuracy, record.accuracy.moving
    solid = " and ".join(part.name + "s" for part in plastic.parts if part.infill == 100)
    infill = min(part.infill for part in plastic.parts)
    yield (
        f"Plastic:  {plastic.name}, about {plastic.printed:.0f} g with {plastic.walls} "
        f"walls and {infill} % infill, {solid} solid; {plastic.solid:.0f} g all solid"
    )
    yield f"          {car_words(material(plastic.name))}"
    if record.ladders:
        yield (
            "Set:      each half by itself: lay the line of the boot length on the ski's mark; "
            "sheet.pdf has a picture of each one"
        )
    elif boots := record.inputs.boots:
        yield (
            f"Boots:    {boots[0]:g} to {boots[1]:g}: the boot moves no hole of this pattern, so "
            "one ordinary jig serves them all and needs no ladder"
        )
    yield from stop_lines(record)
    if record.print_check:
        yield f"Check:    print, by sheet.pdf, with caliper and try square: {check_line(record)}"
    yield f"Depth:    {depth_words(accuracy.depth, '{:.2f} mm'.format)}"
    yield f"{'':<10}{giving_words(accuracy.depth)}"
    yield f"Expect:   95 of 100 holes, at the worst hole: {headline(accuracy)}"
    yield (
        f"Centring: within {accuracy.centring.loaded:.2f} mm at the worst hole; parts run "
        f"free from {moving.widths[0]:g} to {moving.widths[1]:g} mm skis, at least "
        f"{moving.teeth:.1f} teeth in mesh"
    )
    for start, line in zip_longest(("Skis:",), about_ski(record), fillvalue=""):
        yield f"{start:<10}{line}"
    yield from for_printer(record.compensation)


def headline(accuracy: Accuracy) -> str:
    """How far off the worst hole, and the outermost groups from one another, are expected to be.

    Never for a checked print alone.
    """
    checked, unmeasured = accuracy.jig.toe_to_heel, accuracy.unmeasured.toe_to_heel
    apart = ""
    if checked and unmeasured:
        front, rear = checked.groups
        apart = (
            f". The distance from {rear} to {front} along the ski, between the middles of their "
            f"holes: within {unmeasured.expected_95:.2f} mm unmeasured, within "
            f"{checked.expected_95:.2f} mm after the check"
        )
    return (
        f"within {accuracy.unmeasured.largest_95:.2f} mm as printed, unmeasured; within "
        f"{accuracy.jig.largest_95:.2f} mm after the check of the print passed; by hand from a "
        f"paper sheet {accuracy.sheet.largest_95:.2f} mm{apart}"
    )


def stop_lines(record: JigRecord) -> Iterator[str]:
    """How drill and depth stop are set for which holes, two lines for each setting."""
    for number, stop in enumerate(record.drilling.stops):
        yield (
            f"{'' if number else 'Stop:':<10}{' '.join(stop.holes)}: drill {stop.drill:g}, "
            f"{stop.depth:g} deep; depth stop {stop.from_tip:.1f} mm from the drill's tip "
            f"({stop.from_corners:.1f} from its corners)"
        )
        yield f"{'':<10}{room_words(record, stop, lambda mm: f'{mm:g} mm')}"


def room_words(record: JigRecord, stop: DepthStop, length: Callable[[float], str]) -> str:
    """How much of the drill is left out of the chuck, and how wide the depth stop may be.

    `length` puts millimetres into words.
    """
    widths: dict[float, list[str]] = {}
    for guide in record.guides:
        if guide.id in stop.holes and guide.stop_width:
            widths.setdefault(guide.stop_width, []).append(guide.id)
    widest, *narrower = sorted(widths.items(), reverse=True) or [(0.0, [])]
    words = f"leave at least {length(math.ceil(stop.leave - 1e-6))} of the drill out of the chuck"
    if widest[0]:
        words += f"; the depth stop up to {length(widest[0])} wide"
    return "".join([words, *(f", {length(c)} at most for {', '.join(i)}" for c, i in narrower)])


def for_printer(entry: Compensated | None) -> list[str]:
    """For which printer the parts were changed, how, and how to lay them on its bed."""
    if entry is None:
        return []
    return [f"Printer:  {entry.printer}: {compensated(entry)}", f"{'':<10}{LAY}"]


def to_print(beds: Sequence[PrintBed]) -> Iterator[str]:
    """The lines of a summary on what to print, bed by bed."""
    for number, bed in enumerate(beds, start=1):
        pieces = (f"{n} x {part}" if n > 1 else part for part, n in bed.counts.items())
        start = "To print:" if number == 1 else ""
        yield f"{start:<10}bed {number}: {', '.join(pieces)} ({bed.file})"
        if bed.advice:
            yield f"{'':<10}set {print_settings(bed.advice)}"


def print_settings(advice: PrintAdvice) -> str:
    """What to set in the slicing program, in words."""
    within = "solid (100 % infill)" if advice.infill == 100 else f"{advice.infill} % infill"
    return (
        f"{advice.layer:g} mm layers, the first one too; {advice.walls} walls, {advice.skins} "
        f"solid layers at top and bottom; {within}"
    )


LAY = (
    "Print them on this printer alone, as the files lie, at 100 %: do not turn a part on the bed "
    "(half a turn does no harm), and switch off the slicing program's own correction of size and "
    "holes."
)


def compensated(entry: Compensated) -> str:
    """One sentence for a record's `compensation`: what STL and 3MF have that STEP has not."""
    (along_x, lean), (_, along_y) = entry.matrix
    changes = []
    for factor, more, less, where in (
        (along_x, "longer", "shorter", " in x"),
        (along_y, "longer", "shorter", " in y"),
        (entry.height, "higher", "lower", ""),
    ):
        change = 100 * (factor - 1)
        if abs(change) >= 0.005:
            changes.append(f"{abs(change):.2f} % {more if change > 0 else less}{where}")
    angle = math.degrees(math.atan2(lean, along_y))
    if abs(angle) >= 0.005:
        way = "+x" if angle > 0 else "-x"
        changes.append(f"their y axis leant {abs(angle):.2f}° towards {way}")
    return (
        f"parts made {', '.join(changes) or 'as designed'}; jig.step is as designed, with the "
        "fits of this printer"
    )


CORES = {"plain": "plain", "metal": "metal sheet under the top"}
MASS_HEADS = ("part", "pieces", "volume of each", "solid", "as advised", "print it")

MOUNT_SHIFT = (
    "For a mount shift, lay the 0 in a half's slot on the ski's mark, draw a new mark through the "
    "slot at the shift, on the TIP or the TAIL side, and tape over the old one. Measure the shift "
    "with a rule. From here on the new mark is the ski's mark, for every half."
)
WRONG_LINE = (
    "A half on the wrong line drills all its holes in the wrong place, by half of what the lengths "
    "differ, or by a whole band. Read the line twice, and measure."
)


def half_instructions(record: JigRecord) -> Iterator[str]:
    """How the halves of a jig with ladders are set by the boot, with its own names."""
    halves = ", ".join(part.name for part in record.parts if part.is_body)
    yield f"The halves ({halves}) are used by themselves, one after the other."
    if any(not ladder.bands for ladder in record.ladders):
        yield (
            "Lay the line of your boot length on the ski's mark: then the half sits right. Odd "
            "lengths are at the left edge of its tongue, even ones at the right; from one line to "
            "the next on an edge it is 2 mm of boot. On the top, lines of lengths that end in 4 "
            "and 9 are half as long as those with numbers: so each line has others beside it than "
            "the next. On the other edge the mark lies midway between two lines. Where either "
            "looks otherwise than in the picture, it is a wrong line."
        )
    for ladder in record.ladders:
        if ladder.bands:
            yield (
                f"{ladder.half} half: boots of one band share one place of the holes "
                f"({', '.join(ladder.bands)}). Lay the line of the band that your boot is in on "
                "the ski's mark, on both edges."
            )
    moved = {group for ladder in record.ladders for group in ladder.groups}
    groups = dict.fromkeys(hole.group for hole in record.holes)
    if still := ", ".join(group for group in groups if group not in moved):
        yield f"The piece for {still} has one line: it serves every boot."
    yield (
        "Where no number stands at the line, count lines, not millimetres, from the number that is "
        "named, towards the other one. The table says, too, how far the half's first hole is from "
        "the mark: check it with a rule."
    )


def mass_rows(plastic: Plastic) -> list[tuple[str, ...]]:
    """By part, then of all pieces: pieces, volume, mass solid and as advised, how to print it."""
    rows = []
    for part in plastic.parts:
        how = f"{plastic.walls} walls, {part.infill} % within"
        if part.infill == 100:
            how = "solid: 100 %"
        rows.append(_mass_row(part.name, part.count, part.volume, part.solid, part.printed, how))
    count = sum(part.count for part in plastic.parts)
    volume = sum(part.count * part.volume for part in plastic.parts)
    return [*rows, _mass_row("all pieces", count, volume, plastic.solid, plastic.printed, "")]


def _mass_row(
    name: str, count: int, volume: float, solid: float, printed: float, how: str
) -> tuple[str, ...]:
    masses = f"{solid:.0f} g", f"{printed:.0f} g"
    return (name, str(count), f"{volume / 1000:.1f} cm³", *masses, how)


def mass_note(plastic: Plastic) -> str:
    """How the masses were estimated."""
    return (
        f"Masses from a density of {plastic.density:g} g/cm³. As advised: {plastic.walls} walls "
        f"({plastic.walls * plastic.line:g} mm), {plastic.skin:g} mm of solid top and bottom "
        "layers, and the infill within; estimated from each part's surface area: a slicer gives "
        "somewhat less."
    )
