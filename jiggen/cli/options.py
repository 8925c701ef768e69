"""The options that several commands share, what the rooms need of them, and a shop's defaults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from jiggen import options as table
from jiggen.cli.output import columns, write
from jiggen.cli.program import COMMANDS, JIGS, command
from jiggen.errors import Finding, InputError
from jiggen.options import HABITS, Option

if TYPE_CHECKING:
    from jiggen.design import Bed, Settings
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.layout import Layout
    from jiggen.measure.printer.profile import Profile
    from jiggen.pattern.model import Pattern

LOCAL = Path("jiggen-defaults.toml")
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
    from jiggen.design import Bush, Settings, SkiRange
    from jiggen.tables import material as find_material

    in_hand = Bush(*bush) if isinstance(bush, tuple) else bush
    settings = Settings(SkiRange(*ski), bed=bed, bush=in_hand, **vars(sides))
    if not material:
        return settings
    return replace(settings, material=find_material(material, "--material").name)


def read_printer(words: str | None) -> Profile | None:
    """The profile of the printer named, if any.  Raises InputError where it is unknown or wrong."""
    from jiggen.measure.printer.profile import find_profile

    return None if words in (None, "none") else find_profile(words)


def check_outside(target: Path, folder: Path, key: str) -> None:
    """Raise InputError ``cli.inside`` for a file in a jig's folder: every file in it is checked."""
    if target.resolve().is_relative_to(folder.resolve()):
        message = f"{target.name} would be in the jig's own folder"
        hint = "jiggen check knows every file of that folder: write it beside the folder."
        raise InputError.of("cli.inside", message, where=str(target), key=key, hint=hint)


@dataclass(frozen=True)
class Default:
    """The value of an option that is not on the command line, as a person would write it.

    `where` is ``file:line:column``, empty for a value that jiggen itself has.
    """

    option: Option
    words: str | None
    where: str = ""


def user_file() -> Path:
    """The user's own file of defaults: in a folder by the system's custom, there or not."""
    from platformdirs import user_config_path

    return user_config_path("jiggen", appauthor=False) / "defaults.toml"


def read_defaults() -> dict[str, Default]:
    """The default of each option that a file may set, by its name.

    Raises InputError ``defaults.unknown-key`` and ``.value``, and as `jiggen.inputs` does.
    """
    found = {option.name: Default(option, option.default) for option in HABITS}
    faults: list[Finding] = []
    for path in (user_file(), LOCAL):
        if path.exists():
            try:
                found |= _read(path)
            except InputError as error:
                faults += error.findings
    if faults:
        raise InputError(faults)
    return found


def defaults_for(words: Sequence[str]) -> dict[str, Default]:
    """What the files set of the command in `words`, by the parameter that takes its value.

    Raises InputError as `read_defaults`, unless only help is asked for.
    """
    rows = COMMANDS.get(next((word for word in words if not word.startswith("-")), ""), {})
    habits = {field: row.name for field, row in rows.items() if row.habit}
    try:
        found = read_defaults() if habits else {}
    except InputError:
        if {"-h", "--help"} & set(words):
            return {}
        raise
    return {field: found[name] for field, name in habits.items() if found[name].where}


def placed(finding: Finding, used: dict[str, Default], words: Sequence[str]) -> Finding:
    """A finding about an option's value, with its place when that value is from a file."""
    for default in used.values():
        given = any(word.partition("=")[0] == default.option.flag for word in words)
        named = finding.key in (default.option.name, default.option.flag)
        if named and not given and not finding.where:
            return replace(finding, where=default.where, key=default.option.name)
    return finding


def _read(path: Path) -> dict[str, Default]:
    from jiggen.inputs.document import FileKind, read_document
    from jiggen.inputs.faults import Fault, nearest, shown

    document = read_document(path, FileKind("defaults", "A file of defaults"))
    known = {option.name: option for option in HABITS}
    found: dict[str, Default] = {}
    faults = []
    for name, value in document.data.items():
        if name not in known:
            near = nearest(name, known)
            hint = f"Did you mean {near}?" if near else f"Allowed: {', '.join(known)}."
            message = "not the name of an option with a default"
            faults.append(Fault((name,), "unknown-key", message, hint))
        elif isinstance(value, bool) or not isinstance(value, str | int | float):
            hint = "Write it as on the command line, in quotes unless it is a plain number."
            faults.append(Fault((name,), "value", f"{shown(value)} is not a value of it", hint))
        else:
            found[name] = Default(known[name], str(value), document.where((name,)))
            try:
                known[name].read(str(value))
            except InputError as error:
                faults += (Fault((name,), "value", f.message, f.hint) for f in error.findings)
    document.refuse(faults)
    return found


@command(JIGS, "defaults")
def show_defaults(as_json: JsonOption) -> None:
    """Show the defaults in force, and the files that set them.

    A file has an option's name and value on each line: bed = "250x210x220". The one beside the
    work wins over your own, and the command line wins over both.
    """
    every = read_defaults().values()
    rows = [(one.option.name, one.words, one.where or "jiggen") for one in every]
    shown = ((name, words or "-", where) for name, words, where in rows)
    lines = [
        *columns(("option", "default", "from"), shown, left=3),
        "",
        f"Your own are read from {user_file()}, those of the work",
        f"from ./{LOCAL}.",
    ]
    data = {
        "files": {"user": str(user_file()), "work": str(LOCAL)},
        "defaults": [dict(zip(("name", "value", "from"), row, strict=True)) for row in rows],
    }
    write(as_json, lambda: data, lambda: "\n".join(lines))
