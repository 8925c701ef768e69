"""What was asked for and what was made: the entries of a record.

Lengths are mm, in the ski frame: x from the mounting mark towards the tip, y to the left, z up.
"""

from collections import Counter
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from jiggen.outcome import Length, Name, Word
from jiggen.record.results import Coefficient, Count, Entry, Inside, Least, Matrix

PartKind = Literal["body", "rail", "pinion", "knob", "plate", "gauge", "slots", "rack"]
Factor = Annotated[Coefficient, Field(gt=0)]
# To a nanometre: beyond what any file holds, and without float dust.
Nano = AfterValidator(lambda value: round(value, 6) + 0.0)
Rounded = Annotated[float, Nano]
Size = Annotated[Length, Nano]
HalfName = Literal["toe", "heel", "centre"]


class Asked(Entry):
    """The files that hold what was asked for: nothing else decides it, `inputs` follow from them.

    They are the `job`, the options that were given; the `pattern`'s own text; and the figures of
    the `printer` that the jig was made for.
    """

    job: Inside
    pattern: Inside | None = None
    printer: Inside | None = None


class BedSize(Entry):
    """The printer's room: x and y on the bed, z up; its rim is kept free where that can be, mm."""

    x: Length
    y: Length
    z: Length
    rim: Least = 0.0


class BushSize(Entry):
    """A drill bush: outside diameter and length."""

    outside: Length
    length: Length


class SkiWidths(Entry):
    """Narrowest and widest ski."""

    least: Length
    most: Length


class Fixing(Entry):
    """What goes into a hole: thickness under the screw's head and lengths at hand."""

    plate: Annotated[float, Field(ge=0, le=200)]
    lengths: Annotated[tuple[Annotated[Length, Field(le=200)], ...], Field(max_length=100)]


class MountingArea(Entry):
    """Where holes are allowed on the ski."""

    x_from: float
    x_to: float
    half_width: float


class MarkPlace(Entry):
    """Where the ski's mark is: so far in front of its tail, or at half the chord of that length."""

    way: Literal["tail", "chord"]
    length: Length

    @property
    def from_tail(self) -> float:
        """How far in front of the tail's end the mark is, in mm."""
        return self.length / 2 if self.way == "chord" else self.length


class SkiInHand(Entry):
    """What was measured on the ski: thickness, (x, width) pairs, where holes and mark are."""

    thickness: tuple[float, ...] = ()
    widths: tuple[tuple[float, float], ...] = ()
    area: MountingArea | None = None
    mark: MarkPlace | None = None


class LayoutInputs(Entry):
    """What was asked of a layout; `shift` is the mount shift, `mark` what lies on the mark."""

    pattern: Name
    boot: Length
    shift: float
    core: Literal["plain", "metal"]
    side: Literal["left", "right"]
    pair: Literal["same", "mirrored"]
    mark: Name = "boot-centre"


class JigInputs(LayoutInputs):
    """What was asked of a jig; of a range of `boots`, from and to, `boot` is the longest.

    Widths of the `ski` are those `rail_depth` below its top sheet, where the rails' noses touch;
    its `sidewall` is upright, rounded, or sloped by so many degrees off upright.
    """

    boots: tuple[Length, Length] | None = None
    ski: SkiWidths
    bed: BedSize
    bush: Literal["auto", "none"] | BushSize
    bush_fit: float
    guide_clearance: float
    hole_fit: float
    body: Length
    relief: Length
    wall: Length
    slide: Length
    backlash: float
    rail_depth: Length
    sidewall: Literal["upright", "rounded"] | Annotated[float, Field(ge=0, le=45)]
    joint_fit: float
    material: Name
    printer: Name | None
    ski_in_hand: SkiInHand
    drilling_limits: dict[Name, float]
    screws: dict[Name, Fixing]


class TrialInputs(LayoutInputs):
    """What was asked of a trial plate; its holes are `hole_fit` wider than it takes.

    They are as large as the `plate_hole`s, or larger than the drill by the `clearance`.
    """

    bed: BedSize
    hole_fit: float
    thickness: Length
    clearance: float
    plate_hole: Length | None = None
    printer: Name | None


class GaugeInputs(Entry):
    """What was asked of a gauge; `caliper` is the caliper's reach."""

    bed: BedSize
    bush: Literal["none"] | BushSize
    caliper: Length


class Hole(Entry):
    """A hole in the ski: drill diameter, and depth of the full diameter below the top sheet."""

    id: Name
    group: Name
    x: Annotated[float, Field(ge=-2000, le=2000), Nano]
    y: Annotated[float, Field(ge=-200, le=200), Nano]
    diameter: Annotated[Length, Field(le=50), Nano]
    depth: Annotated[Length, Field(le=200), Nano]


class Guide(Entry):
    """What guides the drill at a hole, a `bush` or the print; a stop comes down at `top_z`.

    A depth stop `stop_width` wide has room; with the drill all the way down a chuck's
    face must be `chuck_z` above the ski or higher.
    """

    id: Name
    part: Name
    bore: Size
    bore_z: tuple[Rounded, Rounded]
    throat: Size
    throat_z: tuple[Rounded, Rounded]
    bush: BushSize | None = None
    top_z: Annotated[Length, Field(le=500), Nano] | None = None
    stop_width: Annotated[Length, Field(le=100), Nano] | None = None
    chuck_z: Annotated[Least, Field(le=500), Nano] = 0.0


