"""The records of jigs, trial plates and gauges, and the ladders of jigs for many boots.

Lengths are mm, in the ski frame: x from the mounting mark towards the tip, y to the left, z up.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from jiggen.files import mark_of
from jiggen.outcome import Length, Name, Printing, Verification, Word
from jiggen.record import entries
from jiggen.record.bodies import BodyShape, Fastener
from jiggen.record.entries import Rounded
from jiggen.record.results import Accuracy, Drilling, Entry, HoldDown, Inside, Plastic

SAME = 1e-6  # mm: the record and its verification both round to this
EDGES = {"odd": "left", "even": "right", "bands": "right"}

RowName = Literal["odd", "even", "bands", "bands-left", "shift"]


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


class BootLayout(Entry):
    """Where the layout of a boot length puts each hole along the ski; by hole id."""

    boot: Length
    x: dict[Name, Rounded]


@dataclass(frozen=True)
class Reading:
    """The line of a half to lay on the mark: `lines` on from a `number`, towards longer boots."""

    edge: str
    number: str
    lines: int

    @property
    def line(self) -> str:
        """The number, and how many lines on from it."""
        on = f" {'+' if self.lines > 0 else '−'} {abs(self.lines)}" if self.lines else ""
        return f"{self.number}{on}"

    def __str__(self) -> str:
        return f"{self.edge} {self.line}"


def read_ladder(rows: Mapping[RowName, tuple[LadderLine, ...]], boot: float) -> Reading:
    """The line for `boot` in mm, counted from the nearest numbered one.

    So no step of the pattern lies between the two.  Raises ValueError where no line is for it.
    """
    for name, row in rows.items():
        lines = sorted(row, key=lambda line: line.first)
        at = next((i for i, line in enumerate(lines) if line.first <= boot <= line.last), None)
        numbered = [i for i, line in enumerate(lines) if line.number]
        if at is not None and numbered:
            nearest = min(numbered, key=lambda i: (abs(lines[at].x - lines[i].x), i))
            return Reading(EDGES[name], lines[nearest].number, at - nearest)
    raise ValueError(f"no line is for a boot of {boot:g} mm")


@dataclass(frozen=True)
class BootSetting:
    """One boot length: a reading for each half, and how far each half's first hole is, mm."""

    boot: float
    readings: Mapping[str, Reading]
    first_holes: Mapping[str, float]


class Record(Entry):
    """What every built folder's manifest.json says, whatever was built."""

    manifest: Literal[2] = 2
    kind: str
    versions: dict[Name, Word]
    asked: entries.Asked | None = None
    holes: Annotated[tuple[entries.Hole, ...], Field(min_length=1)]
    guides: tuple[entries.Guide, ...]
    openings: tuple[entries.Opening, ...] = ()
    pegs: tuple[entries.Peg, ...] = ()
    bodies: tuple[BodyShape, ...] = ()
    engraved: tuple[entries.Engraved, ...] = ()
    parts: Annotated[tuple[entries.Part, ...], Field(min_length=1)]
    beds: tuple[entries.PrintBed, ...]
    compensation: entries.Compensated | None = None
    verification: Verification | None = None
    printing: Printing | None = None
    files: dict[Inside, entries.FileEntry] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _holes_agree(self) -> Self:
        ids = [hole.id for hole in self.holes]
        if len(set(ids)) < len(ids):
            raise ValueError("a hole is there twice")
        if sorted(ids) != sorted(guide.id for guide in self.guides):
            raise ValueError("guides and holes do not agree")
        return self

    def values(self) -> dict[str, Any]:
        """The record as plain values, as its JSON has them."""
        return self.model_dump(mode="json")

    @property
    def mark(self) -> str:
        """What the files that belong to it bear."""
        return mark_of(self.values())

    def holes_of(self, part: str) -> tuple[entries.Hole, ...]:
        """The holes that a part guides the drill at, in the order of its guides."""
        by_id = {hole.id: hole for hole in self.holes}
        return tuple(by_id[guide.id] for guide in self.guides if guide.part == part)

    @property
    def passed(self) -> bool:
        """Whether the folder was verified and passed."""
        return self.verification is not None and self.verification.passed


