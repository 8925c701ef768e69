"""The manifest as the verification reads it: what the files are stated to hold."""

import math
from collections import Counter
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from jiggen.errors import Finding, InputError, key_path
from jiggen.files import MANIFEST, inner_path, within
from jiggen.outcome import Length, Name
from jiggen.verify.geometry import Array

MOST_HOLES, MOST_PARTS = 500, 100  # far more than any jig has; each is measured
LARGEST = 16 * 1024 * 1024  # bytes
HINT = "Name a folder that jiggen build made; build it again if it is damaged."


def _upwards(heights: tuple[float, float]) -> tuple[float, float]:
    low, high = heights
    if not high > low:
        raise ValueError(f"heights must go upwards, from {low} to {high}")
    return heights


Inside = Annotated[str, AfterValidator(inner_path)]
Coefficient = Annotated[float, Field(ge=-1e6, le=1e6)]
Heights = Annotated[tuple[float, float], AfterValidator(_upwards)]
Row = tuple[Coefficient, Coefficient, Coefficient, Coefficient]
Rows = tuple[Row, Row, Row, Row]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class _Spot(_Entry):
    x: float
    y: float


class Hole(_Spot):
    """A hole of the layout: ski frame, mm; `diameter` is the drill's."""

    id: Name
    diameter: Length


class Guide(_Entry):
    """What guides the drill at a hole: diameters and the heights they hold between, mm.

    A depth stop `stop_width` wide has room, and a chuck whose face is `chuck_z`
    above the ski or higher.
    """

    id: Name
    part: Name
    bore: Length
    bore_z: Heights
    throat: Length
    throat_z: Heights
    stop_width: Length | None = None
    chuck_z: Annotated[float, Field(ge=0)] = 0.0


class Opening(_Spot):
    """A round upright opening that is meant to be; `diameter` is the largest allowed, mm."""

    name: Name
    part: Name
    diameter: Length


class ClampMark(_Spot):
    """Where a body `part` is clamped down: the middle of an engraved mark."""

    part: Name


class Peg(_Spot):
    """A round upright peg: axis, diameter, and the heights it stands free between, mm."""

    id: Name
    part: Name
    diameter: Length
    z: Heights


class LadderLine(_Entry):
    """An engraved line at `x`, for `first` to `last`, with a `number` beside it or none."""

    x: float
    first: float
    last: float
    number: Annotated[str, Field(max_length=20)] = ""


class LadderRow(_Entry):
    """Lines side by side, in the ski frame, mm.

    All of them end at y = `foot`, at the height `end` over the ski.  The long ones cross `y` at
    height `floor` too; their numbers stand between the two `numbers`, y's.
    """

    name: Literal["odd", "even", "bands", "bands-left", "shift"]
    floor: float
    y: float
    numbers: tuple[float, float]
    foot: float
    end: float
    lines: Annotated[tuple[LadderLine, ...], Field(min_length=1)]


class LadderEntry(_Entry):
    """The ladders of one part: rows of lines for boot lengths, and one for mount shifts."""

    part: Name
    rows: Annotated[tuple[LadderRow, ...], Field(min_length=1)]


class IndexLine(_Entry):
    """The line across the rails of a station: where it is to be found on each, at one height.

    `at` are (x, y) on the left rail and on the right one, as they are placed; mm, ski frame.
    """

    station: Name
    rails: tuple[Name, Name]
    at: tuple[tuple[Coefficient, Coefficient], tuple[Coefficient, Coefficient]]
    z: Coefficient


class BootLayout(_Entry):
    """Where the layout of a boot length puts each hole along the ski, mm; by hole id."""

    boot: Length
    x: dict[Name, float]


class PrintLength(_Entry):
    """A length of a part between two faces at the ends of `span`, x or y; mm, ski frame.

    The line through both lies at `at`, y or x, and at the height `z`; `end` is that of the body
    which a length along begins at.
    """

    part: Name
    direction: Literal["along", "across"]
    span: Heights
    at: float
    z: float
    end: Literal["tip", "tail"]
    nominal: Length


