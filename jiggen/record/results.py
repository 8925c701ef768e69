"""What was computed for a built folder: drilling, accuracy, plastic.  Lengths are mm."""

import math
from collections import Counter
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from jiggen.errors import Finding
from jiggen.files import inner_path
from jiggen.outcome import Length, Name, Text, Word
from jiggen.tables import JobberDrill

FINE = 0.05  # mm: no depth stop is set finer (common practice, no source)
LONGEST_NOTE = 20_000  # characters


class Entry(BaseModel):
    """Base of all parts of a record; keys it does not know are left out."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


def _bounded(finding: Finding) -> Finding:
    if any(len(text) > LONGEST_NOTE for text in finding.as_dict().values()):
        raise ValueError(f"a note of more than {LONGEST_NOTE} characters")
    return finding


Inside = Annotated[str, AfterValidator(inner_path)]
"""A file's path within the folder."""

Least = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(gt=0)]
Note = Annotated[Finding, AfterValidator(_bounded)]

Coefficient = Annotated[float, Field(ge=-1e6, le=1e6)]
_Row = tuple[Coefficient, Coefficient, Coefficient, Coefficient]
Matrix = tuple[_Row, _Row, _Row, _Row]
"""A rigid pose, row by row."""


class DepthStop(Entry):
    """How drill and depth stop are set for some holes.

    The stop comes down at `bush_top` above the ski.  It is set at `from_corners` above the outer
    corners of the lips, where the drill has its full diameter, which is `from_tip` above the very
    tip.  `depth` is that of the full diameter below the top sheet, `point` the length of the
    drill's point.  So much of the drill as `leave` must be out of the chuck, or more: then the
    chuck clears the depth stop and what stands beside these holes.  `long_enough` says whether
    the ordinary `jobber` drill will do.
    """

    holes: Annotated[tuple[Name, ...], Field(min_length=1)]
    drill: Length
    depth: Annotated[Length, Field(le=200)]
    bush_top: Annotated[Length, Field(le=500)]
    point: Length
    point_angle: Annotated[float, Field(ge=60, le=180)]
    from_tip: Length
    from_corners: Length
    leave: Length
    jobber: JobberDrill
    long_enough: bool


class DrilledHole(Entry):
    """One hole as it will be; None where the ski or the screw is not known.

    The drill's `point` goes deeper than `depth`, and the hole may come out `too_deep`; `base_left`
    of the ski's `thickness` remains under both.  `edge` is from the hole's wall to the ski's nearer
    edge; `engagement` is the part of the chosen `screw` in the ski.
    """

    id: Name
    group: Name
    x: float
    y: float
    drill: Length
    depth: Length
    point: Least
    too_deep: Least = 0.0
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

    @property
    def unfit(self) -> dict[str, str]:
        """The holes that none of the screws at hand fits, as they are listed, and what would."""
        codes = ("drilling.screw-short", "drilling.screw-deep")
        return {one.key: one.hint for one in self.warnings if one.code in codes}

    @property
    def screws(self) -> dict[float, int]:
        """How many screws of each length, in mm, one ski takes: of those that fit their hole."""
        bad = {hole for holes in self.unfit for hole in holes.split(", ")}
        return Counter(hole.screw for hole in self.holes if hole.screw and hole.id not in bad)


class Spread(Entry):
    """Standard deviation, 95 % bound and worst case of an error."""

    sigma: Least
    expected_95: Least
    worst: Least


class HoleAccuracy(Entry):
    """A hole's errors along and across the ski and in all, and the term that adds `most`.

    Of a jig for many boots, at the `boot` where it is off most.
    """

    x: Spread
    y: Spread
    radial: Spread
    most: Text
    boot: Length | None = None


class GroupDistance(Entry):
    """What the distance along the ski between the middles of two `groups` stays within, at 95 %.

    They are the foremost group and the rearmost.
    """

    groups: tuple[Name, Name]
    expected_95: Least


class ErrorTerm(Entry):
    """One cause of error, and the largest standard deviation it gives any hole."""

    name: Text
    size: Text
    distribution: Word
    source: Text
    sigma_x: Least
    sigma_y: Least


