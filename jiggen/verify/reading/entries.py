"""The entries of a manifest as the verification reads them; mm, ski frame."""

from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from jiggen.files import inner_path
from jiggen.outcome import Length, MadeFor, Name
from jiggen.verify.geometry import Array

MOST_PARTS = 100  # far more than any jig has; each is measured


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


class Entry(BaseModel):
    """A part of the manifest; keys the verification has no use for are left alone."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class _Spot(Entry):
    x: float
    y: float


class Hole(_Spot):
    """A hole of the layout: ski frame, mm; `diameter` is the drill's."""

    id: Name
    diameter: Length
    group: Name = "?"
    depth: Coefficient = 0.0


class Bush(Entry):
    """A drill bush: outside diameter and length, mm."""

    outside: Length
    length: Length


class Guide(Entry):
    """What guides the drill at a hole: diameters and the heights they hold between, mm.

    Its `bush`, if it has one, and the height `top_z` that a depth stop comes down on; one that is
    `stop_width` wide has room, and a chuck whose face is `chuck_z` above the ski or higher.
    """

    id: Name
    part: Name
    bore: Length
    bore_z: Heights
    throat: Length
    throat_z: Heights
    bush: Bush | None = None
    top_z: Length | None = None
    stop_width: Length | None = None
    chuck_z: Annotated[float, Field(ge=0)] = 0.0


class Opening(_Spot):
    """A round upright opening that is meant to be; `diameter` is the largest allowed, mm."""

    name: Name
    part: Name
    diameter: Length


class Bought(Entry):
    """A line of what is to be bought."""

    size: Name
    count: Annotated[int, Field(gt=0)]
    standard: Name


class ClampMark(_Spot):
    """Where a body `part` is clamped down: the middle of an engraved mark."""

    part: Name


class Peg(_Spot):
    """A round upright peg: axis, diameter, and the heights it stands free between, mm."""

    id: Name
    part: Name
    diameter: Length
    z: Heights


class LadderLine(Entry):
    """An engraved line at `x`, for `first` to `last`, with a `number` beside it or none."""

    x: float
    first: float
    last: float
    number: Annotated[str, Field(max_length=20)] = ""


def is_long(line: LadderLine) -> bool:
    """Whether a line goes on over the top: lengths that end in 0 and 5, and what is numbered."""
    return bool(line.number) or line.first % 5 == 0


def is_half(row: str, line: LadderLine) -> bool:
    """Whether a line must be half long on the top: lengths that end in 4 and 9, unless numbered."""
    return row in ("odd", "even") and not line.number and line.first % 5 == 4


class LadderRow(Entry):
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


class LadderEntry(Entry):
    """The ladders of one part: rows of lines for boot lengths, and one for mount shifts."""

    part: Name
    rows: Annotated[tuple[LadderRow, ...], Field(min_length=1)]


class IndexLine(Entry):
    """The line across the rails of a station: where it is to be found on each, at one height.

    `at` are (x, y) on the left rail and on the right one, as they are placed; mm, ski frame.
    """

    station: Name
    rails: tuple[Name, Name]
    at: tuple[tuple[Coefficient, Coefficient], tuple[Coefficient, Coefficient]]
    z: Coefficient


class BootLayout(Entry):
    """Where the layout of a boot length puts each hole along the ski, mm; by hole id."""

    boot: Length
    x: dict[Name, float]


class PrintLength(Entry):
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


class PrintBed(Entry):
    """The printer's room: x and y on the bed, z up; its rim is kept free where that can be, mm."""

    x: Length
    y: Length
    z: Length
    rim: Annotated[float, Field(ge=0)] = 0.0


class SkiWidths(Entry):
    """Narrowest and widest ski, mm."""

    least: Length
    most: Length


class Reach(SkiWidths):
    """What the parts serve; the rails stop on the body on a ski of `stop` mm."""

    stop: Length


class Moving(Entry):
    """What moves, and how far."""

    reach: Reach


class Expected(Entry):
    """The expected accuracy, as far as verification looks."""

    moving: Moving


class Station(Entry):
    """A centring station of a body `part`, at `x`."""

    name: Name
    part: Name
    x: float


class Inputs(Entry):
    """What was asked for, as far as verification looks: `boots` from and to, of a range.

    Of a range `boot` is the longest; `shift` is the mount shift.

    `bush_fit` and `hole_fit` are what the diameters of bush pockets and of drill holes were made
    larger by, `guide_clearance` those that guide the drill themselves, `slide` the clearance per
    side of sliding faces, and `backlash` that of a rack; mm.  The ski's width is taken
    `rail_depth` below its top sheet; its `sidewall` is upright, rounded, or so many degrees off
    upright.
    """

    bed: PrintBed
    ski: SkiWidths | None = None
    pattern: str = ""
    boot: Length | None = None
    boots: tuple[Length, Length] | None = None
    bush: Literal["auto", "none"] | Bush | None = None
    guide_clearance: Coefficient = 0.0
    shift: Coefficient = 0.0
    core: str = ""
    side: str = ""
    pair: str = ""
    mark: str = "boot-centre"
    bush_fit: Coefficient = 0.0
    hole_fit: Coefficient = 0.0
    slide: Coefficient = 0.0
    backlash: Coefficient = 0.0
    rail_depth: Coefficient = 0.0
    sidewall: Literal["upright", "rounded"] | Annotated[float, Field(ge=0, le=45)] = "upright"


class FitSizes(Entry):
    """The allowances and the clearances per side that a gauge tries out, mm."""

    bush_fit: tuple[float, ...]
    slide: tuple[float, ...]


class Placed(Entry):
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


class Compensation(Entry):
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

    @property
    def made_for(self) -> MadeFor:
        """The printer, and what was done for it, in % and degrees."""
        x, y, z = (100 * (self.linear.diagonal() - 1)).tolist()
        (_, leant), (_, along) = self.matrix
        return MadeFor(self.printer, x, y, z, float(np.degrees(np.arctan2(leant, along))))


NOTHING_DONE = Compensation(printer="none", matrix=((1, 0), (0, 1)), height=1)


class Laid(_Spot):
    """A piece on a bed: the part it is of, and where its file's origin lies, mm."""

    name: Name
    part: Name


class Advice(Entry):
    """What to set in the slicing program.

    That is the height of a `layer`, lines of wall, solid layers at top and bottom, % of infill.
    """

    material: Name
    layer: Length
    walls: Annotated[int, Field(gt=0)]
    skins: Annotated[int, Field(gt=0)]
    infill: Annotated[int, Field(ge=0, le=100)]


class Bed(Entry):
    """What is printed at once: a 3MF, the pieces in it, and how all of them are best printed."""

    file: Inside
    pieces: tuple[Laid, ...]
    advice: Advice | None = None


class FileEntry(Entry):
    """One file of the folder: its size and SHA-256."""

    bytes: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
