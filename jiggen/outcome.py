"""Common ground: what a verification found, as it is told, recorded and read again.

The verification makes these without a check; a record that is read is held to their types.
Lengths are mm, in the ski frame; a float that is not finite is null in JSON.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, PlainSerializer, TypeAdapter
from pydantic.json_schema import SkipJsonSchema


def _rounded(digits: int) -> PlainSerializer:
    """Numbers to so many digits, without a negative zero; None where not finite."""

    def serialize(value: float | None) -> float | None:
        if value is None or not math.isfinite(value):
            return None
        return round(float(value), digits) + 0.0

    return PlainSerializer(serialize, return_type=float | None)


Name = Annotated[str, Field(min_length=1, max_length=200)]
Word = Annotated[str, Field(max_length=200)]
Text = Annotated[str, Field(max_length=2000)]
Length = Annotated[float, Field(gt=0)]
Place = Annotated[float, PlainSerializer(lambda value: round(value, 6) + 0.0, return_type=float)]
Number = Annotated[float | None, _rounded(6)]
_Wild = Annotated[
    float,
    Field(allow_inf_nan=True),
    BeforeValidator(lambda value: math.nan if value is None else value),
]
Size = Annotated[_Wild, _rounded(6)]
Coarse = Annotated[_Wild, _rounded(3)]  # for pictures
Corners = Sequence[Sequence[Coarse]]
MOST_PLACES = 8  # of a print check that failed, the worst ones; of one that passed, one


@dataclass(frozen=True)
class Fault:
    """One failed check.

    `code` is stable (``verify.moved``); `source` is the file or the format it was seen in;
    `subject` the hole, part, piece or file it is about; `found`, `wanted` and `limit` are its
    numbers where it has any, in `unit`.
    """

    code: Word
    source: Word
    subject: Text
    message: Text
    found: Number = None
    wanted: Number = None
    limit: Number = None
    unit: Word = ""

    def __str__(self) -> str:
        return f"{self.source}: {self.subject}: {self.message}"


@dataclass(frozen=True)
class WantedBore:
    """Where a hole is wanted: centre and diameters."""

    x: Place
    y: Place
    bore: Size
    throat: Size


@dataclass(frozen=True)
class FoundBore(WantedBore):
    """A hole as found in one format.

    `deviation` is the farthest any height of bore and throat lies from the wanted centre;
    `tilt` the perpendicularity error of the bore's axis to the ski, in degrees.
    """

    deviation: Place
    tilt: Size


@dataclass(frozen=True)
class HoleCheck:
    """One hole; `deviation` is the larger one of the two formats, None where one lacks it."""

    id: Name
    part: Name
    wanted: WantedBore
    step: FoundBore | None
    stl: FoundBore | None
    deviation: Number


@dataclass(frozen=True)
class WantedPeg:
    """Where a peg is wanted: centre, diameter and the height of its top."""

    x: Place
    y: Place
    diameter: Size
    top: Size


@dataclass(frozen=True)
class FoundPeg(WantedPeg):
    """A peg as found in one format; `deviation` and `tilt` are as a hole's."""

    deviation: Place
    tilt: Size


@dataclass(frozen=True)
class PegCheck:
    """One peg; `deviation` is as a hole's."""

    id: Name
    part: Name
    wanted: WantedPeg
    step: FoundPeg | None
    stl: FoundPeg | None
    deviation: Number


@dataclass(frozen=True)
class BootCheck:
    """One boot length on one part's ladder: the x of its line in each format, None where none.

    `deviation` is the farthest that any of the part's holes lies from the layout of that boot, in
    either format, with the line on the mark; `end` how high the line's lower end is above the ski,
    in the STL.
    """

    part: Name
    boot: Length
    step: Number
    stl: Number
    deviation: Number
    end: Number = None


@dataclass(frozen=True)
class PrintPlace:
    """Where a print check found its number: corners on the `bed`, and on the `ski` in use."""

    kind: Literal["line", "area"]
    found: Coarse
    bed: Corners
    ski: Corners = ()


@dataclass(frozen=True)
class PrintCheck:
    """One print check: what was `found` must be at `bound` `limit`; the worst places first."""

    passed: bool
    code: Word
    found: Coarse
    bound: Literal["most", "least"]
    limit: Coarse
    unit: Word
    message: Text
    places: tuple[PrintPlace, ...]

    @classmethod
    def of(
        cls,
        code: str,
        found: float,
        bound: Literal["most", "least"],
        limit: float,
        unit: str,
        message: str,
        places: Sequence[PrintPlace],
    ) -> Self:
        """A check judged: it fails if what was found is not a number."""
        passed = bool(found <= limit if bound == "most" else found >= limit)
        shown = tuple(places[: 1 if passed else MOST_PLACES])
        return cls(passed, code, found, bound, limit, unit, "" if passed else message, shown)


@dataclass(frozen=True)
class PartPrinting:
    """The print checks of a part, by name."""

    passed: bool
    checks: dict[Name, PrintCheck]


@dataclass(frozen=True)
class Printing:
    """How the parts print with a `nozzle` and a `layer` of that many mm, by part."""

    nozzle: Length
    layer: Length
    parts: dict[Name, PartPrinting]


@dataclass(frozen=True)
class MadeFor:
    """The `printer` that files were changed for: how much longer along its axes, in %, and skewed.

    The `skew` is in degrees, by which the files' y axis leans towards +x.
    """

    printer: Name
    x: Size
    y: Size
    z: Size
    skew: Size


@dataclass(frozen=True)
class Verification:
    """What was found in the files: how many checks, each hole, peg and boot, every fault.

    It `passed` when every check held and all holes, pegs and lines were found in both formats;
    `limits` are those it went by.  `ladders` are the boot lengths of a jig for many; `made_for`
    is the printer that the files are for, None where they have the parts' own sizes;
    `checked` is how many checks were made of what, in plain words.  `printing` is told beside it,
    not within; and so are `strange` files, which jiggen did not write and did not look into, and
    `whose` holes they are, in words.
    """

    passed: bool
    checks: Annotated[int, Field(ge=0)]
    limits: dict[Name, float]
    holes: tuple[HoleCheck, ...]
    pegs: tuple[PegCheck, ...] = ()
    ladders: tuple[BootCheck, ...] = ()
    faults: tuple[Fault, ...] = ()
    made_for: MadeFor | None = None
    checked: dict[Name, int] = field(default_factory=dict)
    printing: Annotated[SkipJsonSchema[Printing | None], Field(exclude=True)] = None
    strange: Annotated[SkipJsonSchema[tuple[str, ...]], Field(exclude=True)] = ()
    whose: Annotated[SkipJsonSchema[str], Field(exclude=True)] = ""

    @property
    def measured(self) -> tuple[HoleCheck | PegCheck, ...]:
        """Every hole, then every peg."""
        return (*self.holes, *self.pegs)

    @property
    def deviation(self) -> float:
        """The farthest that any hole or peg was found from its place, mm."""
        return max((item.deviation or 0.0 for item in self.measured), default=0.0)

    def of(self, code: str) -> tuple[Fault, ...]:
        """The faults with a code."""
        return tuple(fault for fault in self.faults if fault.code == code)

    def as_dict(self) -> dict[str, Any]:
        """Plain values in a fixed order, rounded: equal for equal files."""
        plain: dict[str, Any] = TypeAdapter(Verification).dump_python(self, mode="json")
        return plain
