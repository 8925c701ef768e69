"""What drawings, sheet and page tell of a record, as the manifest has it; mm, ski frame."""

from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError
from pydantic_core import from_json

from jiggen.files import MANIFEST, mark_of, within
from jiggen.outcome import Length, Name
from jiggen.verify.reading.entries import BootLayout, Coefficient, Entry, FileEntry, Inside
from jiggen.verify.reading.entries import LadderRow as Row
from jiggen.verify.reading.manifest import LARGEST

Angle = Annotated[float, Field(gt=0, lt=180)]


class ToldSkis(Entry):
    """Narrowest and widest ski."""

    least: Length
    most: Length


class ToldInputs(Entry):
    """What was asked for."""

    pattern: Name = "?"
    boot: Length = 1.0
    boots: tuple[Length, Length] | None = None
    shift: Coefficient = 0.0
    core: Literal["plain", "metal"] = "plain"
    side: Literal["left", "right"] = "left"
    pair: Literal["same", "mirrored"] = "same"
    ski: ToldSkis | None = None


class ToldHole(Entry):
    """A hole: `diameter` is the drill's, `depth` that of its full diameter."""

    id: Name
    x: Coefficient
    y: Coefficient
    diameter: Length
    depth: Length


class ToldGuide(Entry):
    """Where the depth stop comes down at a hole."""

    id: Name
    part: Name
    top_z: Length | None = None


class ToldPeg(Entry):
    """A gauge's peg."""

    id: Name
    x: Coefficient
    y: Coefficient
    diameter: Length


class ToldLadder(Entry):
    """The ladders of a half."""

    part: Name
    half: Name
    rows: Annotated[tuple[Row, ...], Field(min_length=1)]


class ToldStop(Entry):
    """A setting of drill and depth stop; `point_angle` of the drill in degrees."""

    holes: tuple[Name, ...]
    point_angle: Angle


class ToldDrilling(Entry):
    """How it is drilled."""

    stops: tuple[ToldStop, ...]


class ToldPlaces(Entry):
    """A hole as it was found when the folder was built."""

    id: Name
    deviation: Coefficient | None


class ToldVerification(Entry):
    """How the folder was verified when it was built."""

    passed: bool
    checks: Annotated[int, Field(ge=0)]
    holes: tuple[ToldPlaces, ...]
    pegs: tuple[ToldPlaces, ...] = ()

    @property
    def deviation(self) -> float:
        """The farthest that any hole or peg was found from its place, mm."""
        return max((one.deviation or 0.0 for one in (*self.holes, *self.pegs)), default=0.0)


class Told(Entry):
    """A record as far as it is told of, and the `mark` that its files bear."""

    mark: str
    kind: Literal["jig", "trial", "gauge"]
    inputs: ToldInputs
    holes: tuple[ToldHole, ...]
    guides: tuple[ToldGuide, ...]
    pegs: tuple[ToldPeg, ...] = ()
    ladders: tuple[ToldLadder, ...] = ()
    boots: tuple[BootLayout, ...] = ()
    drilling: ToldDrilling | None = None
    verification: ToldVerification | None = None
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


def read_told(folder: Path) -> Told:
    """What is told of a folder's record.  Raises ValueError with what is wrong in its manifest."""
    values: Any = from_json(within(folder, MANIFEST, LARGEST).read_bytes(), allow_inf_nan=False)
    if not isinstance(values, dict):
        raise ValueError("the manifest is no record")
    try:
        return Told.model_validate({**values, "mark": mark_of(values)})
    except ValidationError as error:
        fault = error.errors()[0]
        where = ".".join(map(str, fault["loc"]))
        raise ValueError(f"{where}: {fault['msg']}") from None
