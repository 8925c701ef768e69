"""A checked hole pattern as plain values, and the limits of them; every length in millimetres."""

from dataclasses import dataclass, field, replace
from typing import Literal

Datum = Literal["boot-toe", "boot-heel", "boot-centre"]
"""The points of a boot that need no entry in a pattern's `points`."""
Core = Literal["plain", "metal"]
Side = Literal["left", "right"]
Pair = Literal["same", "mirrored"]

DATUM_SLOPE: dict[str, float] = {"boot-toe": 0.5, "boot-heel": -0.5, "boot-centre": 0.0}
"""How far such a point lies from the boot's centre, in boot sole lengths, + towards the tip."""

# Limits.  All are common practice (no source): wide enough for any ski, narrow enough to catch
# a slip of the decimal point or the wrong unit.
MAX_HOLES = 200
LONGEST_NAME = 40  # characters
X_LIMIT = 600.0  # from the mounting mark, either way along the ski
Y_LIMIT = 75.0  # from the centre line, either way
DIAMETERS = (1.0, 12.0)
DEEPEST = 30.0
BOOTS = (100.0, 500.0)
SHOE_SIZES = (3.0, 60.0)  # a number between is a shoe's size, in whatever system
SOLE_HINT = (
    "Write the sole length in mm, which is moulded on the shell near the heel: 305, or 12in."
)
WIDEST_DRILL = 4.5  # for a binding's screw; wider ones, for inserts, must be said to be meant
LEAST_DEPTH = 5.0  # of a hole that holds a binding's screw; the same
WEB = 1.0  # least wall between two drilled holes
SAME = 1e-6  # centres nearer than this are one hole written twice


@dataclass(frozen=True)
class Drill:
    """Drill diameters by what lies under the top sheet, and the depth below it, in mm.

    The depth ends where the hole has its full diameter; the drill's point goes deeper, one of 118
    degrees by 0.3 of the diameter.  `unusual` says that a size no binding's screw has is meant.
    """

    plain: float
    metal: float
    depth: float
    unusual: bool = False

    def diameter(self, core: Core) -> float:
        """Drill diameter in mm for `core`."""
        return self.metal if core == "metal" else self.plain


def oddities(drill: Drill) -> dict[str, str]:
    """What of a drill is not for a binding's screw, and why, by its field; `unusual` or not."""
    found = {}
    for name in ("plain", "metal"):
        if (size := getattr(drill, name)) > WIDEST_DRILL:
            found[name] = f"a drill of {size:.6g} mm leaves no hold for a binding's screw"
    if drill.depth < LEAST_DEPTH:
        found["depth"] = f"a hole {drill.depth:.6g} mm deep is too shallow for a binding's screw"
    return found


@dataclass(frozen=True)
class Screw:
    """What goes into a hole: `lengths` of available screws, through `plate` mm of plate.

    Both count from where the screw's length begins: under a flat head, at the top of a
    countersunk one.
    """

    plate: float
    lengths: tuple[float, ...]


@dataclass(frozen=True)
class Hole:
    """One ``[[group.hole]]``: position in mm from the group's origin, its drill, its screw.

    Of a group with several places it is at one of them; `entry` counts those of the file from 0.
    """

    at: tuple[float, float]
    both_sides: bool
    drill: Drill
    screw: Screw | None = None
    entry: int | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Step:
    """From boot sole length `start` (mm) on, the group is shifted by `shift` (mm)."""

    start: float
    shift: float


@dataclass(frozen=True)
class Group:
    """Holes that move together; either `shift` or `steps` places their origin, in mm.

    `datum` is a point of the boot, one of `Datum` or of the pattern's `points`.
    """

    name: str
    datum: str
    shift: float
    steps: tuple[Step, ...]
    holes: tuple[Hole, ...]

    def shift_at(self, boot: float) -> float:
        """Shift in mm of the group's origin from its datum for a `boot` sole length in mm.

        Each step holds from its boot length up to (not including) the next one's.
        Raises IndexError below the first step.
        """
        reached = [step.shift for step in self.steps if step.start <= boot]
        return reached[-1] if self.steps else self.shift


@dataclass(frozen=True)
class Area:
    """Where a hole may lie: from `x_from` to `x_to`, and `half_width` to either side, in mm.

    On the ski, that is from its mounting mark and its centre line.
    """

    x_from: float
    x_to: float
    half_width: float


@dataclass(frozen=True)
class Pattern:
    """A whole pattern file after checking; `source` is the file it came from, `text` its words.

    The point of the boot called `mark` lies on the ski's mounting mark.  `points` have names of
    their own; each lies so many mm from the boot's toe, + towards the tip.
    """

    name: str
    note: str
    units: Literal["mm", "in"]
    boot: tuple[float, float] | None
    pair: Pair
    groups: tuple[Group, ...]
    source: str
    area: Area | None = None
    mark: str = "boot-centre"
    points: tuple[tuple[str, float], ...] = ()
    text: str = field(default="", compare=False, repr=False)

    @property
    def content(self) -> "Pattern":
        """It without what two files of one pattern may differ in."""
        return replace(self, source="", note="", text="")

    def from_mark(self, point: str) -> tuple[float, float]:
        """How far a point lies from the mounting mark: boot sole lengths, and mm besides."""
        (slope, apart), (mark, beside) = map(self._from_centre, (point, self.mark))
        return slope - mark, apart - beside

    def _from_centre(self, point: str) -> tuple[float, float]:
        if point in DATUM_SLOPE:
            return DATUM_SLOPE[point], 0.0
        return DATUM_SLOPE["boot-toe"], dict(self.points)[point]
