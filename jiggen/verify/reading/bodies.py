"""What a manifest says of bodies' shapes and of fasteners, as the verification reads it; mm."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from jiggen.outcome import Length, Name
from jiggen.verify.geometry import Array
from jiggen.verify.reading.entries import MOST_PARTS, Coefficient, Entry, Heights

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

MOST_CORNERS, MOST_RINGS, MOST_LINES = 5000, 500, 500  # far more than any body has
MOST_CUTS, MOST_FASTENERS = 60, 40  # the same, but each is cut out, or put in its place
SAME = 1e-5  # of a direction that is rounded to six digits

Pair = tuple[Coefficient, Coefficient]
Box = tuple[Coefficient, Coefficient, Coefficient, Coefficient]
Vector = tuple[Coefficient, Coefficient, Coefficient]
Radius = Annotated[float, Field(ge=0, le=1e3)]
Ring = Annotated[tuple[Pair, ...], Field(min_length=3, max_length=MOST_CORNERS)]
Rings = Annotated[tuple[Ring, ...], Field(max_length=MOST_RINGS)]


class Pit(Entry):
    """A cut between two heights: x from, to, y from, to, at the lower and at the upper."""

    name: Name
    z: Heights
    at: tuple[Box, Box]

    @property
    def tapers(self) -> bool:
        """Whether it is wider at one end."""
        return self.at[0] != self.at[1]

    def plan(self, z: float) -> BaseGeometry:
        """It seen from above where it crosses the height `z`."""
        import shapely

        low, high = np.array(self.at)
        x0, x1, y0, y1 = low + (z - self.z[0]) / (self.z[1] - self.z[0]) * (high - low)
        return shapely.box(x0, y0, x1, y1)


class Turned(Entry):
    """A cut turned about the upright axis at (x, y): the radii at both heights."""

    name: Name
    x: Coefficient
    y: Coefficient
    z: Heights
    radii: tuple[Radius, Radius]

    @property
    def tapers(self) -> bool:
        """Whether it is wider at one end."""
        return self.radii[0] != self.radii[1]

    def plan(self, z: float) -> BaseGeometry:
        """It seen from above where it crosses the height `z`."""
        return disc(self.x, self.y, float(np.interp(z, self.z, self.radii)))


class Drilled(Entry):
    """A round hole along the ski between two x, at y and z."""

    name: Name
    x: Heights
    y: Coefficient
    at_z: Annotated[Coefficient, Field(alias="z")]
    diameter: Length

    @property
    def z(self) -> tuple[float, float]:
        """The heights that it lies between."""
        return self.at_z - self.diameter / 2, self.at_z + self.diameter / 2

    def plan(self, z: float) -> BaseGeometry:
        """It seen from above where it crosses the height `z`."""
        import shapely

        half = float(np.sqrt(max((self.diameter / 2) ** 2 - (z - self.at_z) ** 2, 0.0)))
        return shapely.box(self.x[0], self.y - half, self.x[1], self.y + half)


class Window(Entry):
    """A sight window: what it takes from the body, seen from above."""

    name: Name
    ring: Ring


class BodyShape(Entry):
    """A body: its outline seen from above, from z = 0 up to `top`, less all cuts.

    Up to `relief` only `supports` are there, or all of it if there are none.  Its edges on the
    bed, `footed`, are taken off at 45° by `foot`; it is engraved `marks` deep.  `grooves` are
    lines that go deeper, `flares` what they end on.
    """

    part: Name
    top: Length
    relief: Radius
    footed: Literal["top", "underside"]
    foot: Radius
    marks: Radius
    outline: Annotated[Rings, Field(min_length=1)]
    supports: Rings = ()
    windows: Annotated[tuple[Window, ...], Field(max_length=MOST_PARTS)] = ()
    pits: Annotated[tuple[Pit, ...], Field(max_length=MOST_CUTS)] = ()
    turned: Annotated[tuple[Turned, ...], Field(max_length=MOST_CUTS)] = ()
    drilled: Annotated[tuple[Drilled, ...], Field(max_length=MOST_CUTS)] = ()
    grooves: Annotated[tuple[Pit, ...], Field(max_length=MOST_LINES)] = ()
    flares: Annotated[tuple[Pit, ...], Field(max_length=MOST_CUTS)] = ()

    @property
    def cuts(self) -> tuple[Pit | Turned | Drilled, ...]:
        """All that is cut out but for guides."""
        return (*self.pits, *self.turned, *self.drilled)

    @cached_property
    def plan(self) -> BaseGeometry:
        """Its outline seen from above."""
        return region(self.outline)

    @cached_property
    def standing(self) -> BaseGeometry:
        """What it stands on, seen from above, cuts still in it."""
        return region(self.supports) if self.supports else self.plan


class Fastener(Entry):
    """A socket head screw and its nut; see the record's own entry of that name."""

    name: Name
    thread: Name
    length: Length
    head: Vector
    towards: Vector
    grip: Length
    flat: Vector
    lay: Vector
    pieces: Annotated[tuple[Name, ...], Field(min_length=1, max_length=MOST_PARTS)]

    @model_validator(mode="after")
    def _directed(self) -> Self:
        for direction in (self.towards, self.flat, self.lay):
            if abs(float(np.linalg.norm(direction)) - 1.0) > SAME:
                raise ValueError("a direction is not of length 1")
        if abs(float(np.dot(self.towards, self.flat))) > SAME:
            raise ValueError("the nut's flat is not along the screw")
        return self

    @property
    def pose(self) -> Array:
        """(4, 4) from its own frame: origin under the head, z towards its head, x to a flat."""
        pose, up = np.eye(4), -np.array(self.towards)
        pose[:3, 0], pose[:3, 1], pose[:3, 2] = self.flat, np.cross(up, self.flat), up
        pose[:3, 3] = self.head
        return pose


def region(rings: Rings) -> BaseGeometry:
    """The region of these rings: what lies within an odd number; none if they cross or touch."""
    import shapely

    lines = shapely.MultiLineString([[*ring, ring[0]] for ring in rings])
    return shapely.build_area(lines) if lines.is_simple else shapely.Polygon()


def disc(x: float, y: float, radius: float) -> BaseGeometry:
    """A round region, within 0.001 of its radius."""
    import shapely

    return shapely.Point(x, y).buffer(radius, quad_segs=24)
