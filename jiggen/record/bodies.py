"""What a body is by its record, from its underside up, and what fasteners go through the parts.

Lengths are mm, in the ski frame: x from the mounting mark towards the tip, y to the left, z up.
A region is given by its rings, in any order: what lies within an odd number of them is in it.
"""

from typing import Annotated, Literal

from pydantic import Field

from jiggen.outcome import Length, Name
from jiggen.record.entries import Rounded, Size
from jiggen.record.results import Entry, Least

Pair = tuple[Rounded, Rounded]
Box = tuple[Rounded, Rounded, Rounded, Rounded]
Vector = tuple[Rounded, Rounded, Rounded]
Ring = Annotated[tuple[Pair, ...], Field(min_length=3)]
Rings = tuple[Ring, ...]


class Pit(Entry):
    """What is cut out between the heights `z`: x from, to, y from, to, at the lower and upper."""

    name: Name
    z: Pair
    at: tuple[Box, Box]


class Turned(Entry):
    """What is turned out about the upright axis at (x, y): the radii at both heights `z`."""

    name: Name
    x: Rounded
    y: Rounded
    z: Pair
    radii: tuple[Least, Least]


class Drilled(Entry):
    """A round hole along the ski between two `x`, at y and z."""

    name: Name
    x: Pair
    y: Rounded
    z: Rounded
    diameter: Size


class Window(Entry):
    """A sight window: what it takes from the body, seen from above."""

    name: Name
    ring: Ring


class BodyShape(Entry):
    """The body `part`: its `outline` seen from above, from z = 0 up to `top`, less all cuts.

    Up to `relief` only `supports` are there, what it stands on, or all of it if there are none.
    Its edges on the printer's bed, `footed`, are taken off at 45° by `foot`; it is engraved `marks`
    deep.  `grooves` are the places
    of lines that go deeper, `flares` of what they end on.
    """

    part: Name
    top: Size
    relief: Least
    footed: Literal["top", "underside"]
    foot: Least
    marks: Least
    outline: Rings
    supports: Rings = ()
    windows: tuple[Window, ...] = ()
    pits: tuple[Pit, ...] = ()
    turned: tuple[Turned, ...] = ()
    drilled: tuple[Drilled, ...] = ()
    grooves: tuple[Pit, ...] = ()
    flares: tuple[Pit, ...] = ()


class Fastener(Entry):
    """A socket head screw `length` mm long, with its nut, through these `pieces` as placed.

    The middle of the face under its head is at `head`, from where it points `towards`; the nut's
    bearing face is `grip` from there, one of the nut's flats square to `flat`.  The nut is
    laid in from the direction `lay`, and the screw too where it lies across that.
    """

    name: Name
    thread: Name
    length: Length
    head: Vector
    towards: Vector
    grip: Length
    flat: Vector
    lay: Vector
    pieces: Annotated[tuple[Name, ...], Field(min_length=1)]
