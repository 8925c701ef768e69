"""What a manifest says of engravings, as the verification reads it; mm, ski frame."""

from typing import Annotated, Literal

from pydantic import Field

from jiggen.outcome import Length, Name, Word
from jiggen.verify.reading.entries import Coefficient, Entry, Heights

Box = tuple[Coefficient, Coefficient, Coefficient, Coefficient]


class Sign(Entry):
    """A text, arrow or diamond: the middle of its box, its turn in degrees.

    `size` is the height of a text's capitals, an arrow's length, a diamond's radius.
    """

    kind: Literal["text", "arrow", "axis", "diamond"]
    text: Annotated[str, Field(max_length=200)] = ""
    x: Coefficient
    y: Coefficient
    size: Length
    turn: Literal[0, 90, -90]


class Ruled(Entry):
    """Lines of one `name`, as boxes (x from, y from, x to, y to); of grooves the heights `z`."""

    name: Word
    boxes: Annotated[tuple[Box, ...], Field(max_length=1000)]
    z: Heights | None = None


class Engraved(Entry):
    """What is engraved in a level face of a `part`, as its first piece lies.

    The floors lie at height `floor`, `depth` deep; the face looks up, or `down`.
    """

    part: Name
    floor: Coefficient
    depth: Length
    down: bool = False
    signs: Annotated[tuple[Sign, ...], Field(max_length=1000)] = ()
    lines: Annotated[tuple[Ruled, ...], Field(max_length=100)] = ()
    grooves: Annotated[tuple[Ruled, ...], Field(max_length=100)] = ()

    @property
    def texts(self) -> tuple[Sign, ...]:
        """The signs that are texts."""
        return tuple(sign for sign in self.signs if sign.kind == "text")

    def boxes(self, name: str) -> tuple[Box, ...]:
        """The boxes of the lines of this name."""
        return tuple(box for ruled in self.lines if ruled.name == name for box in ruled.boxes)
