"""The boot-length ladder of a half that serves many boots: lines to lay on the ski's mark.

A half ends in a tongue that lies over the mounting mark, which shows on both sides of it.  Laid
with the line of a boot length on the mark, the half sits right for that length.  Groups move half
as far as the boot grows, so whole lengths would stand 0.5 mm apart, too close to print: odd ones
go to the tongue's left edge and even ones to its right: where a line of one is on the mark, this is
midway between two of the other, so that it is read on both sides.  A slot in the tongue has a
second ladder, of mount shifts: its 0 is laid on the mark, a new mark is drawn at the shift, and
that one used.

A line is read where it meets the ski, or an eye that is not straight above it is off by 14 mm of
body times the slope.  So each wall has a flare at its foot, printed top down without support, and
every line runs down that as a groove to its lower edge.  On the top there are long lines, with
their numbers, and half-long ones: all of them would leave lands of one thread in the first layer.
These are a second witness: from one number to the next no two lines look the same, so that a wrong
one shows by what is beside it.

Frame: the ski's, with the half as it lies for the longest boot.  All numbers are mm.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from jiggen import wording
from jiggen.design.engraving import DEPTH, Engraving, engraving_of
from jiggen.design.lettering import Drawn, letter, rule, together, upright, write
from jiggen.errors import InputError
from jiggen.layout import SAME, Motion
from jiggen.record.ladders import LadderLine, LadderRow, LineLength, RowName, length_of

PITCH = 1.0  # mm, least between two lines of one edge
LONG, HALF = 4.2, 1.8  # mm, a line on the top, from the wall in, and a half-long one
OVER: dict[LineLength, float] = {"long": LONG, "half-long": HALF, "short": 0.0}
GROOVE, GROOVE_DEPTH = 0.6, 0.4  # mm, a line on a flare: wide at its mouth, sharp at its bottom
AIR = 0.4  # mm before a wall, from where its lines are cut
BELOW = 0.2  # mm below the bend, where a wall's grooves end and a flare's begin
REACH, RIM = 3.0, 0.4  # mm: a flare's, at 45°; and upright at its foot, two layers
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
SIGHT = 3.5  # mm from the wall: where long lines are crossed


@dataclass(frozen=True)
class Row:
    """Where lines are cut along one wall: from y = `wall` they go `inwards`, +1 or -1 in y."""

    name: RowName
    wall: float
    inwards: int
    lines: tuple[LadderLine, ...]

    def at(self, depth: float) -> float:
        """Y of what lies `depth` mm from the wall in."""
        return self.wall + self.inwards * depth

    @property
    def depth(self) -> float:
        """How far it reaches from the wall in, numbers included."""
        numbers = [letter(line.number, CAPS).bounds[2] for line in self.lines if line.number]
        return LONG + NUMBER_GAP + max(numbers, default=0.0)

    def entry(self, floor: float, end: float) -> LadderRow:
        """What the record says of it: engraved down to `floor`, its lines end at `end`, heights."""
        low, high = sorted(self.at(d + NUMBER_GAP / 2) for d in (LONG, self.depth))
        return LadderRow(
            name=self.name,
            floor=floor,
            y=self.at(SIGHT),
            numbers=(low, high),
            foot=self.at(-REACH),
            end=end,
            lines=self.lines,
        )


@dataclass(frozen=True)
class Flare:
    """The foot of a wall, and the grooves at `lines` (x) in it.

    It goes out by REACH from y = `wall`, towards y + or - as `outwards` is +1 or -1, over the x of
    `span`, from the height `bend` at 45° down to its rim, which is upright and ends at `end`.
    """

    wall: float
    outwards: int
    span: tuple[float, float]
    bend: float
    end: float
    lines: tuple[float, ...]

    @property
    def plan(self) -> Polygon:
        """It seen from above, and 1 mm of what it stands out from."""
        low, high = sorted((self.wall - self.outwards, self.wall + self.outwards * REACH))
        return box(self.span[0], low, self.span[1], high)

    @property
    def corners(self) -> NDArray[np.float64]:
        """Its corners seen from above, (4, 2)."""
        return np.asarray(self.plan.exterior.coords)[:-1]

    @property
    def teeth(self) -> Polygon:
        """The grooves seen from above where they begin at the wall, joined in the air before it."""
        slope = GROOVE / 2 / GROOVE_DEPTH
        out, wide = self.wall + self.outwards * AIR, slope * (GROOVE_DEPTH + AIR)
        tip = self.wall - self.outwards * GROOVE_DEPTH
        low, high = sorted((out - self.outwards * 0.1, out + self.outwards * 0.5))
        cuts = [Polygon([(x - wide, out), (x, tip), (x + wide, out)]) for x in self.lines]
        bar = box(min(self.lines) - wide, low, max(self.lines) + wide, high)
        whole = shapely.union_all([bar, *cuts])
        assert isinstance(whole, Polygon)
        return whole


@dataclass(frozen=True, eq=False)
class Tongue:
    """What carries a half's ladder: its `span` along the ski, ± `half` across, and what is on it.

    `root` is +1 where the body joins at the tongue's end towards the tip, else -1.  `slot` is
    the box (x0, y0, x1, y1) of the slot.
    """

    span: tuple[float, float]
    half: float
    root: int
    rows: tuple[Row, ...]
    shift: Row
    slot: tuple[float, float, float, float]
    words: tuple[tuple[str, Drawn], ...]

    @property
    def joins(self) -> float:
        """X where the body begins."""
        return self.span[1] if self.root > 0 else self.span[0]

    @property
    def spare(self) -> float:
        """How far it may be `moved`: with few boots, its ladder of shifts makes it longer."""
        xs = [line.x for row in self.rows for line in row.lines]
        tail, tip = self.span
        return tip - max(xs) - ROOT if self.root > 0 else min(xs) - ROOT - tail

    def moved(self, away: float) -> "Tongue":
        """The same lines for boots on a tongue that lies `away` mm further from the holes."""
        by = -self.root * away
        x0, y0, x1, y1 = self.slot
        lines = (line.model_copy(update={"x": line.x + by}) for line in self.shift.lines)
        return replace(
            self,
            span=(self.span[0] + by, self.span[1] + by),
            shift=replace(self.shift, lines=tuple(lines)),
            slot=(x0 + by, y0, x1 + by, y1),
            words=tuple((text, word.moved(by, 0.0)) for text, word in self.words),
        )

    @property
    def plan(self) -> Polygon:
        """The tongue seen from above, gussets included, slot and flares left out."""
        end, h, wide = self.span[self.root < 0], self.half, self.half + GUSSET
        inward, foot = end + self.root * CHAMFER, self.joins - self.root * GUSSET
        left = [(end, h - CHAMFER), (inward, h), (foot, h), (self.joins, wide)]
        left.append((self.joins + self.root, wide))
        whole = Polygon([*left, *((x, -y) for x, y in reversed(left))])
        (x0, y0, x1, y1), c = self.slot, CHAMFER
        tip = [(x1 - c, y0), (x1, y0 + c), (x1, y1 - c), (x1 - c, y1)]
        tail = [(x0 + c, y1), (x0, y1 - c), (x0, y0 + c), (x0 + c, y0)]
        return whole.difference(Polygon([*tip, *tail]))

    def flares(self, relief: float) -> tuple[Flare, ...]:
        """The flare of each row, down to the height `relief` over the ski."""
        end, into = self.span[self.root < 0], self.joins + self.root
        edge = sorted((end + self.root * CHAMFER, into))
        x0, _, x1, _ = self.slot
        return tuple(
            Flare(
                wall=row.wall,
                outwards=-row.inwards,
                span=(x0 - 1.0, x1 + 1.0) if row is self.shift else (edge[0], edge[1]),
                bend=relief + RIM + REACH,
                end=relief,
                lines=tuple(line.x for line in row.lines),
            )
            for row in (*self.rows, self.shift)
        )


def boot_rows(motion: Motion) -> dict[RowName, tuple[LadderLine, ...]]:
    """The lines for boots by row, with their numbers: by odd and even, or bands in both.

    Boots that share a place of the groups share a line.  Where the groups have moved by t, the mark
    lies at x = -t of a half drawn for the longest boot.
    """
    lines: list[LadderLine] = []
    for boot, travel in zip(motion.boots.tolist(), motion.travel.tolist(), strict=True):
        if lines and abs(lines[-1].x + travel) <= SAME:
            lines[-1] = lines[-1].model_copy(update={"last": boot})
        else:
            lines.append(LadderLine(x=-travel, first=boot, last=boot))
    if any(line.last > line.first for line in lines):
        ends = (dict.fromkeys((line.first, line.last)) for line in lines)
        bands = ["-".join(f"{boot:g}" for boot in each) for each in ends]
        return {"bands": _with_numbers(lines, bands), "bands-left": tuple(lines)}
    return {
        "odd": _numbered([line for line in lines if line.first % 2]),
        "even": _numbered([line for line in lines if not line.first % 2]),
    }


def _with_numbers(lines: Iterable[LadderLine], numbers: Iterable[str]) -> tuple[LadderLine, ...]:
    both = zip(lines, numbers, strict=True)
    return tuple(line.model_copy(update={"number": number}) for line, number in both)


def _numbered(lines: list[LadderLine]) -> tuple[LadderLine, ...]:
    """Every fifth millimetre of boot has its number, and the first of a run that has none.

    Runs are parted where a step of the pattern lies between two lines.
    """
    # Between steps groups move by half of what the boot is longer.
    moved, longer = (
        np.diff(values) for values in zip(*((n.x, n.first) for n in lines), strict=True)
    )
    steps = np.flatnonzero(np.abs(np.abs(moved) - longer / 2) > SAME)
    shown: set[int] = set()
    for run in np.split(np.arange(len(lines)), steps + 1):
        shown |= {i for i in run if lines[i].first % 5 == 0} or {run[0]}
    numbers = (f"{line.first:g}" if i in shown else "" for i, line in enumerate(lines))
    return _with_numbers(lines, numbers)


def tongue_for(motion: Motion, half_width: float, holes: Sequence[float]) -> Tongue:
    """The tongue with the ladder for the boots of `motion`, of a body ± `half_width`.

    Raises InputError ``design.ladder-side`` where `holes` (x) lie among the lines, and
    ``design.ladder-close`` and ``design.narrow`` where these have no room.
    """
    half = half_width - WINDOW
    rows = tuple(
        Row(name, half, -1, lines) if name in ("odd", "bands-left") else Row(name, -half, 1, lines)
        for name, lines in sorted(boot_rows(motion).items(), reverse=True)
    )
    xs = [line.x for row in rows for line in row.lines]
    root = int(min(holes) > max(xs)) - int(max(holes) < min(xs))
    if not root:
        raise InputError.of(
            "design.ladder-side",
            f"the holes of {', '.join(motion.groups)} lie where the ladder of boot lengths must "
            "be, about the mounting mark",
            key="boot",
            hint="Build a jig for one boot length, or for fewer.",
        )
    for row in rows:
        along = sorted(row.lines, key=lambda line: line.x)
        gaps = np.diff([line.x for line in along])
        least = [BAND_PITCH if a.number and b.number else PITCH for a, b in pairwise(along)]
        orders = np.diff([line.first for line in along])
        ordered = row.name not in ("odd", "even") or (orders > 0).all() or (orders < 0).all()
        if not ordered or (gaps < np.array(least) - 1e-6).any():
            raise InputError.of(
                "design.ladder-close",
                f"the lines for {', '.join(motion.groups)} would overlap: a step of "
                "the pattern brings two boot lengths to nearly one place",
                key="boot",
                hint="Choose boots on one side of that step.",
            )
    # From the tongue's end to the body, long enough for the ladder of shifts.
    if root > 0:
        start = min(xs) - END
        stop = max(max(xs) + ROOT, start + LEAST_TONGUE)
    else:
        stop = max(xs) + END
        start = min(min(xs) - ROOT, stop - LEAST_TONGUE)
    middle = (start + stop) / 2
    shifts = tuple(
        LadderLine(x=middle + s, first=s, last=s, number="" if s % 10 else f"{abs(s)}")
        for s in range(-SHIFTS, SHIFTS + 1)
    )
    return _packed((start, stop), half, root, rows, Row("shift", 0.0, 1, shifts))


def _packed(
    span: tuple[float, float], half: float, root: int, rows: tuple[Row, ...], shift: Row
) -> Tongue:
    """Everything side by side on the tongue, from left to right, with equal gaps."""
    *left, right = rows
    wide: dict[str, float] = {row.name: WORD_CAPS for row in left if wording.ROW_WORDS[row.name]}
    wide |= {"shift": shift.depth, "slot": SLOT, right.name: WORD_CAPS}
    free = 2 * half - sum(wide.values()) - sum(row.depth for row in rows)
    gap = free / (len(wide) + 1)
    if gap < LEAST_GAP:
        lacking = (LEAST_GAP - gap) * (len(wide) + 1)
        raise InputError.of(
            "design.narrow",
            f"the body is too narrow for a boot-length ladder, by {lacking:.1f} mm; it must fit "
            "between the rails on the narrowest ski",
            key="ski",
            hint="A wider narrowest ski gives room; narrower ones take a jig for one boot length.",
        )
    places: dict[str, tuple[float, float]] = {}
    top = half - sum(row.depth for row in left)
    for name, across in wide.items():
        places[name] = (top - gap - across, top - gap)
        top -= gap + across
    middle, reach = (span[0] + span[1]) / 2, SHIFTS + SLOT_END
    foot, head = places["slot"]
    room = span[1] - span[0] - 2 * END
    words = []
    for row in (row for row in rows if wording.ROW_WORDS[row.name]):
        texts = wording.ROW_WORDS[row.name]
        text = next((t for t in texts if letter(t, WORD_CAPS).bounds[2] <= room), texts[-1])
        across = sum(places[row.name]) / 2
        words.append((text, write(text, WORD_CAPS).centred(middle, across)))
    beyond = (reach + (span[1] - span[0]) / 2) / 2  # halfway from the slot to the tongue's end
    across = (foot + places["shift"][1]) / 2
    ends = ((wording.TIP_SHIFT, middle + beyond), (wording.TAIL_SHIFT, middle - beyond))
    for text, x in ends:
        words.append((text, upright(text, WORD_CAPS).centred(x, across)))
    slot = (middle - reach, foot, middle + reach, head)
    # The slot's left wall is where the shifts' lines begin.
    return Tongue(span, half, root, rows, replace(shift, wall=head), slot, tuple(words))


def engrave_tongue(tongue: Tongue, body: float, relief: float) -> Iterator[Engraving]:
    """Everything engraved on the tongue of a body `body` mm thick, but for the flares' grooves."""
    bend = relief + RIM + REACH
    for row in (*tongue.rows, tongue.shift):
        name = f"{row.name} ladder"
        over = [(line.x, OVER[length_of(row.name, line)]) for line in row.lines]
        top = [(x, length) for x, length in over if length]
        yield engraving_of(name, rule(_bar(row, x, length) for x, length in top))
        # Down the wall to the flare: whoever sees such a groove's side does not look straight down.
        walls = rule(_bar(row, x, DEPTH) for x, _ in top)
        yield engraving_of(f"{name} down the wall", walls, body - bend + BELOW)
        near, numbers = row.at(LONG + NUMBER_GAP), []
        for line in row.lines:
            if line.number:
                number = upright(line.number, CAPS)  # read from the tail
                x0, y0, x1, y1 = number.bounds
                y = near - y0 if row.inwards > 0 else near - y1
                numbers.append(number.moved(line.x - (x0 + x1) / 2, y))
        yield engraving_of(f"{name} numbers", together(numbers))
    for text, drawn in tongue.words:
        yield engraving_of(text, drawn)


def _bar(row: Row, x: float, length: float) -> Polygon:
    """A line at `x`, from the air before the wall `length` in."""
    low, high = sorted((row.at(-AIR), row.at(length)))
    return box(x - GROOVE / 2, low, x + GROOVE / 2, high)
