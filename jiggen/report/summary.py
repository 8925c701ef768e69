"""A record in plain words: what a build says when it is done, and texts that all outputs share."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from jiggen.cautions import CAUTIONS
from jiggen.files import MEASUREMENTS, SHEET
from jiggen.record import DepthStop, GaugeRecord, JigRecord, TrialRecord
from jiggen.record.entries import Bought, Compensated, PrintBed
from jiggen.record.results import Accuracy, Plastic
from jiggen.report.plastics import car_words
from jiggen.tables.materials import material
from jiggen.verify import Verification, table, verdict

USE_TRIAL = (
    "Print it as it lies, without supports.",
    "Lay it on the real plate, arrow to the tip: each hole must show the plate's in its middle.",
    "Where one does not, the pattern is wrong: correct it before a jig is built.",
    "It guides no drill: never drill through it.",
)
MEASURE_SCALE = "Measure its 100.0 scale with the caliper before you trust it."
USE_GAUGE = (
    "Print the parts as they lie, without supports; never turn them in the slicing program.",
    f"Measure as {SHEET} says, and write the readings into {MEASUREMENTS}.",
)


def summary(record: JigRecord, verification: Verification, folder: Path) -> str:
    """The result of building a jig as plain lines."""
    if not verification.passed:
        return "\n".join([*_failed(verification, folder), "", *CAUTIONS])
    lines = [
        *_verdict(verification),
        *to_print(record.beds),
        *_weighed(record.plastic),
        "To buy:   " + ", ".join(_bought(line) for line in record.hardware),
        *_setting(record),
        *_stops(record.drilling.stops),
        *_expected(record.accuracy),
        *for_printer(record.compensation),
        f"Files:    {folder}",
    ]
    return "\n".join([*lines, "", *CAUTIONS])


def trial_summary(
    record: TrialRecord, verification: Verification, folder: Path, *, scaled: bool
) -> str:
    """The result of building a trial plate; `scaled` says whether its check scale is engraved."""
    if not verification.passed:
        return "\n".join(_failed(verification, folder))
    left_out = [name for names in record.left_out.values() for name in names]
    entry = record.compensation
    return "\n".join(
        [
            *_verdict(verification),
            *to_print(record.beds),
            *([f"Printer:  {entry.printer}: {compensated(entry)}"] if entry else []),
            f"Files:    {folder}",
            *([f"No room to engrave: {', '.join(left_out)}"] if left_out else []),
            "",
            *([MEASURE_SCALE] if scaled else []),
            *([LAY] if entry else []),
            *USE_TRIAL,
        ]
    )


def gauge_summary(record: GaugeRecord, verification: Verification, folder: Path) -> str:
    """The result of building a gauge as plain lines."""
    if not verification.passed:
        return "\n".join(_failed(verification, folder))
    x, y = record.span
    return "\n".join(
        [
            *_verdict(verification),
            *to_print(record.beds),
            f"Pegs:     {x:g} mm apart along x, {y:g} mm along y",
            f"Files:    {folder}",
            "",
            *USE_GAUGE,
        ]
    )


def _verdict(verification: Verification) -> list[str]:
    return [table(verification), "", verdict(verification), ""]


def _failed(verification: Verification, folder: Path) -> list[str]:
    return [*_verdict(verification), f"DO NOT PRINT. The files are kept for a look in {folder}"]


def for_printer(entry: Compensated | None) -> list[str]:
    """For which printer the parts were changed, how, and how to lay them on its bed."""
    if entry is None:
        return []
    return [f"Printer:  {entry.printer}: {compensated(entry)}", f"{'':<10}{LAY}"]


def _setting(record: JigRecord) -> list[str]:
    """How a jig for many boots is set."""
    boots = record.inputs.boots
    if boots and record.ladders:
        return [
            "Set:      each half by itself: lay the line of the boot length on the ski's mark; "
            "sheet.pdf has the line of each boot"
        ]
    if boots:
        return [
            f"Boots:    {boots[0]:g} to {boots[1]:g}: the boot moves no hole of this pattern, so "
            "one ordinary jig serves them all and needs no ladder"
        ]
    return []


def _stops(stops: Sequence[DepthStop]) -> list[str]:
    """Where to set the depth stop, for each set of holes that share it."""
    return [
        f"{'Stop:' if first else '':<10}{' '.join(stop.holes)}: drill {stop.drill:g}, "
        f"{stop.depth:g} deep; depth stop {stop.from_tip:.1f} mm from the drill's tip "
        f"({stop.from_corners:.1f} from its corners)"
        for first, stop in zip([True] + [False] * len(stops), stops, strict=False)
    ]


def _weighed(plastic: Plastic) -> list[str]:
    """What it is printed in, how, and how much of that it takes."""
    solid = " and ".join(part.name + "s" for part in plastic.parts if part.infill == 100)
    infill = min(part.infill for part in plastic.parts)
    return [
        f"Plastic:  {plastic.name}, about {plastic.printed:.0f} g with {plastic.walls} "
        f"walls and {infill} % infill, {solid} solid; {plastic.solid:.0f} g all solid",
        f"          {car_words(material(plastic.name))}",
    ]


def _expected(accuracy: Accuracy) -> list[str]:
    jig, sheet = accuracy.jig.largest_95, accuracy.sheet.largest_95
    moving = accuracy.moving
    return [
        f"Expect:   95 of 100 holes within {jig:.2f} mm at the worst hole; by hand from a paper "
        f"sheet {sheet:.2f} mm",
        f"Centring: within {accuracy.centring.loaded:.2f} mm at the worst hole; parts run "
        f"free from {moving.widths[0]:g} to {moving.widths[1]:g} mm skis, at least "
        f"{moving.teeth:.1f} teeth in mesh",
    ]


def _bought(line: Bought) -> str:
    return f"{line.count} x {line.name} {line.size} ({line.standard})"


def to_print(beds: Sequence[PrintBed]) -> list[str]:
    """The lines of a summary on what to print, bed by bed."""
    return [
        f"{'' if number else 'To print:':<10}bed {number + 1}: {_pieces(bed)} ({bed.file})"
        for number, bed in enumerate(beds)
    ]


def _pieces(bed: PrintBed) -> str:
    return ", ".join(f"{n} x {part}" if n > 1 else part for part, n in bed.counts.items())


LAY = (
    "Print them on this printer alone, as the files lie, at 100 %: do not turn a part on the bed "
    "(half a turn does no harm), and switch off the slicing program's own correction of size and "
    "holes."
)


def compensated(entry: Compensated) -> str:
    """One sentence for a record's `compensation`: what STL and 3MF have that STEP has not."""
    (along_x, lean), (_, along_y) = entry.matrix
    angle = math.degrees(math.atan2(lean, along_y))
    sizes = (
        _size(along_x, "longer", "shorter", " in x"),
        _size(along_y, "longer", "shorter", " in y"),
        _size(entry.height, "higher", "lower", ""),
    )
    changes = [words for words in sizes if words]
    if abs(angle) >= 0.005:
        changes.append(
            f"their y axis leant {abs(angle):.2f}° towards {'+x' if angle > 0 else '-x'}"
        )
    return (
        f"parts made {', '.join(changes) or 'as designed'}; jig.step is as designed, with the "
        "fits of this printer"
    )


