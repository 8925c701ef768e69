"""What was computed and checked for a built folder: drilling, accuracy, plastic, verification."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from jiggen.errors import Finding
from jiggen.files import inner_path
from jiggen.tables import JobberDrill

LONGEST_NOTE = 20_000  # characters


class Entry(BaseModel):
    """Base of all parts of a record; keys it does not know are left out."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


def _bounded(finding: Finding) -> Finding:
    if any(len(text) > LONGEST_NOTE for text in finding.as_dict().values()):
        raise ValueError(f"a note of more than {LONGEST_NOTE} characters")
    return finding


Name = Annotated[str, Field(min_length=1, max_length=200)]
Word = Annotated[str, Field(max_length=200)]
Text = Annotated[str, Field(max_length=2000)]
Inside = Annotated[str, AfterValidator(inner_path)]
"""A file's path within the folder."""

Length = Annotated[float, Field(gt=0)]
Least = Annotated[float, Field(ge=0)]
Share = Annotated[int, Field(ge=0, le=100)]
Count = Annotated[int, Field(gt=0)]
Note = Annotated[Finding, AfterValidator(_bounded)]

Coefficient = Annotated[float, Field(ge=-1e6, le=1e6)]
MatrixRow = tuple[Coefficient, Coefficient, Coefficient, Coefficient]
Matrix = tuple[MatrixRow, MatrixRow, MatrixRow, MatrixRow]
"""A rigid pose, row by row, mm."""
Depth = Annotated[float, Field(gt=0, le=200)]

# -- drilling ------------------------------------------------------------------------------------


class DepthStop(Entry):
    """How drill and depth stop are set for some holes; mm and degrees.

    The stop comes down at `bush_top` above the ski.  `depth` is that of the full diameter below
    the top sheet, `point` the length of the drill's point.  The stop is set at `from_corners`
    above the outer corners of the lips, where the drill has its full diameter; that is
    `from_tip` above the very tip, as a caliper finds it.  `long_enough` says whether the ordinary
    `jobber` drill will do.
    """

    holes: Annotated[tuple[Name, ...], Field(min_length=1)]
    drill: Length
    depth: Depth
    bush_top: Annotated[Length, Field(le=500)]
    point: Length
    point_angle: Annotated[float, Field(ge=60, le=180)]
    from_tip: Length
    from_corners: Length
    jobber: JobberDrill
    long_enough: bool


class DrilledHole(Entry):
    """One hole as it will be, mm; None where the ski or the screw is not known.

    `point` is the length of the drill's point, which goes deeper than `depth`; `thickness` is
    the ski's at the hole, `base_left` the base thickness that remains under the point; `edge` is
    from the hole's wall to the ski's nearer edge; `screw` is the length chosen, `engagement` the
    part of it in the ski.
    """

    id: Name
    group: Name
    x: float
    y: float
    drill: Length
    depth: Length
    point: Least
    thickness: float | None
    base_left: float | None
    edge: float | None
    screw: Length | None
    engagement: float | None


class Drilling(Entry):
    """The drilling check's result: depth stops, holes, errors and warnings."""

    stops: tuple[DepthStop, ...]
    holes: tuple[DrilledHole, ...]
    errors: tuple[Note, ...] = ()
    warnings: tuple[Note, ...] = ()

    def stop_of(self, hole: str) -> DepthStop:
        """The depth stop for a hole, by its id."""
        return next(stop for stop in self.stops if hole in stop.holes)


# -- accuracy ------------------------------------------------------------------------------------


class Spread(Entry):
    """Standard deviation, 95 % bound and worst case of an error, mm."""

    sigma: Least
    expected_95: Least
    worst: Least


class HoleAccuracy(Entry):
    """A hole's errors along and across the ski and in all, and the term that adds `most`."""

    x: Spread
    y: Spread
    radial: Spread
    most: Text


class ErrorTerm(Entry):
    """One cause of error, and the largest standard deviation it gives any hole, mm."""

    name: Text
    size: Text
    distribution: Word
    source: Text
    sigma_x: Least
    sigma_y: Least


class BudgetSummary(Entry):
    """The error budget of one way of working; mm.  `spacing_95` is from hole to hole, by group."""

    method: Literal["jig", "sheet"]
    terms: tuple[ErrorTerm, ...]
    holes: dict[Name, HoleAccuracy]
    spacing_95: dict[Name, Least]
    largest_95: Least


class CentringSummary(Entry):
    """How far sideways the worst hole may lie, mm: rails pressed on, released, and free."""

    loaded: Least
    loose: Least
    free: Least


class LeastGap(Entry):
    """The two parts that come nearest to one another, on which ski; mm."""

    parts: tuple[Name, Name]
    gap: float
    ski: Length


class MovingSummary(Entry):
    """What the moving parts do over the ski range: narrowest, widest ski and steps between."""

    widths: tuple[Length, Length, Count]
    teeth: Least
    least_gap: LeastGap


