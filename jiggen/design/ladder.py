"""The boot-length ladder of a half that serves many boots: lines to lay on the ski's mark.

A half ends in a tongue, narrower than the body, that lies over the mounting mark; the mark shows
on both sides of it.  Laid with the line of a boot length on the mark, the half sits right for
that length.  Groups that follow the boot's toe or heel move half as far as the boot grows, so
whole lengths stand 0.5 mm apart: too close to print.  They are dealt to the tongue's two edges,
odd lengths left and even ones right, and stand 1 mm apart there, as on the rails' own scale.

A slot in the tongue has a second ladder, of mount shifts: its 0 is laid on the mark, a new mark
is drawn at the shift, and from then on that is the mark.

Frame: the ski's, with the half as it lies for the longest boot.  All numbers are mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Polygon, box

from jiggen.design.engraving import DEPTH, DIVISION, Engraving
from jiggen.design.lettering import letter, regions_of, upright
from jiggen.errors import Finding, InputError
from jiggen.layout.span import SAME, Motion
from jiggen.record.model import RowName

PITCH = 1.0  # mm, least between two lines of one edge: a line and a land of DIVISION each
SHORT, LONG = 2.8, 4.2  # mm, lines from the wall in
NUMBER_GAP = 0.5  # mm from the end of a long line to its number
CAPS, WORD_CAPS = 3.0, 2.6  # mm, height of numbers and of words
BAND_PITCH = CAPS + 1.0  # mm, least between two lines that are both numbered
WINDOW = 7.0  # mm from the body's edge in to the tongue's: the ski's mark is seen there
END, ROOT = 2.5, 4.5  # mm of tongue past the last line, at its end and at the body
GUSSET, CHAMFER = 2.0, 1.5  # mm at 45°: in the corners at the body, and off those at the end
LEAST_TONGUE = 36.0  # mm: room for the ladder of shifts and its words
SHIFTS = 10  # mm of mount shift, either way
SLOT = 7.0  # mm wide: a fine pen gets through
SLOT_END = 2.5  # mm past the last shift
LEAST_GAP = 0.8  # mm between what stands side by side on the tongue
ROW_WORDS = {
    "odd": ("ODD   1 LINE = 2 MM", "ODD"),
    "even": ("EVEN   1 LINE = 2 MM", "EVEN"),
    "bands": ("BOOTS",),
}
SIGHT, LONG_SIGHT = 1.7, 3.5  # mm from the wall: where all lines are crossed, and long ones only


@dataclass(frozen=True)
class Line:
    """One line at `x`, for boot lengths (or shifts) `first` to `last`; `number` is beside it."""

    x: float
    first: float
    last: float
    number: str = ""

    @property
    def length(self) -> float:
        """From the wall in, mm: every fifth is longer, and what is numbered."""
        return LONG if self.number or self.first % 5 == 0 else SHORT


@dataclass(frozen=True)
class Row:
    """Lines along one wall: from y = `wall` they go `inwards`, +1 or -1 in y."""

    name: RowName
    wall: float
    inwards: int
    lines: tuple[Line, ...]

    def at(self, depth: float) -> float:
        """Y of what lies `depth` mm from the wall in."""
        return self.wall + self.inwards * depth

    @property
    def depth(self) -> float:
        """How far it reaches from the wall in, numbers included."""
        numbers = [letter(line.number, CAPS).bounds[2] for line in self.lines if line.number]
        return LONG + NUMBER_GAP + max(numbers, default=0.0)


@dataclass(frozen=True)
class Word:
    """Text about (x, y): `upright` runs along the ski, else across it, as the numbers do."""

    text: str
    x: float
    y: float
    upright: bool = True


@dataclass(frozen=True, eq=False)
class Ladder:
    """The tongue of one half: its `span` along the ski, ± `half` across, and what is on it.

    `root` is +1 where the body joins at the tongue's end towards the tip, else -1.  `slot` is
    the box (x0, y0, x1, y1) of the slot.
    """

    span: tuple[float, float]
    half: float
    root: int
    rows: tuple[Row, ...]
    shift: Row
    slot: tuple[float, float, float, float]
    words: tuple[Word, ...]

    @property
    def joins(self) -> float:
        """X where the body begins."""
        return self.span[1] if self.root > 0 else self.span[0]

    @property
    def plan(self) -> Polygon:
        """The tongue seen from above, gussets included, slot left out."""
        x0, x1 = self.span
        end = x0 if self.root > 0 else x1
        tongue = box(x0, -self.half, x1, self.half)
        off, on = [], []
        for y, way in ((self.half, 1), (-self.half, -1)):
            inward = end + self.root * CHAMFER
            off.append(Polygon([(end, y), (inward, y), (end, y - way * CHAMFER)]))
            foot, back = self.joins - self.root * GUSSET, self.joins + self.root
            on.append(
                Polygon(
                    [(foot, y), (self.joins, y + way * GUSSET), (back, y + way * GUSSET), (back, y)]
                )
            )
        whole = shapely.union_all([tongue.difference(shapely.union_all(off)), *on])
        return whole.difference(_octagon(self.slot))


def boot_lines(motion: Motion) -> tuple[Line, ...]:
    """A line for each place of the groups, the boots that share it together; by rising boot.

    Where the groups have moved by t, the mark lies at x = -t of a half drawn for the longest boot.
    """
    lines: list[Line] = []
    for boot, travel in zip(motion.boots.tolist(), motion.travel.tolist(), strict=True):
        if lines and abs(lines[-1].x + travel) <= SAME:
            lines[-1] = Line(lines[-1].x, lines[-1].first, boot)
        else:
            lines.append(Line(round(-travel, 9) + 0.0, boot, boot))  # 20, not 19.999…96
    return tuple(lines)


def boot_rows(motion: Motion, half: float = 0.0) -> tuple[Row, ...]:
    """The rows of lines for the boots of `motion` on a tongue ± `half`, with their numbers.

    Lines for bands of boots stand on the right edge, single ones on both, by odd and even.
    """
    lines = boot_lines(motion)
    if any(line.last > line.first for line in lines):
        numbered = tuple(Line(line.x, line.first, line.last, _band(line)) for line in lines)
        return (Row("bands", -half, 1, numbered),)
    dealt: tuple[tuple[RowName, float, int, tuple[Line, ...]], ...] = (
        ("odd", half, -1, tuple(line for line in lines if line.first % 2)),
        ("even", -half, 1, tuple(line for line in lines if not line.first % 2)),
    )
    return tuple(
        Row(name, wall, inwards, tuple(_numbered(mine)))
        for name, wall, inwards, mine in dealt
        if mine
    )


def ladder_for(motion: Motion, half_width: float, root: int) -> Ladder:
    """The ladder for the boots of `motion` on a body ± `half_width`.

    Raises InputError: ``design.ladder-close`` where lines would overlap,
    ``design.narrow`` where there is no room for it across the body.
    """
    half = half_width - WINDOW
    rows = boot_rows(motion, half)
    for row in rows:
        _refuse_close(row, motion)
    span = _span([line.x for row in rows for line in row.lines], root)
    middle = (span[0] + span[1]) / 2
    shift = Row(
        "shift",
        0.0,
        1,
        tuple(
            Line(middle + s, s, s, f"{abs(s)}" if s % 10 == 0 else "")
            for s in range(-SHIFTS, SHIFTS + 1)
        ),
    )
    return _packed(span, half, root, rows, shift)


def _band(line: Line) -> str:
    return f"{line.first:g}" if line.first == line.last else f"{line.first:g}-{line.last:g}"


def _numbered(lines: tuple[Line, ...]) -> Iterator[Line]:
    """Every fifth millimetre of boot has its number, and the first of a run that has none."""
    for run in _runs(lines):
        bare = not any(line.first % 5 == 0 for line in run)
        for index, line in enumerate(run):
            shown = line.first % 5 == 0 or (bare and index == 0)
            yield Line(line.x, line.first, line.last, f"{line.first:g}" if shown else "")


def _runs(lines: tuple[Line, ...]) -> list[list[Line]]:
    """The lines parted where a step of the pattern lies between two of them."""
    gaps = np.abs(np.diff([line.x for line in lines]))
    stepped = np.abs(gaps - np.median(gaps)) > SAME if gaps.size else gaps
    runs = [[lines[0]]]
    for line, apart in zip(lines[1:], stepped, strict=True):
        if apart:
            runs.append([])
        runs[-1].append(line)
    return runs


def _refuse_close(row: Row, motion: Motion) -> None:
    """Raise InputError where two lines are too close, or their numbers out of order."""
    along = sorted(row.lines, key=lambda line: line.x)
    gaps = np.diff([line.x for line in along])
    least = [BAND_PITCH if one.number and other.number else PITCH for one, other in pairwise(along)]
    orders = np.diff([line.first for line in along])
    close = bool((gaps < np.array(least) - 1e-6).any())
    if close or not (row.name == "bands" or (orders > 0).all() or (orders < 0).all()):
        raise InputError(
            Finding(
                "design.ladder-close",
                f"the lines for {', '.join(motion.groups)} would overlap: a step of "
                "the pattern brings two boot lengths to nearly one place",
                key="boot",
                hint="Choose boots on one side of that step.",
            )
        )


def _span(xs: list[float], root: int) -> tuple[float, float]:
    """From the tongue's end to the body, long enough for the ladder of shifts."""
    if root > 0:
        start = min(xs) - END
        return start, max(max(xs) + ROOT, start + LEAST_TONGUE)
    stop = max(xs) + END
    return min(min(xs) - ROOT, stop - LEAST_TONGUE), stop


