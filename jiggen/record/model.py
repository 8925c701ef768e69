"""The records of jigs, trial plates and gauges, and the ladders of jigs for many boots.

Lengths are mm, in the ski frame: x from the mounting mark towards the tip, y to the left, z up.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from jiggen.files import mark_of
from jiggen.marks import FORM
from jiggen.outcome import Length, Name, Printing, Verification, Word
from jiggen.record import entries
from jiggen.record.bodies import BodyShape, Fastener
from jiggen.record.entries import Rounded
from jiggen.record.ladders import BootSetting, Ladder, read_ladder
from jiggen.record.results import Accuracy, Drilling, Entry, HoldDown, Inside, Plastic

SAME = 1e-6  # mm: the record and its verification both round to this


class BootLayout(Entry):
    """Where the layout of a boot length puts each hole along the ski; by hole id."""

    boot: Length
    x: dict[Name, Rounded]


class Record(Entry):
    """What every built folder's manifest.json says, whatever was built.

    `jig_mark` is engraved on its bodies; empty in one of an older jiggen, whose bodies bear none.
    """

    manifest: Literal[2] = 2
    kind: str
    jig_mark: Annotated[str, Field(pattern=f"{FORM}|^$")] = ""
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
        """What the files that belong to it bear: a SHA-256, where the print has the jig mark."""
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
