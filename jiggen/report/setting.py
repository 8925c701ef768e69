"""How the halves of a jig for many boots are set, read from its manifest: a line for each boot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat

Name = Annotated[str, Field(min_length=1, max_length=200)]
EDGES = {"odd": "left", "even": "right", "bands": "right"}


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


class Line(_Entry):
    """An engraved line at `x` mm for boots `first` to `last`, and the number beside it or none."""

    x: FiniteFloat
    first: FiniteFloat
    last: FiniteFloat
    number: Annotated[str, Field(max_length=20)] = ""


class Row(_Entry):
    """Lines along one edge of a half's tongue, or of its slot."""

    name: Literal["odd", "even", "bands", "shift"]
    lines: Annotated[tuple[Line, ...], Field(min_length=1)]


class Ladder(_Entry):
    """The ladders of one half, and the groups of holes that it drills."""

    part: Name
    groups: tuple[Name, ...] = ()
    rows: tuple[Row, ...]

    @property
    def half(self) -> str:
        """The half's name: toe, heel …."""
        return self.part.removeprefix("body-")

    @property
    def banded(self) -> bool:
        """Whether its lines are for bands of boots that share one place."""
        return any(row.name == "bands" for row in self.rows)


class BootLayout(_Entry):
    """Where the layout of a boot length puts each hole along the ski, mm; by hole id."""

    boot: FiniteFloat
    x: dict[Name, FiniteFloat]


class Ladders(_Entry):
    """Everything that sets a jig for many boots; empty of one for a single boot."""

    ladders: tuple[Ladder, ...] = ()
    boots: tuple[BootLayout, ...] = ()


@dataclass(frozen=True)
class Reading:
    """Which line of a half to lay on the mark: at the `edge`, `lines` on from a `number`.

    Above zero they count towards longer boots.
    """

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


@dataclass(frozen=True)
class Setting:
    """One boot length: a reading for each half, and how far each half's first hole is, mm."""

    boot: float
    readings: Mapping[str, Reading]
    first_holes: Mapping[str, float]


def settings_by_boot(ladders: Ladders, first_holes: Mapping[str, str]) -> tuple[Setting, ...]:
    """A setting for each boot length.  `first_holes` is, by part, the hole to measure to."""
    return tuple(
        Setting(
            entry.boot,
            {ladder.half: reading(ladder, entry.boot) for ladder in ladders.ladders},
            {
                ladder.half: entry.x[first_holes[ladder.part]]
                for ladder in ladders.ladders
                if ladder.part in first_holes
            },
        )
        for entry in ladders.boots
    )


def first_holes_of(guides: Mapping[str, str]) -> dict[str, str]:
    """By part, the first of its holes; `guides` is the part by hole id, in the layout's order."""
    found: dict[str, str] = {}
    for hole, part in guides.items():
        found.setdefault(part, hole)
    return found


def read_ladders(manifest: Mapping[str, Any]) -> Ladders:
    """What a manifest says of its ladders.  Raises pydantic's ValidationError for nonsense."""
    return Ladders.model_validate(
        {key: manifest[key] for key in ("ladders", "boots") if key in manifest}
    )


def reading(ladder: Ladder, boot: float) -> Reading:
    """The line for `boot` in mm, told from the numbered line that is nearest.

    So no step of the pattern lies between the two.

    Raises ValueError for a boot that no line is for.
    """
    for row in ladder.rows:
        if row.name == "shift":
            continue
        lines = sorted(row.lines, key=lambda line: line.first)
        at = next((i for i, line in enumerate(lines) if line.first <= boot <= line.last), None)
        if at is not None:
            numbered = [i for i, line in enumerate(lines) if line.number]
            nearest = min(numbered, key=lambda i: (abs(lines[at].x - lines[i].x), i))
            return Reading(EDGES[row.name], lines[nearest].number, at - nearest)
    raise ValueError(f"no line of {ladder.part} is for a boot of {boot:g} mm")
