"""What drawings, sheet and page tell of a record, as the manifest has it; mm, ski frame."""

from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError
from pydantic_core import from_json

from jiggen.files import MANIFEST, mark_of, within
from jiggen.outcome import Length, Name, Word
from jiggen.verify.reading.entries import BootLayout, Coefficient, Entry, FileEntry, Inside
from jiggen.verify.reading.entries import LadderRow as Row
from jiggen.verify.reading.manifest import LARGEST

Angle = Annotated[float, Field(gt=0, lt=180)]


class StatedSkis(Entry):
    """Narrowest and widest ski."""

    least: Length
    most: Length


class StatedMark(Entry):
    """Where the mark of the ski in hand is: so far from its tail, or at half a chord so long."""

    way: Literal["tail", "chord"]
    length: Length


class StatedSki(Entry):
    """The ski in hand."""

    mark: StatedMark | None = None


class StatedInputs(Entry):
    """What was asked for."""

    pattern: Name = "?"
    boot: Length = 1.0
    boots: tuple[Length, Length] | None = None
    shift: Coefficient = 0.0
    core: Literal["plain", "metal"] = "plain"
    side: Literal["left", "right"] = "left"
    pair: Literal["same", "mirrored"] = "same"
    mark: Name = "boot-centre"
    ski: StatedSkis | None = None
    ski_in_hand: StatedSki = Field(default_factory=StatedSki)
    drilling_limits: dict[Name, float] = Field(default_factory=dict)


class StatedHole(Entry):
    """A hole: `diameter` is the drill's, `depth` that of its full diameter."""

    id: Name
    x: Coefficient
    y: Coefficient
    diameter: Length
    depth: Length


class StatedGuide(Entry):
    """Where the depth stop comes down at a hole."""

    id: Name
    part: Name
    top_z: Length | None = None


class StatedPeg(Entry):
    """A gauge's peg."""

    id: Name
    x: Coefficient
    y: Coefficient
    diameter: Length


class StatedLadder(Entry):
    """The ladders of a half."""

    part: Name
    half: Name
    rows: Annotated[tuple[Row, ...], Field(min_length=1)]


class StatedStop(Entry):
    """A setting of drill and depth stop; `point_angle` of the drill in degrees."""

    holes: tuple[Name, ...]
    point_angle: Angle


class StatedScrew(Entry):
    """A drilled hole, the screw chosen for it if any, and how much of that holds in the ski."""

    depth: Length
    screw: Length | None = None
    engagement: Coefficient | None = None


class StatedDrilling(Entry):
    """How it is drilled."""

    stops: tuple[StatedStop, ...]
    holes: tuple[StatedScrew, ...] = ()


class StatedPlaces(Entry):
    """A hole as it was found when the folder was built."""

    id: Name
    deviation: Coefficient | None


class StatedVerification(Entry):
    """How the folder was verified when it was built."""

    passed: bool
    checks: Annotated[int, Field(ge=0)]
    holes: tuple[StatedPlaces, ...]
    pegs: tuple[StatedPlaces, ...] = ()

    @property
    def deviation(self) -> float:
        """The farthest that any hole or peg was found from its place, mm."""
        return max((one.deviation or 0.0 for one in (*self.holes, *self.pegs)), default=0.0)


class Stated(Entry):
    """A record as far as it is stated of, and the `mark` that its files bear."""

    mark: str
    kind: Literal["jig", "trial", "gauge"]
    jig_mark: Word = ""
    inputs: StatedInputs
    holes: tuple[StatedHole, ...]
    guides: tuple[StatedGuide, ...]
    pegs: tuple[StatedPeg, ...] = ()
    ladders: tuple[StatedLadder, ...] = ()
    boots: tuple[BootLayout, ...] = ()
    drilling: StatedDrilling | None = None
    verification: StatedVerification | None = None
    files: dict[Inside, FileEntry]

    @cached_property
    def tops(self) -> dict[str, float | None]:
        """By hole, where the depth stop comes down."""
        return {guide.id: guide.top_z for guide in self.guides}

    @cached_property
    def angles(self) -> dict[str, float]:
        """By hole, the angle of the drill's point."""
        stops = self.drilling.stops if self.drilling else ()
        return {name: stop.point_angle for stop in stops for name in stop.holes}


def read_stated(folder: Path) -> Stated:
    """What a folder states of its record.  Raises ValueError with what is wrong in it."""
    values: Any = from_json(within(folder, MANIFEST, LARGEST).read_bytes(), allow_inf_nan=False)
    if not isinstance(values, dict):
        raise ValueError("the manifest holds another thing than a record")
    try:
        return Stated.model_validate({**values, "mark": mark_of(values)})
    except ValidationError as error:
        fault = error.errors()[0]
        where = ".".join(map(str, fault["loc"]))
        raise ValueError(f"{where}: {fault['msg']}") from None