class BudgetSummary(Entry):
    """The error budget of one way of working; `spacing_95` is from hole to hole, by group.

    `toe_to_heel` is None where there is one group alone.
    """

    method: Literal["jig", "sheet"]
    terms: tuple[ErrorTerm, ...]
    holes: dict[Name, HoleAccuracy]
    spacing_95: dict[Name, Least]
    toe_to_heel: GroupDistance | None = None
    largest_95: Least


def round_up(depth: float) -> float:
    """A depth error in mm, never below zero, as it is counted: up to the next 0.05 mm."""
    return max(0.0, math.ceil(depth / FINE - 1e-9) * FINE)


class DepthTerm(Entry):
    """One cause of a wrong depth: at the worst hole what is `usual`, and its reach either way."""

    name: Text
    size: Text
    distribution: Word
    source: Text
    usual: float
    deeper: Least
    shallower: Least


class DepthError(Entry):
    """By how much a hole is deeper than asked: what is `usual`, and what 95 of 100 stay within.

    Likewise shallower; each may be below zero, where a hole is never so.
    """

    usual: float
    deeper_95: float
    deeper_worst: float
    shallower_95: float
    shallower_worst: float


class DepthBudget(Entry):
    """How deep holes come out; `sag` and `tilt` (degrees) at the worst hole under the most thrust.

    `thrust` is the hand's on the depth stop in N: usual, and at most.
    """

    thrust: tuple[Least, Least]
    sag: float
    tilt: Least
    terms: tuple[DepthTerm, ...]
    holes: dict[Name, DepthError]

    @property
    def too_deep(self) -> dict[str, float]:
        """By hole, how much deeper than asked 95 of 100 are at most: taken off the base left."""
        return {hole: round_up(error.deeper_95) for hole, error in self.holes.items()}


class CentringSummary(Entry):
    """How far sideways the worst hole may lie, mm: rails pressed on, released, and free."""

    loaded: Least
    loose: Least
    free: Least


class HoldDown(Entry):
    """What presses the jig off a ski's sides, sloped by `slope` degrees where noses touch; N.

    Each nose's `force` and `friction` on the side give the `lift` of all; the jig's `weight` less,
    `press` is to be held down until the clamps are tight.
    """

    slope: Annotated[float, Field(ge=0, lt=90)]
    force: Least
    friction: Least
    lift: Least
    weight: Least
    press: Least


class LeastGap(Entry):
    """The two parts that come nearest to one another, on which ski."""

    parts: tuple[Name, Name]
    gap: float
    ski: Length


class ServedSkis(Entry):
    """The narrowest and the widest ski that the parts serve, whatever was asked for.

    What ends it below is `by` the body, on which the rails stop at `stop` unless they are
    pressed, by the end of a rack's teeth, or by a rack in the way of a clamp.
    """

    least: Length
    most: Length
    stop: Length
    by: Literal["body", "teeth", "rack"]


class MovingSummary(Entry):
    """What the moving parts do over the ski range: narrowest, widest ski and steps between."""

    widths: tuple[Length, Length, Count]
    reach: ServedSkis
    teeth: Least
    least_gap: LeastGap


class Accuracy(Entry):
    """What is expected of the jig, beside marking out by hand from a paper sheet.

    `jig` once its print has passed the check with the caliper, `unmeasured` as it was printed.
    `depth` is how deep holes come out through it.  By hole and station, `division` is the hole's
    shift for one line of that station's scale.
    """

    jig: BudgetSummary
    unmeasured: BudgetSummary
    sheet: BudgetSummary
    depth: DepthBudget
    centring: CentringSummary
    division: dict[Name, dict[Name, Annotated[float, Field(ge=0, le=50)]]]
    moving: MovingSummary


class PartMass(Entry):
    """A part's pieces: volume in mm³ and mass in g of each, solid and printed at `infill` %."""

    name: Name
    count: Count
    infill: Annotated[int, Field(ge=0, le=100)]
    volume: Least
    solid: Least
    printed: Least


class Movement(Entry):
    """How far a hole `reach` mm from the mounting mark moves with the plastic."""

    reach: Least
    shrinkage: tuple[Least, Least]
    cold: Least
    swelling: tuple[Least, Least] | None


class PlasticEffects(Entry):
    """What the plastic does to the farthest `hole`, `colder` by °C, and a rail under `force` N."""

    hole: Name
    movement: Movement
    bend: Least
    force: Least
    colder: float


class Plastic(Entry):
    """How the parts are printed: walls of `line`, layers of `skin`, g/cm³, and all masses in g."""

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
