"""The options that several commands and pages share, and what the rooms need of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from jiggen import options as table

if TYPE_CHECKING:
    from jiggen.design import Bed, Settings
    from jiggen.design.settings import BushChoice
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.layout import Layout
    from jiggen.measure.printer.profile import Profile
    from jiggen.pattern.model import Pattern

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
CopyOption = Annotated[int, table.COPY]
ForceOption = Annotated[bool, table.FORCE]
HolesOption = Annotated[bool, table.HOLES]
JsonOption = Annotated[bool, table.JSON]


@dataclass(frozen=True)
class Mount:
    """The options that say where the holes of one mount go; lengths in mm."""

    pattern: Annotated[str, table.PATTERN]
    boot: Annotated[float, table.BOOT]
    shift: Annotated[float, table.SHIFT]
    core: Annotated[Core, table.CORE]
    side: Annotated[Side, table.SIDE]

    def read(self) -> Pattern:
        """The pattern.  Raises InputError for what is wrong with it."""
        from jiggen.pattern import find_pattern, read_pattern

        return read_pattern(find_pattern(self.pattern))

    def lay_out(self, pattern: Pattern | None = None) -> Layout:
        """The layout of its `pattern`, which is read unless it is given.

        Raises InputError for the pattern, and for what does not fit it.
        """
        from jiggen.layout import lay_out

        found = pattern or self.read()
        return lay_out(found, self.boot, mount_shift=self.shift, core=self.core, side=self.side)


@dataclass(frozen=True)
class Sides:
    """The options that say what the ski's side is like, and how deep the rails touch it, in mm."""

    sidewall: Annotated[Literal["upright", "rounded"] | float, table.SIDEWALL]
    rail_depth: Annotated[float, table.RAIL_DEPTH]


@dataclass(frozen=True)
class PrintBed:
    """The options that say where on its bed the printer may print; lengths in mm."""

    size: Annotated[tuple[float, float, float], table.BED]
    rim: Annotated[float, table.BED_RIM]

    def checked(self) -> Bed:
        """The bed.  Raises InputError."""
        from jiggen.design import Bed

        bed = Bed(*self.size, self.rim)
        bed.check()
        return bed


def read_boots(boot: float | Range) -> Range:
    """The shortest and the longest boot sole asked for, mm: of a range, whole lengths.

    Raises InputError ``layout.boots``.
    """
    if not isinstance(boot, tuple):
        return boot, boot
    from jiggen.layout import whole_boots

    lengths = whole_boots(*boot)
    return lengths[0], lengths[-1]


@dataclass(frozen=True)
class SkiInHand:
    """The options that say what was measured on the ski; lengths in mm."""

    thickness: Annotated[Lengths | None, table.THICKNESS]
    widths: Annotated[list[Range] | None, table.WIDTH_AT]
    area: Annotated[tuple[float, float, float] | None, table.AREA]
    mark: Annotated[tuple[Literal["tail", "chord"], float] | None, table.MARK]

    def state(self) -> SkiState:
        """What was measured.  Raises InputError for what cannot be."""
        from jiggen.drilling import SkiMark, SkiState
        from jiggen.pattern.model import Area

        area = Area(*self.area) if self.area else None
        mark = SkiMark(*self.mark) if self.mark else None
        state = SkiState(self.thickness or (), tuple(self.widths or ()), area, mark)
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


def read_settings(
    ski: Range, sides: Sides, bed: Bed, bush: BushOption, material: str = ""
) -> Settings:
    """A jig's settings, the rest by default.  Raises InputError for a plastic not listed."""
    from jiggen.design import Settings, SkiRange
    from jiggen.tables import material as find_material

    settings = Settings(SkiRange(*ski), bed=bed, bush=read_bush(bush), **vars(sides))
    if not material:
        return settings
    return replace(settings, material=find_material(material, "--material").name)


def read_bush(bush: Literal["auto", "none"] | Range) -> BushChoice:
    """A bush as the design has it."""
    from jiggen.design import Bush

    return Bush(*bush) if isinstance(bush, tuple) else bush


def read_printer(words: str | None) -> Profile | None:
    """The profile of the printer named, if any.  Raises InputError where it is unknown or wrong."""
    from jiggen.measure.printer.profile import find_profile

    return None if words in (None, "none") else find_profile(words)
