"""The options that several commands share, and what the rooms need made from their values."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from jiggen import options as table
from jiggen.errors import InputError

if TYPE_CHECKING:
    from jiggen.design import Settings
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.layout import Layout
    from jiggen.measure.printer.profile import Profile

Lengths = tuple[float, ...]
"""Lengths in mm."""
Range = tuple[float, float]
"""Least and greatest length in mm."""
# The same words as in jiggen.pattern.model, which is not imported here: it would take longer
# than everything else that --help needs.
Core = Literal["plain", "metal"]
Side = Literal["left", "right"]
Paper = Literal["A4", "letter"]
Units = Literal["mm", "in"]

PatternArgument = Annotated[str, table.PATTERN]
FolderArgument = Annotated[Path, table.FOLDER]
SkiOption = Annotated[Range, table.SKIS]
ShiftOption = Annotated[float, table.SHIFT]
CoreOption = Annotated[Core, table.CORE]
SideOption = Annotated[Side, table.SIDE]
BushOption = Annotated[Literal["auto", "none"] | Range, table.BUSH]
BushFitOption = Annotated[float, table.BUSH_FIT]
BedOption = Annotated[tuple[float, float, float], table.BED]
MaterialOption = Annotated[str, table.MATERIAL]
PrinterOption = Annotated[str | None, table.PRINTER_NAME]
ForceOption = Annotated[bool, table.FORCE]
JsonOption = Annotated[bool, table.JSON]


@dataclass(frozen=True)
class Mount:
    """The options that say where the holes of one mount go; lengths in mm."""

    pattern: Annotated[str, table.PATTERN]
    boot: Annotated[float, table.BOOT]
    shift: Annotated[float, table.SHIFT]
    core: Annotated[Core, table.CORE]
    side: Annotated[Side, table.SIDE]

    def lay_out(self) -> Layout:
        """The layout.  Raises InputError for the pattern, and for what does not fit it."""
        from jiggen.layout import lay_out
        from jiggen.pattern import find_pattern, read_pattern

        return lay_out(
            read_pattern(find_pattern(self.pattern)),
            self.boot,
            mount_shift=self.shift,
            core=self.core,
            side=self.side,
        )


@dataclass(frozen=True)
class SkiInHand:
    """The options that say what was measured on the ski; lengths in mm."""

    thickness: Annotated[Lengths | None, table.THICKNESS]
    widths: Annotated[list[Range] | None, table.WIDTH_AT]
    area: Annotated[tuple[float, float, float] | None, table.AREA]

    def state(self) -> SkiState:
        """What was measured.  Raises InputError for what cannot be."""
        from jiggen.drilling import Area, SkiState

        area = Area(*self.area) if self.area else None
        state = SkiState(self.thickness or (), tuple(self.widths or ()), area)
        state.check()
        return state


@dataclass(frozen=True)
class Limits:
    """The options that say what is asked of a drilled hole; lengths in mm."""

    base_left: Annotated[float, table.BASE_LEFT]
    edge: Annotated[float, table.EDGE]

    def checked(self) -> DrillingLimits:
        """The drilling check's limits, the rest of them by default.  Raises InputError."""
        from jiggen.drilling import DrillingLimits

        limits = DrillingLimits(base_left=self.base_left, edge=self.edge)
        limits.check()
        return limits


def read_settings(ski: Range, bed: Lengths, bush: BushOption, material: str = "") -> Settings:
    """A jig's settings from the values of options, the rest as by default.

    Raises InputError for a plastic that is not listed.
    """
    from jiggen.design import Bed, Bush, Settings, SkiRange
    from jiggen.tables.materials import material as find_material

    in_hand = Bush(*bush) if isinstance(bush, tuple) else bush
    settings = Settings(SkiRange(*ski), bed=Bed(*bed), bush=in_hand)
    if not material:
        return settings
    return replace(settings, material=find_material(material, "--material").name)


def read_printer(words: str | None) -> Profile | None:
    """The profile of the printer that was named; None when none was.

    Raises InputError for a profile that is unknown or wrong.
    """
    from jiggen.measure.printer.profile import find_profile

    return None if words in (None, "none") else find_profile(words)


def check_outside(target: Path, folder: Path, key: str) -> None:
    """Raise InputError ``cli.inside`` for a file in a jig's folder: every file in it is checked."""
    if target.resolve().is_relative_to(folder.resolve()):
        message = f"{target.name} would be in the jig's own folder"
        hint = "jiggen check knows every file of that folder: write it beside the folder."
        raise InputError.of("cli.inside", message, where=str(target), key=key, hint=hint)