class JigRecord(Record):
    """The record of a jig; `key` tells a later run whether it is the jig it wants.

    `shown` says, by placed piece, how far it is moved along the ski in pictures, mm.
    """

    kind: Literal["jig"] = "jig"
    inputs: entries.JigInputs
    joint: entries.Joint | None
    stations: tuple[entries.Station, ...]
    index_lines: tuple[entries.IndexLine, ...] = ()
    sideways: entries.Sideways
    print_check: tuple[entries.PrintLength, ...] = ()
    clamps: tuple[entries.ClampMark, ...] = ()
    hardware: tuple[entries.Bought, ...]
    fasteners: tuple[Fastener, ...] = ()
    accuracy: Accuracy
    drilling: Drilling
    plastic: Plastic
    hold: HoldDown
    ladders: tuple[Ladder, ...] = ()
    boots: tuple[BootLayout, ...] = ()
    shown: dict[Name, float] = Field(default_factory=dict)
    key: Word = ""

    @model_validator(mode="after")
    def _results_agree(self) -> Self:
        tops = {guide.id: guide.top_z for guide in self.guides}
        holes = {hole.id: (hole.diameter, hole.depth, tops[hole.id]) for hole in self.holes}
        stops = [(name, stop) for stop in self.drilling.stops for name in stop.holes]
        if sorted(name for name, _ in stops) != sorted(holes):
            raise ValueError("depth stops and holes do not agree")
        for name, stop in stops:
            apart = zip((stop.drill, stop.depth, stop.bush_top), holes[name], strict=True)
            if any(b is None or abs(a - b) > SAME for a, b in apart):
                raise ValueError(f"depth stops and holes do not agree about {name}")
            over = abs(stop.from_corners - stop.bush_top - stop.depth)
            if max(over, abs(stop.from_tip - stop.from_corners - stop.point)) > SAME:
                raise ValueError(f"the depth stop of {name} is not its depth over the bush's top")
        if any(set(entry.x) != set(holes) for entry in self.boots):
            raise ValueError("the layouts of the boots and the holes do not agree")
        if any(ladder.part not in self.first_holes for ladder in self.ladders):
            raise ValueError("a ladder on a part without holes")
        self.boot_settings  # noqa: B018 - raises where a boot has no line
        return self

    @property
    def boot_settings(self) -> tuple[BootSetting, ...]:
        """How the halves are set for each boot length; none of a jig without ladders."""
        first = self.first_holes
        return tuple(
            BootSetting(
                entry.boot,
                {each.half: read_ladder(each.boot_lines, entry.boot) for each in self.ladders},
                {ladder.half: entry.x[first[ladder.part]] for ladder in self.ladders},
            )
            for entry in (self.boots if self.ladders else ())
        )

    @property
    def unclamped(self) -> tuple[str, ...]:
        """The bodies with no place for a clamp's pad."""
        marked = {mark.part for mark in self.clamps}
        return tuple(part.name for part in self.parts if part.is_body and part.name not in marked)

    @property
    def first_holes(self) -> dict[str, str]:
        """By part, the id of the hole that a half's place is measured to."""
        part_of = {guide.id: guide.part for guide in self.guides}
        return {part_of[hole.id]: hole.id for hole in reversed(self.holes)}


class TrialRecord(Record):
    """The record of a trial plate; `left_out` names, by plate, what found no room."""

    kind: Literal["trial"] = "trial"
    inputs: entries.TrialInputs
    left_out: dict[Name, tuple[Word, ...]] = Field(default_factory=dict)


class FitSizes(Entry):
    """The allowances and clearances that a gauge tries out."""

    bush_fit: tuple[float, ...]
    slide: tuple[float, ...]


class GaugeRecord(Record):
    """The record of a gauge; `span` is how far apart its pegs are, in x and y."""

    kind: Literal["gauge"] = "gauge"
    inputs: entries.GaugeInputs
    span: tuple[Length, Length]
    fits: FitSizes