class Accuracy(Entry):
    """What is expected of the jig, beside marking out by hand from a paper sheet.

    `division` holds, by hole and station, how far sideways a hole lies when that station's left
    and right readings differ by one line of the rails' scale, mm.
    """

    jig: BudgetSummary
    sheet: BudgetSummary
    centring: CentringSummary
    division: dict[Name, dict[Name, Annotated[float, Field(ge=0, le=50)]]]
    moving: MovingSummary


# -- plastic -------------------------------------------------------------------------------------


class PartMass(Entry):
    """A part's pieces: volume in mm³ and mass in g of each, solid and printed at `infill` %."""

    name: Name
    count: Count
    infill: Share
    volume: Least
    solid: Least
    printed: Least


class Movement(Entry):
    """How far a hole `reach` mm from the mounting mark moves with the plastic, mm."""

    reach: Least
    shrinkage: tuple[Least, Least]
    cold: Least
    swelling: tuple[Least, Least] | None


class PlasticEffects(Entry):
    """What the plastic does to the farthest `hole`, and to a rail under `force` N.

    `cold` in `movement` is for `colder` °C below the temperature of measuring.
    """

    hole: Name
    movement: Movement
    bend: Least
    force: Least
    colder: float


class Plastic(Entry):
    """How the parts are printed: walls of `line` mm, solid layers of `skin` mm, density in g/cm³.

    `solid` and `printed` are the masses of all pieces in g.
    """

    name: Annotated[str, Field(min_length=1, max_length=40)]
    density: Length
    walls: Count
    line: Length
    skin: Length
    parts: tuple[PartMass, ...]
    solid: Least
    printed: Least
    parked_car: Word
    effects: PlasticEffects
    advice: tuple[Text, ...]


# -- verification and printing, as the verification writes them ----------------------------------


class WantedBore(Entry):
    """Where the verification wanted a hole, and how wide, mm."""

    x: float
    y: float
    bore: float
    throat: float


class FoundBore(WantedBore):
    """A hole as found in one format; `tilt` in degrees."""

    deviation: float
    tilt: float


class VerifiedHole(Entry):
    """A hole of the verification; `deviation` in mm, None where it was not found."""

    id: Name
    part: Name
    wanted: WantedBore
    step: FoundBore | None
    stl: FoundBore | None
    deviation: float | None


class WantedPeg(Entry):
    """Where the verification wanted a peg, how wide and how high, mm."""

    x: float
    y: float
    diameter: float
    top: float


class FoundPeg(WantedPeg):
    """A peg as found in one format; `tilt` in degrees."""

    deviation: float
    tilt: float


class VerifiedPeg(Entry):
    """A peg of the verification; `deviation` in mm, None where it was not found."""

    id: Name
    part: Name
    wanted: WantedPeg
    step: FoundPeg | None
    stl: FoundPeg | None
    deviation: float | None


class VerifiedLine(Entry):
    """A boot length on a part's ladder: where its line was found, and the farthest hole, mm."""

    part: Name
    boot: Length
    step: float | None
    stl: float | None
    deviation: float | None


class VerifiedFault(Entry):
    """One failed check, with its numbers where it has any."""

    code: Word
    source: Word
    subject: Text
    message: Text
    found: float | None
    wanted: float | None
    limit: float | None
    unit: Word


class Verification(Entry):
    """What the verification found in the files, with the limits it went by."""

    passed: bool
    checks: Annotated[int, Field(ge=0)]
    limits: dict[Name, float]
    holes: tuple[VerifiedHole, ...]
    pegs: tuple[VerifiedPeg, ...] = ()
    ladders: tuple[VerifiedLine, ...] = ()
    faults: tuple[VerifiedFault, ...] = ()

    @property
    def deviation(self) -> float:
        """The farthest that any hole or peg was found from its place, mm."""
        found = [hole.deviation for hole in self.holes] + [peg.deviation for peg in self.pegs]
        return max((deviation or 0.0 for deviation in found), default=0.0)


class PrintPlace(Entry):
    """Where a print check found its number: corners on the bed, and on the ski, mm."""

    kind: Word
    found: float | None
    bed: tuple[tuple[float | None, ...], ...]
    ski: tuple[tuple[float | None, ...], ...]


class PrintCheck(Entry):
    """One print check of a part: what was found, and its limit; None where it is not finite."""

    passed: bool
    code: Word
    found: float | None
    bound: Literal["most", "least"]
    limit: float | None
    unit: Word
    message: Text = ""
    places: tuple[PrintPlace, ...]


class PartPrinting(Entry):
    """The print checks of a part, by name."""

    passed: bool
    checks: dict[Name, PrintCheck]


class Printing(Entry):
    """How the parts print with a `nozzle` and a `layer` of that many mm, by part."""

    nozzle: Length
    layer: Length
    parts: dict[Name, PartPrinting]
