"""What a person may choose about a jig, each with the default in force when they do not."""

from dataclasses import dataclass
from typing import Literal

from jiggen.design.sidewall import Sidewall, check_sidewall
from jiggen.errors import Finding, InputError
from jiggen.layout import SKIS
from jiggen.tables import USUAL, material

LEAST_WALL = 1.2  # mm between two holes or cut-outs: three lines of a 0.4 mm nozzle
LEAST_RIM, MOST_RIM = 2.0, 30.0  # mm, common practice, no source


@dataclass(frozen=True)
class SkiRange:
    """Ski widths the jig centres on, in mm, narrowest to widest (see `jiggen.design.sidewall`)."""

    least: float
    most: float

    @property
    def middle(self) -> float:
        """Middle of the range in mm."""
        return (self.least + self.most) / 2


@dataclass(frozen=True)
class Bed:
    """Printable space in mm: x and y on the bed, z up.

    `rim` is kept free along its sides, for a brim and what the printer purges (common practice, no
    source); a piece that is too long for that keeps LEAST_RIM free.
    """

    x: float = 220.0
    y: float = 220.0
    z: float = 250.0
    rim: float = 8.0

    def check(self) -> None:
        """Raise InputError for a rim that leaves no bed, or none at all."""
        if not 0.0 <= self.rim <= MOST_RIM:
            message = f"the bed's rim is {self.rim:g} mm"
            hint = f"Allowed: 0 to {MOST_RIM:g} mm."
            raise InputError.of("design.setting", message, key="bed-rim", hint=hint)

    @property
    def least_rim(self) -> float:
        """What stays free beside the longest piece, mm."""
        return min(self.rim, LEAST_RIM)


@dataclass(frozen=True)
class Bush:
    """A headless press-fit drill bush (DIN 179): outside diameter and length in mm."""

    outside: float
    length: float


BushChoice = Literal["auto", "none"] | Bush


@dataclass(frozen=True)
class Settings:
    """Every choice behind a jig; all lengths in mm.

    `bush_fit` is added to the bush's outside diameter, since printed holes come out small;
    `guide_clearance` to the drill's where it is guided by the print itself; `hole_fit` to every
    hole that a drill passes without a bush, where a printer needs more than that; `slide` is the
    clearance per side of every sliding face; `wall` the least wall between cut-outs; `backlash`
    the tooth thinning at the pitch line of pinion and rack together; `material` the plastic,
    which decides how far the rails bend (`jiggen.tables`).  The ski's side is a `sidewall`, and
    rails reach `rail_depth` below the top sheet, where its width is measured.
    """

    ski: SkiRange
    bed: Bed = Bed()
    bush: BushChoice = "auto"
    bush_fit: float = 0.10
    guide_clearance: float = 0.15
    hole_fit: float = 0.0
    body: float = 14.0
    relief: float = 0.6
    wall: float = 2.0
    slide: float = 0.2
    backlash: float = 0.16
    sidewall: Sidewall = "upright"
    rail_depth: float = 9.0
    joint_fit: float = 0.15
    material: str = USUAL

    def check(self) -> None:
        """Raise InputError, all faults at once, when no jig can be built on these numbers."""
        limits = (
            ("ski", self.ski.least, *SKIS, "narrowest ski width"),
            ("ski", self.ski.most, min(self.ski.least, SKIS[1]), SKIS[1], "widest ski width"),
            ("bed", min(self.bed.x, self.bed.y), 120.0, 2000.0, "bed side"),
            ("bed", self.bed.z, 40.0, 2000.0, "bed height"),
            ("bush-fit", self.bush_fit, -0.2, 0.6, "bush fit allowance"),
            ("hole-fit", self.hole_fit, -0.6, 0.6, "drill hole allowance"),
            ("body", self.body, 12.0, 30.0, "body thickness"),
            ("slide", self.slide, 0.05, 0.6, "sliding clearance per side"),
            ("wall", self.wall, LEAST_WALL, 10.0, "least wall"),
            ("relief", self.relief, 0.3, 1.0, "underside relief"),
            ("backlash", self.backlash, 0.05, 0.5, "gear backlash"),
            ("rail-depth", self.rail_depth, 5.0, 20.0, "rail depth below the top sheet"),
            ("joint-fit", self.joint_fit, 0.05, 0.4, "joint clearance per side"),
        )
        faults = []
        one = self.ski.least == self.ski.most  # which is said once
        for key, value, low, high, what in (limits[0], *limits[1 + one :]):
            if not low <= value <= high:
                message, hint = f"{what} is {value:g} mm", f"Allowed: {low:g} to {high:g} mm."
                faults.append(Finding("design.setting", message, key=key, hint=hint))
        for check in (
            self.bed.check,
            lambda: material(self.material),
            lambda: check_sidewall(self.sidewall),
        ):
            try:
                check()
            except InputError as error:
                faults += error.findings
        if faults:
            raise InputError(faults)
