"""What is known of the ski and of the screws, and the limits of the check; lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from jiggen.errors import Finding, InputError
from jiggen.layout import numbered
from jiggen.pattern import Area, Pattern, Screw


@dataclass(frozen=True)
class DrillingLimits:
    """Every number the drilling check goes by, with where its default comes from."""

    # The usual point of general-purpose twist drills; from memory (DIN 338, DIN 1412).
    point_angle: float = 118.0
    # Left between the point of the drill and the base; common practice, no source.
    base_left: float = 2.0
    # ISO 6005:1991: screws reach 6 ± 0.2 mm deep when holes are tested for stripping.
    engagement: float = 6.0
    # The hole is drilled deeper than the screw goes; common practice, no source.
    # In ISO 6005:1991 it is 1 mm: hole 9 mm deep, screw 8 ± 0.2 mm.
    screw_gap: float = 0.5
    # ISO 10045:2017: largest major diameter of the test screw, 5.31 to 5.46 mm.
    screw_diameter: float = 5.46
    # From a hole's wall to the edge of the ski; common practice, no source.
    edge: float = 8.0
    # Length of drill held by the chuck; common practice, no source.
    chuck_grip: float = 20.0
    # Length of drill under the depth stop; common practice, no source.
    stop_length: float = 10.0
    # Flute above the guide with the drill all the way down; common practice, no source.
    chip_clearance: float = 5.0

    def check(self) -> None:
        """Raise InputError ``drilling.limit``, all faults at once, for impossible numbers."""
        limits = (
            ("point_angle", 60.0, 180.0, "degrees"),
            ("base_left", 0.0, 20.0, "mm"),
            ("engagement", 0.0, 20.0, "mm"),
            ("screw_gap", 0.0, 10.0, "mm"),
            ("screw_diameter", 0.0, 12.0, "mm"),
            ("edge", 0.0, 60.0, "mm"),
            ("chuck_grip", 0.0, 60.0, "mm"),
            ("stop_length", 0.0, 60.0, "mm"),
            ("chip_clearance", 0.0, 60.0, "mm"),
        )
        _refuse(
            _fault("limit", f"{key} is {value:g} {unit}", key, f"{low:g} to {high:g} {unit}")
            for key, low, high, unit in limits
            for value in [float(getattr(self, key))]
            if not low <= value <= high  # so put, NaN is refused as well
        )

    def point(self, drill: float) -> float:
        """Length in mm of the point of a `drill` of that diameter, from tip to full diameter."""
        return drill / 2 / math.tan(math.radians(self.point_angle / 2))


@dataclass(frozen=True)
class SkiState:
    """What was measured on the ski, in mm; nothing of it has to be known.

    `thickness` is empty, one value for the whole ski, or two: under the toe and under the heel,
    that is at the centres of the foremost and the rearmost group of holes.  `widths` are up to
    three pairs of x from the mounting mark and the ski's width there.
    """

    thickness: tuple[float, ...] = ()
    widths: tuple[tuple[float, float], ...] = ()
    area: Area | None = None

    def check(self) -> None:
        """Raise InputError ``drilling.ski``, all faults at once, for impossible measurements."""
        _refuse(self._faults())

    def _faults(self) -> Iterator[Finding]:
        if len(self.thickness) > 2:
            text = f"{len(self.thickness)} thicknesses"
            yield _fault("ski", text, "thickness", "one value, or two: under toe and heel")
        for value in self.thickness:
            if not 3.0 <= value <= 60.0:  # common practice, no source
                yield _fault("ski", f"a ski {value:g} mm thick", "thickness", "3 to 60 mm")
        if len(self.widths) > 3:
            yield _fault("ski", f"{len(self.widths)} widths", "width", "up to three")
        for x, width in self.widths:
            if not (40.0 <= width <= 200.0 and abs(x) <= 1200.0):  # common practice, no source
                text = f"a ski {width:g} mm wide, {x:g} mm from the mounting mark"
                yield _fault("ski", text, "width", "40 to 200 mm wide, within 1200 mm of the mark")
        # Nearer together, a small error of measuring would bend the curve through three widths.
        if any(not b - a >= 20.0 for a, b in pairwise(sorted(x for x, _ in self.widths))):
            text = "two widths were measured at nearly the same place"
            yield _fault("ski", text, "width", "20 mm apart or more")
        area = self.area
        if area and not (-math.inf < area.x_from < area.x_to < math.inf and area.half_width > 0):
            text = f"an area from {area.x_from:g} to {area.x_to:g} mm, {area.half_width:g} mm wide"
            yield _fault("ski", text, "area", "from the tail's end to the tip's, and a half width")


def screws_of(pattern: Pattern) -> Mapping[str, Screw]:
    """What goes into each hole, by its id in any layout of `pattern`; holes without are left out.

    Lengths in mm.
    """
    return {
        name: hole.screw
        for group in pattern.groups
        for name, hole in numbered(group)
        if hole.screw is not None
    }


def _fault(code: str, message: str, key: str, allowed: str) -> Finding:
    return Finding(f"drilling.{code}", message, key=key, hint=f"Allowed: {allowed}.")


def _refuse(faults: Iterator[Finding]) -> None:
    if found := tuple(faults):
        raise InputError(found)