class PrintBed(_Entry):
    """The printer's room: x and y on the bed, z up, mm."""

    x: Length
    y: Length
    z: Length


class SkiWidths(_Entry):
    """Narrowest and widest ski, mm."""

    least: Length
    most: Length


class Reach(SkiWidths):
    """What the parts serve; the rails stop on the body on a ski of `stop` mm."""

    stop: Length


class _Moving(_Entry):
    reach: Reach


class _Expected(_Entry):
    moving: _Moving


class Station(_Entry):
    """A centring station of a body `part`, at `x`."""

    name: Name
    part: Name
    x: float


class Inputs(_Entry):
    """What was asked for, as far as verification looks: `boots` from and to, of a range.

    `bush_fit` and `hole_fit` are what the diameters of bush pockets and of drill holes were made
    larger by, and `slide` the clearance per side of sliding faces; mm.
    """

    bed: PrintBed
    ski: SkiWidths | None = None
    boots: tuple[Length, Length] | None = None
    bush_fit: Coefficient = 0.0
    hole_fit: Coefficient = 0.0
    slide: Coefficient = 0.0


class Placed(_Entry):
    """One piece in use: rigid 4×4 from the part's file to the ski frame."""

    name: Name
    to_ski: Rows

    @property
    def matrix(self) -> Array:
        """The (4, 4) float matrix."""
        return np.array(self.to_ski)


class Part(Placed):
    """One printed part; `to_ski` is its first piece's, its solid's volume is in mm³."""

    kind: Name
    half: Name | None = None
    file: Inside
    count: Annotated[int, Field(gt=0)]
    printed: bool = True
    volume: Length
    placed: Annotated[tuple[Placed, ...], Field(min_length=1, max_length=MOST_PARTS)]

    @property
    def is_body(self) -> bool:
        """Whether the part carries holes."""
        return self.kind in ("body", "plate", "gauge")


class Compensation(_Entry):
    """For one printer bed coordinates became `matrix` times, heights `height` times themselves."""

    printer: Name
    matrix: tuple[tuple[Coefficient, Coefficient], tuple[Coefficient, Coefficient]]
    height: Coefficient

    @property
    def linear(self) -> Array:
        """(3, 3) that nominal points of a print frame were multiplied by."""
        whole = np.diag((1.0, 1.0, self.height))
        whole[:2, :2] = self.matrix
        return whole


NOTHING_DONE = Compensation(printer="none", matrix=((1, 0), (0, 1)), height=1)


class Laid(_Spot):
    """A piece on a bed: the part it is of, and where its file's origin lies, mm."""

    name: Name
    part: Name


class Advice(_Entry):
    """What to set in the slicing program.

    That is the height of a `layer`, lines of wall, solid layers at top and bottom, % of infill.
    """

    material: Name
    layer: Length
    walls: Annotated[int, Field(gt=0)]
    skins: Annotated[int, Field(gt=0)]
    infill: Annotated[int, Field(ge=0, le=100)]


class Bed(_Entry):
    """What is printed at once: a 3MF, the pieces in it, and how all of them are best printed."""

    file: Inside
    pieces: tuple[Laid, ...]
    advice: Advice | None = None