class Peg(Entry):
    """A round upright peg and the heights it stands free between."""

    id: Name
    part: Name
    x: float
    y: float
    diameter: Length
    z: tuple[float, float]


class Opening(Entry):
    """A round upright opening that is meant to be; `diameter` is the largest allowed."""

    name: Name
    part: Name
    x: float
    y: float
    diameter: Size


class PrintLength(Entry):
    """A length that a caliper takes on a finished body, between two faces that look outwards.

    They stand at the ends of `span`, x `along` or y `across` the ski, and are met by the line at
    `at`, y or x, and the height `z`.  Along, one is that `end` of the body, the other is in a notch
    in the edge of that `side`; across, they are both edges, beside the notch.  A print passes
    within `accept` of `nominal`; one that is off by more is made again, scaled, and one by more
    than `reprint` is not one to correct.
    """

    part: Name
    direction: Literal["along", "across"]
    span: tuple[Rounded, Rounded]
    at: Rounded
    z: Rounded
    side: Literal["left", "right"]
    end: Literal["tip", "tail"]
    nominal: Size
    accept: Size
    reprint: Size


class ClampMark(Entry):
    """Where a body `part` is clamped down: the middle of a diamond engraved on it."""

    part: Name
    x: Rounded
    y: Rounded


class Sign(Entry):
    """A text, arrow or diamond that is engraved: the middle of its box, its turn in degrees.

    `size` is the height of a text's capitals, an arrow's length, a diamond's radius.
    """

    kind: Literal["text", "arrow", "axis", "diamond"]
    text: Annotated[str, Field(max_length=200)] = ""
    x: Rounded
    y: Rounded
    size: Size
    turn: Rounded = 0.0


class Ruled(Entry):
    """Engraved lines of one `name`, as boxes (x from, y from, x to, y to).

    Grooves in an upright face stand between the heights `z`.
    """

    name: Word
    boxes: tuple[tuple[Rounded, Rounded, Rounded, Rounded], ...]
    z: tuple[Rounded, Rounded] | None = None


class Engraved(Entry):
    """What is engraved in a level face of a `part`, as its first piece lies.

    The floors lie at height `floor`, `depth` deep; the face looks up, or `down`.
    """

    part: Name
    floor: Rounded
    depth: Size
    down: bool = False
    signs: tuple[Sign, ...] = ()
    lines: tuple[Ruled, ...] = ()
    grooves: tuple[Ruled, ...] = ()


class Joint(Entry):
    """The joint of two bodies at `x`, and its number of screws."""

    x: float
    screws: Count


class Station(Entry):
    """A centring station of a body `part`, at `x`, and its role on that half of the jig."""

    name: Name
    role: Word
    half: HalfName | None
    part: Name
    x: float


class IndexLine(Entry):
    """The line across the rails of a station: where it is to be found on each, at one height.

    `at` are (x, y) on the left rail and on the right one, as they are placed.
    """

    station: Name
    rails: tuple[Name, Name]
    at: tuple[tuple[Rounded, Rounded], tuple[Rounded, Rounded]]
    z: Rounded


class Sideways(Entry):
    """How far sideways a hole lies for `station_error` at the stations, by hole id."""

    station_error: Length
    holes: dict[Name, float]


class PlacedPart(Entry):
    """One piece in use: the pose from the part's file to the ski."""

    name: Name
    to_ski: Matrix


class Part(Entry):
    """One printed part, maybe the body of a `half`; its solid's volume is in mm³."""

    name: Name
    kind: PartKind
    half: HalfName | None = None
    file: Inside
    count: Count
    printed: bool = True
    volume: Length
    to_ski: Matrix
    placed: Annotated[tuple[PlacedPart, ...], Field(min_length=1)]

    @property
    def is_body(self) -> bool:
        """Whether the part carries holes."""
        return self.kind in ("body", "plate", "gauge")


class Bought(Entry):
    """One line of the shopping list; `key` is the hexagon key that turns it, mm, if any."""

    name: Name
    size: Name
    count: Count
    standard: Word
    key: Length | None = None


class LaidPiece(Entry):
    """A piece on a bed: the part it is of, and where its file's origin lies."""

    name: Name
    part: Name
    x: float
    y: float


class PrintAdvice(Entry):
    """What to set in the slicing program.

    That is the height of a `layer`, lines of wall, solid layers at top and bottom, % of infill.
    """

    material: Name
    layer: Length
    walls: Count
    skins: Count
    infill: Annotated[int, Field(ge=0, le=100)]


class PrintBed(Entry):
    """What is printed at once: a 3MF, the pieces in it, and how all of them are best printed."""

    file: Inside
    pieces: tuple[LaidPiece, ...]
    advice: PrintAdvice | None = None

    @property
    def counts(self) -> dict[str, int]:
        """How many pieces of each part are on the bed."""
        return Counter(piece.part for piece in self.pieces)


class Compensated(Entry):
    """For one printer bed coordinates became `matrix` times, heights `height` times themselves."""

    printer: Name
    matrix: tuple[tuple[Factor, Coefficient], tuple[Coefficient, Factor]]
    height: Factor


class FileEntry(Entry):
    """One file of the folder: its size and SHA-256."""

    bytes: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
