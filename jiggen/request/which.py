"""What a jig is looked for by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.options import Option
from jiggen.request import options
from jiggen.request.products import JIG
from jiggen.request.reading import Form
from jiggen.request.shelf import SHELF

if TYPE_CHECKING:
    from jiggen.pattern.model import Pattern

SKI_WIDTHS = Option(
    "ski",
    "lengths",
    "The ski's width under toe and heel, 98/96, or one for both: measured where the rails' noses "
    "touch.",
    counts=(1, 2),
    form="98/96",
    required=True,
    metavar="MM/MM",
)


@dataclass(frozen=True)
class WhichRequest:
    """The options that say which pair is on the bench; lengths in mm."""

    mount: options.Mount
    ski: Annotated[options.Lengths, SKI_WIDTHS]
    sides: options.Sides
    thickness: Annotated[options.Lengths | None, table.THICKNESS]
    limits: options.Limits
    bush_limit: Annotated[int, table.BUSH_LIMIT]
    shelf: Annotated[Path, SHELF]

    @property
    def widths(self) -> options.Range:
        """The ski's widths under toe and heel."""
        return self.ski[0], self.ski[-1]

    def to_build(self, pattern: Pattern) -> dict[str, list[str]]:
        """The words by which the form of a jig asks for one that serves the pair."""
        from jiggen.evening.families import skis_around

        mount, sides = self.mount, self.sides
        least, most = skis_around(*self.widths)
        words = {
            "pattern": mount.pattern,
            "boot": f"{mount.boot:g}",
            "ski": f"{least:g}-{most:g}",
            "sidewall": f"{sides.sidewall}",
            "rail-depth": f"{sides.rail_depth:g}",
            "shift": f"{mount.shift:g}",
            "core": mount.core,
            **({"side": mount.side} if pattern.pair == "mirrored" else {}),
        }
        return {name: [word] for name, word in words.items() if word != _USUAL.get(name)}


_USUAL: Mapping[str, str | None] = {row.name: row.default for row in JIG.rows}
WHICH = Form("shelf find", WhichRequest)