def _packed(
    span: tuple[float, float], half: float, root: int, rows: tuple[Row, ...], shift: Row
) -> Ladder:
    """Everything side by side on the tongue, from left to right, with equal gaps."""
    by_side = {row.inwards: row for row in rows}
    left, right = by_side.get(-1), by_side.get(1)
    beside = {
        "left words": WORD_CAPS if left else 0.0,
        "shift": shift.depth,
        "slot": SLOT,
        "right words": WORD_CAPS if right else 0.0,
    }
    present = {name: wide for name, wide in beside.items() if wide}
    free = 2 * half - sum(present.values()) - sum(row.depth for row in rows)
    gap = free / (len(present) + 1)
    if gap < LEAST_GAP:
        raise _narrow((LEAST_GAP - gap) * (len(present) + 1))
    places: dict[str, tuple[float, float]] = {}
    top = half - (left.depth if left else 0.0)
    for name, wide in present.items():
        places[name] = (top - gap - wide, top - gap)
        top -= gap + wide
    middle, reach = (span[0] + span[1]) / 2, SHIFTS + SLOT_END
    foot, head = places["slot"]
    slot = (middle - reach, foot, middle + reach, head)
    words = [
        Word(
            _fitting(ROW_WORDS[row.name], span[1] - span[0] - 2 * END), middle, sum(places[at]) / 2
        )
        for at, row in (("left words", left), ("right words", right))
        if row
    ]
    beyond = (reach + (span[1] - span[0]) / 2) / 2  # halfway from the slot to the tongue's end
    across = (foot + places["shift"][1]) / 2
    words += [
        Word(text, middle + way * beyond, across, upright=False)
        for text, way in (("TIP SHIFT", 1), ("TAIL SHIFT", -1))
    ]
    # The slot's left wall is where the shifts' lines begin.
    from_slot = Row("shift", head, shift.inwards, shift.lines)
    return Ladder(span, half, root, rows, from_slot, slot, tuple(words))