def _size(factor: float, more: str, less: str, where: str) -> str:
    change = 100 * (factor - 1)
    if abs(change) < 0.005:
        return ""
    return f"{abs(change):.2f} % {more if change > 0 else less}{where}"


# -- shared by the sheet and the page ------------------------------------------------------------

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
            "the next on an edge it is 2 mm of boot."
        )
    for ladder in record.ladders:
        if ladder.bands:
            yield (
                f"{ladder.half} half: boots of one band share one place of the holes "
                f"({', '.join(ladder.bands)}). Lay the line of the band that your boot is in on "
                "the ski's mark."
            )
    moved = {group for ladder in record.ladders for group in ladder.groups}
    groups = dict.fromkeys(hole.group for hole in record.holes)
    if still := ", ".join(group for group in groups if group not in moved):
        yield f"The piece for {still} has one line: it serves every boot."
    yield (
        "In the table, + and − count lines on from the number, + towards longer boots. Beside it, "
        "how far the half's first hole is from the mark: check it with a rule."
    )


def mass_rows(plastic: Plastic) -> list[tuple[str, ...]]:
    """By part, then of all pieces: pieces, volume, mass solid and as advised, how to print it."""
    rows = [
        (
            part.name,
            str(part.count),
            f"{part.volume / 1000:.1f} cm³",
            f"{part.solid:.0f} g",
            f"{part.printed:.0f} g",
            "solid: 100 %"
            if part.infill == 100
            else f"{plastic.walls} walls, {part.infill} % within",
        )
        for part in plastic.parts
    ]
    count = sum(part.count for part in plastic.parts)
    volume = sum(part.count * part.volume for part in plastic.parts)
    masses = (f"{plastic.solid:.0f} g", f"{plastic.printed:.0f} g")
    return [*rows, ("all pieces", str(count), f"{volume / 1000:.1f} cm³", *masses, "")]


def mass_note(plastic: Plastic) -> str:
    """How the masses were estimated."""
    return (
        f"Masses from a density of {plastic.density:g} g/cm³. As advised: {plastic.walls} walls "
        f"({plastic.walls * plastic.line:g} mm), {plastic.skin:g} mm of solid top and bottom "
        "layers, and the infill within; estimated from each part's surface area: a slicer gives "
        "somewhat less."
    )
