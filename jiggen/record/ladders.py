"""The ladders of a jig for many boots, and which line of them is laid on the ski's mark.

Lengths are mm, in the ski frame: x from the mounting mark towards the tip, y to the left, z up.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from jiggen.outcome import Name
from jiggen.record.entries import Rounded
from jiggen.record.results import Entry
from jiggen.units import ordinal

EDGES = {"odd": "left", "even": "right", "bands": "right"}
OTHER: dict["RowName", "RowName"] = {"odd": "even", "even": "odd"}
ON = 0.2  # mm: a mark so near a line seems to lie on it; lines are 0.6 mm wide

RowName = Literal["odd", "even", "bands", "bands-left", "shift"]
LineLength = Literal["long", "half-long", "short"]


class LadderLine(Entry):
    """An engraved line at `x` for boots `first` to `last`, and the number beside it or none."""

    x: Rounded
    first: float
    last: float
    number: Annotated[str, Field(max_length=20)] = ""


class LadderRow(Entry):
    """Lines along one edge of a half's tongue, or of its slot.

    All of them end at y = `foot`, at the height `end` over the ski.  The long ones cross `y` at
    height `floor` too; their numbers stand between the two `numbers`, y's.
    """

    name: RowName
    floor: Rounded
    y: Rounded
    numbers: tuple[Rounded, Rounded]
    foot: Rounded
    end: Rounded
    lines: Annotated[tuple[LadderLine, ...], Field(min_length=1)]


class Ladder(Entry):
    """The ladders of one half, as it lies for the longest boot, and the groups that it drills."""

    part: Name
    half: Name
    groups: tuple[Name, ...]
    rows: Annotated[tuple[LadderRow, ...], Field(min_length=1)]

    @property
    def boot_rows(self) -> tuple[LadderRow, ...]:
        """The rows for boot lengths, without that for mount shifts."""
        return tuple(row for row in self.rows if row.name != "shift")

    @property
    def boot_lines(self) -> dict[RowName, tuple[LadderLine, ...]]:
        """The lines for boot lengths, by their row."""
        return {row.name: row.lines for row in self.boot_rows}

    @property
    def bands(self) -> tuple[str, ...]:
        """The engraved numbers of its bands of boots that share one place."""
        return tuple(line.number for line in self.boot_lines.get("bands", ()))


def length_of(row: RowName, line: LadderLine) -> LineLength:
    """How far a line of a row goes over the top, so that it is known by those beside it.

    Numbers and every fifth length are long.  Of lengths, those that end in 4 and 9 are half long:
    from one long line to the next, 10 mm of boot, no two short lines have the same beside them.
    """
    if line.number or not line.first % 5:
        return "long"
    return "half-long" if row in OTHER and line.first % 5 == 4 else "short"


@dataclass(frozen=True)
class Counted:
    """A line of a row: `steps` lines on from a `number`, `way` says to what."""

    number: str
    steps: int
    way: str

    def __str__(self) -> str:
        if not self.steps:
            return f"line {self.number}"
        return f"{ordinal(self.steps)} line from {self.number} {self.way}"


@dataclass(frozen=True)
class Reading:
    """The line of a half to lay on the mark, how it looks, and what is at the mark opposite."""

    edge: str
    line: Counted
    look: str
    other: str

    def __str__(self) -> str:
        return f"{self.edge}, {self.line}"


def read_ladder(rows: Mapping[RowName, tuple[LadderLine, ...]], boot: float) -> Reading:
    """The line for `boot` in mm, counted from the nearest numbered one.

    So no step of the pattern lies between the two.  Raises ValueError where no line is for it.
    """
    for name, row in rows.items():
        lines = sorted(row, key=lambda line: line.first)
        at = next((i for i, line in enumerate(lines) if line.first <= boot <= line.last), None)
        if at is not None and any(line.number for line in lines):
            other = rows.get(OTHER.get(name, "bands-left"), ())
            edge = "left" if EDGES[name] == "right" else "right"
            look, meets = _look(name, lines, at), _meets(edge, other, lines[at].x)
            return Reading(EDGES[name], _counted(lines, at), look, meets)
    raise ValueError(f"no line is for a boot of {boot:g} mm")


def _look(name: RowName, lines: Sequence[LadderLine], at: int) -> str:
    """How long one of the row's lines is, and a short one's neighbours, in words."""
    lengths = [length_of(name, line) for line in lines]
    beside = [lengths[i] for i in (at - 1, at + 1) if 0 <= i < len(lines)]
    if lengths[at] != "short" or not beside:
        return f"a {lengths[at]} line"
    start = "a short line between" if len(beside) == 2 else "the last line, short, beside"
    return f"{start} a {' and a '.join(beside)} one"


def _counted(lines: Sequence[LadderLine], at: int) -> Counted:
    """The place of one of `lines`, sorted by boots, from the nearest number."""
    numbered = [i for i, line in enumerate(lines) if line.number]
    near = min(numbered, key=lambda i: (abs(lines[at].x - lines[i].x), i))
    return Counted(lines[near].number, abs(at - near), _way(lines, near, at >= near))


def _way(lines: Sequence[LadderLine], near: int, longer: bool) -> str:
    """To what one counts on from the line `near`: to the next number, or which boots."""
    ahead = lines[near + 1 :] if longer else lines[:near][::-1]
    numbers = [f"to {line.number}" for line in ahead if line.number]
    return (*numbers, f"towards {'longer' if longer else 'shorter'} boots")[0]


def _meets(edge: str, row: Sequence[LadderLine], x: float) -> str:
    """What a mark at `x` meets on the `edge` of that row, in words; nothing of an edge without."""
    lines = sorted(row, key=lambda line: line.first)
    numbered = [i for i, line in enumerate(lines) if line.number]
    if not numbered:
        return f"{edge} edge, the line opposite" if lines else ""
    near = min(numbered, key=lambda i: (abs(lines[i].x - x), i))
    longer = (x - lines[near].x) * (lines[-1].x - lines[0].x) > 0
    # The lines that way which the mark is beyond, then the one that it is before.
    ahead = [line.x - x for line in (lines[near:] if longer else lines[: near + 1][::-1])]
    passed = sum(off * ahead[0] > 0 for off in ahead) if ahead[0] else 0
    steps, off = min(enumerate(ahead), key=lambda one: abs(one[1]))
    number, way = lines[near].number, _way(lines, near, longer)
    if abs(off) <= ON:
        return f"{edge} edge, {Counted(number, steps, way)}"
    last = f"line {number}" if passed == 1 else f"the {ordinal(passed - 1)} line from {number}"
    if passed == len(ahead):
        return f"{edge} edge, just past {last} {way}"
    evenly = abs(abs(ahead[passed - 1]) - abs(ahead[passed])) <= ON
    first = last if passed == 1 else f"the {ordinal(passed - 1)}"
    start = "" if passed == 1 else f" from {number}"
    between = "midway between" if evenly else "between"
    return f"{edge} edge, {between} {first} and the {ordinal(passed)} line{start} {way}"


def tell_lines(readings: Mapping[str, Reading | None]) -> tuple[str, str]:
    """The line of each half, by its name, None of one line; and what is at the mark opposite.

    Both in words, and once for all halves where they are alike.
    """
    lines = {
        half: f"{one.edge} edge, {one.line}" if one else "its one line"
        for half, one in readings.items()
    }
    others = {half: one.other for half, one in readings.items() if one and one.other}
    first, second = (
        f"each half: {next(iter(each.values()))}"
        if len(set(each.values())) == 1 < len(each) == len(readings)
        else " · ".join(f"{half} half: {words}" for half, words in each.items())
        for each in (lines, others)
    )
    return first, second


@dataclass(frozen=True)
class BootSetting:
    """One boot length: a reading for each half, and how far each half's first hole is, mm."""

    boot: float
    readings: Mapping[str, Reading]
    first_holes: Mapping[str, float]