def _narrow(lacking: float) -> InputError:
    return InputError(
        Finding(
            "design.narrow",
            f"the body is too narrow for a boot-length ladder, by {lacking:.1f} mm; it must fit "
            "between the rails on the narrowest ski",
            key="ski",
            hint="A wider narrowest ski gives room; narrower ones take a jig for one boot length.",
        )
    )


def _fitting(texts: tuple[str, ...], room: float) -> str:
    """The first of `texts` that is no longer than `room`, else the last."""
    return next((t for t in texts if letter(t, WORD_CAPS).bounds[2] <= room), texts[-1])


def engrave_ladder(ladder: Ladder, part: str, body: float) -> Iterator[Engraving]:
    """Everything engraved on the tongue of `part`, a body `body` mm thick."""
    for row in (*ladder.rows, ladder.shift):
        name = f"{row.name} ladder"
        comb = _comb(row, [(line.x, line.length) for line in row.lines])
        yield Engraving(name, part, regions_of(comb))
        # Down the wall to the ski: whoever sees such a groove's wall does not look straight down.
        grooves = _comb(row, [(line.x, DEPTH) for line in row.lines if line.number])
        yield Engraving(f"{name} down the wall", part, regions_of(grooves), depth=body + 1.0)
        yield Engraving(f"{name} numbers", part, regions_of(_numbers(row)))
    for word in ladder.words:
        shape = (letter if word.upright else upright)(word.text, WORD_CAPS)
        x0, y0, x1, y1 = shape.bounds
        placed = shapely.affinity.translate(shape, word.x - (x0 + x1) / 2, word.y - (y0 + y1) / 2)
        yield Engraving(word.text, part, regions_of(placed))


def _comb(row: Row, lines: Iterable[tuple[float, float]]) -> shapely.Geometry:
    """Lines (x, length) from the wall in, joined by a bar in the air before it: one cut."""
    teeth = list(lines)
    bars = [_box(x, DIVISION, row.at(-0.4), row.at(length)) for x, length in teeth]
    first, last = min(x for x, _ in teeth), max(x for x, _ in teeth)
    spine = _box((first + last) / 2, last - first + DIVISION, row.at(-1.0), row.at(-0.3))
    return shapely.union_all([spine, *bars])


def _box(x: float, width: float, y0: float, y1: float) -> Polygon:
    return box(x - width / 2, min(y0, y1), x + width / 2, max(y0, y1))


def _numbers(row: Row) -> shapely.Geometry:
    """The numbers beside their lines, read from the tail."""
    near = row.at(LONG + NUMBER_GAP)
    shapes = []
    for line in row.lines:
        if line.number:
            turned = upright(line.number, CAPS)
            x0, y0, x1, y1 = turned.bounds
            y = near - y0 if row.inwards > 0 else near - y1
            shapes.append(shapely.affinity.translate(turned, line.x - (x0 + x1) / 2, y))
    return shapely.union_all(shapes)


def _octagon(bounds: tuple[float, float, float, float]) -> Polygon:
    """A box with its corners taken off."""
    x0, y0, x1, y1 = bounds
    c = CHAMFER
    return Polygon(
        [
            *((x0 + c, y0), (x1 - c, y0), (x1, y0 + c), (x1, y1 - c)),
            *((x1 - c, y1), (x0 + c, y1), (x0, y1 - c), (x0, y0 + c)),
        ]
    )