class FileEntry(_Entry):
    """One file of the folder: its size and SHA-256."""

    bytes: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Manifest(_Entry):
    """A jig's manifest, format 2; keys the verification has no use for are left alone."""

    manifest: Literal[2]
    inputs: Inputs
    holes: Annotated[tuple[Hole, ...], Field(min_length=1, max_length=MOST_HOLES)]
    guides: tuple[Guide, ...]
    openings: tuple[Opening, ...] = ()
    pegs: Annotated[tuple[Peg, ...], Field(max_length=MOST_HOLES)] = ()
    clamps: Annotated[tuple[ClampMark, ...], Field(max_length=MOST_PARTS)] = ()
    ladders: Annotated[tuple[LadderEntry, ...], Field(max_length=MOST_PARTS)] = ()
    boots: tuple[BootLayout, ...] = ()
    index_lines: Annotated[tuple[IndexLine, ...], Field(max_length=MOST_PARTS)] = ()
    print_check: Annotated[tuple[PrintLength, ...], Field(max_length=2 * MOST_PARTS)] = ()
    parts: Annotated[tuple[Part, ...], Field(min_length=1, max_length=MOST_PARTS)]
    beds: Annotated[tuple[Bed, ...], Field(max_length=MOST_PARTS)]
    stations: Annotated[tuple[Station, ...], Field(max_length=MOST_PARTS)] = ()
    accuracy: _Expected | None = None
    files: dict[Inside, FileEntry]
    verification: dict[str, object] | None = None
    compensation: Compensation | None = None

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        for what, names in {
            "hole": [hole.id for hole in self.holes],
            "guide": [guide.id for guide in self.guides],
            "peg": [peg.id for peg in self.pegs],
            "part": [part.name for part in self.parts],
            "file of a part": [part.file for part in self.parts],
            "bed": [bed.file for bed in self.beds],
            "piece": [placed.name for part in self.parts for placed in part.placed],
            "part with a ladder": [ladder.part for ladder in self.ladders],
        }.items():
            for name, count in Counter(names).items():
                if count > 1:
                    raise ValueError(f"{what} {name!r} is there twice")
        odd = {guide.id for guide in self.guides} ^ {hole.id for hole in self.holes}
        if odd:
            raise ValueError(f"guides and holes do not agree on {', '.join(sorted(odd))}")
        bodies = {part.name for part in self.parts if part.is_body}
        features: tuple[Guide | Opening | Peg | PrintLength | ClampMark, ...]
        features = (*self.guides, *self.openings, *self.pegs, *self.print_check, *self.clamps)
        for name in (feature.part for feature in features):
            if name not in bodies:
                raise ValueError(f"{name!r} is not a body among the parts")
        if self.ladders:
            self._ladders_agree(bodies)
        for part in self.parts:
            if part.count != len(part.placed):
                raise ValueError(f"part {part.name}: count {part.count}, {len(part.placed)} placed")
        return self

    def _ladders_agree(self, bodies: set[str]) -> None:
        """A line for every whole boot length that was asked for, on every part with a ladder."""
        if self.inputs.boots is None:
            raise ValueError("ladders, but no range of boots was asked for")
        least, most = self.inputs.boots
        asked = {float(boot) for boot in range(math.ceil(least), math.floor(most) + 1)}
        if {entry.boot for entry in self.boots} != asked or len(self.boots) != len(asked):
            raise ValueError("the layouts are not those of every boot length that was asked for")
        ids = {hole.id for hole in self.holes}
        for entry in self.boots:
            if set(entry.x) != ids:
                raise ValueError(f"boot {entry.boot:g}: its layout has other holes")
        for ladder in self.ladders:
            if ladder.part not in bodies & {guide.part for guide in self.guides}:
                raise ValueError(f"a ladder on {ladder.part!r}, which is not a body with holes")

    @cached_property
    def guided(self) -> tuple[tuple[Hole, Guide], ...]:
        """Every hole with its guide."""
        guides = {guide.id: guide for guide in self.guides}
        return tuple((hole, guides[hole.id]) for hole in self.holes)

    @property
    def reach(self) -> Reach | None:
        """The skis that the parts are stated to serve."""
        return self.accuracy.moving.reach if self.accuracy else None

    @property
    def done(self) -> Compensation:
        """What was done to the printed files."""
        return self.compensation or NOTHING_DONE


def read_manifest(folder: Path) -> Manifest:
    """Read and check a folder's manifest.

    Raises InputError, every fault at once, when it is missing or not a jiggen manifest.
    """
    try:
        return Manifest.model_validate_json(within(folder, MANIFEST, LARGEST).read_bytes())
    except OSError as error:
        found = [(f"cannot read the manifest: {error.strerror or error}", "")]
    except ValidationError as error:
        found = [(fault["msg"], key_path(fault["loc"])) for fault in error.errors()]
    where = str(folder / MANIFEST)
    raise InputError(Finding("verify.manifest", text, where, key, HINT) for text, key in found)
