"""Each row checked against its pattern, its ski and its old holes; every fault at once."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from jiggen.design import Settings
from jiggen.design.guides import design_guides
from jiggen.design.sidewall import run_out
from jiggen.drilling import DrillingLimits, SkiState, check_drilling, screws_of
from jiggen.errors import Finding, InputError
from jiggen.evening.read import Place, Row
from jiggen.inputs.faults import quoted
from jiggen.job import deepest
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.model import Pattern, Side
from jiggen.record.results import Drilling
from jiggen.remount.read import read_old_holes
from jiggen.remount.shifts import Answer, OldHole, RemountLimits, check_mount
from jiggen.units import number

T = TypeVar("T")
Known = dict[tuple[str, str], Any]
"""What was read from the files that rows name; None of one that has faults."""

APART = 20.0  # mm: widths measured nearer to one another count as one, as in `jiggen.drilling`
# The column in which a finding is to be corrected, by the last part of its code.
_COLUMNS = {
    code: column
    for column, codes in {
        "boot": ("boot", "boot-range", "spacing", "same-hole", "length"),
        "shift": ("shift", "area"),
        "thickness": ("thickness", "base"),
        "ski_toe": ("width", "off-ski"),
    }.items()
    for code in codes
}
# What is wrong with the row and not with its pattern's file, although it has a place there.
_OF_THE_ROW = {"pattern.boot-range", "pattern.spacing", "pattern.same-hole", "pattern.length"}


@dataclass(frozen=True)
class Terms:
    """What rows are checked by; the ski range of `settings` is not used."""

    settings: Settings
    limits: DrillingLimits
    old: RemountLimits


@dataclass(frozen=True, eq=False)
class Drilled:
    """One layout of a pair, for one ski or for both alike; its drilling, any old holes."""

    layout: Layout
    drilling: Drilling
    old: Answer | None

    @property
    def skis(self) -> tuple[Side, ...]:
        """The skis that get it."""
        return ("left", "right") if self.layout.pair == "same" else (self.layout.side,)


@dataclass(frozen=True, eq=False)
class Pair:
    """A row that was checked, by its number: its pattern, and what is drilled on its skis."""

    number: int
    row: Row
    place: Place
    pattern: Pattern
    drilled: tuple[Drilled, ...]


def check_row(
    number: int, row: Row, place: Place, folder: Path, known: Known, terms: Terms
) -> tuple[Pair | None, tuple[Finding, ...]]:
    """The pair of a row, None when no jig can be planned for it, and what is wrong with it.

    Files are named from `folder`, and each is read once, into `known`.
    """
    faults: dict[Finding, None] = {}

    def tried(column: str, make: Callable[[], T]) -> T | None:
        try:
            return make()
        except InputError as error:
            for one in error.findings:
                other = one.where and one.code not in _OF_THE_ROW  # about another file
                faults[one if other else place.at(_COLUMNS.get(_kind(one), column), one)] = None
            return None

    pattern = tried("pattern", lambda: _once(known, "pattern", _read_pattern, folder, row.pattern))
    old: tuple[OldHole, ...] | None = None
    if row.old_holes:
        file = str(Path(row.old_holes))  # a.csv and ./a.csv are one
        old = tried("old_holes", lambda: _once(known, "file", _read_old, folder, file))
    if pattern is None:
        return None, tuple(faults)
    drilled = []
    sides: tuple[Side, ...] = ("left",) if pattern.pair == "same" else ("left", "right")
    for side in sides:
        made = tried("boot", lambda: _drilled(row, pattern, side, terms, old))  # noqa: B023
        if made is None:  # what is wrong with one ski's layout is wrong with the other's
            return None, tuple(faults)
        faults |= {place.at(column, one): None for column, one in _findings(made)}
        drilled.append(made)
    return Pair(number, row, place, pattern, tuple(drilled)), tuple(faults)


def _kind(finding: Finding) -> str:
    """What decides the column: a finding of the ski in hand names its own key."""
    kind = finding.code.rpartition(".")[2]
    return finding.key if kind == "ski" else kind


def _drilled(
    row: Row, pattern: Pattern, side: Side, terms: Terms, old: tuple[OldHole, ...] | None
) -> Drilled:
    """One layout of a row, and its drilling.  Raises InputError."""
    holes = lay_out(pattern, row.boot, mount_shift=row.shift, core=row.core, side=side)
    tops = {guide.id: guide.bush_top_z for guide in design_guides(holes, terms.settings)}
    state = SkiState(row.thickness, _widths(row, holes, terms.settings), pattern.area)
    deep = deepest(holes, terms.limits)
    checked = check_drilling(holes, tops, state, terms.limits, screws_of(pattern), too_deep=deep)
    return Drilled(holes, checked, check_mount(holes, old, terms.old) if old else None)


def _widths(row: Row, holes: Layout, settings: Settings) -> tuple[tuple[float, float], ...]:
    """The top sheet's widths, each with its x: the middle of the toe's and the heel's holes.

    A row has the ski's, measured where the noses of the rails touch it.
    """
    less = 2 * run_out(settings.sidewall, settings.rail_depth)
    x, groups = holes.positions[:, 0], np.array(holes.groups)
    middles = [float(x[groups == group].mean()) for group in dict.fromkeys(holes.groups)]
    toe, heel = max(middles), min(middles)
    if toe - heel < APART:
        return ((toe, min(row.ski_toe, row.ski_heel) - less),)
    return (heel, row.ski_heel - less), (toe, row.ski_toe - less)


def _findings(made: Drilled) -> Iterator[tuple[str, Finding]]:
    """What keeps a layout from being drilled, each with the column in which to correct it."""
    ski = "" if made.layout.pair == "same" else f"{made.layout.side} ski, "
    for one in made.drilling.errors:
        message = f"{ski}{one.key}: {one.message}"
        yield _COLUMNS[_kind(one)], Finding(one.code, message, hint=one.hint)
    old = made.old
    if not old or not old.conflicts:
        return
    worst = min(old.conflicts, key=lambda conflict: conflict.distance - conflict.limit)
    others = f" (and {len(old.conflicts) - 1} more)" if len(old.conflicts) > 1 else ""
    clear = " or ".join(
        f"shift {number(way.set_to, 3)} (towards the {end})"
        for way, end in ((old.to_tip, "tip"), (old.to_tail, "tail"))
        if way
    )
    yield (
        "old_holes",
        Finding(
            "evening.old-holes",
            f"{ski}{worst.new} would come within {worst.distance:.2f} mm of the old hole "
            f"{worst.old}; {worst.limit:g} mm are needed{others}",
            hint=f"Clear: {clear}." if clear else "No shift of up to 60 mm is clear.",
        ),
    )


def _once(known: Known, kind: str, read: Callable[[Path, str], T], folder: Path, name: str) -> T:
    """What `read` returns, or returned; a file's faults are raised once, later that it has some."""
    key = kind, name
    if key not in known:
        try:
            known[key] = read(folder, name)
        except InputError as error:
            if any(finding.where for finding in error.findings):  # not of the name alone
                known[key] = None
            raise
    found: T | None = known[key]
    if found is None:
        message = f"{quoted(name)} cannot be used: it has faults"
        hint = "Its faults are reported with the first row that names it."
        raise InputError.of(f"evening.{kind}", message, hint=hint)
    return found


def _read_pattern(folder: Path, name: str) -> Pattern:
    """The pattern called `name`: a file in `folder`, or any that its name finds."""
    path = folder / name if _is_file(folder / name) else find_pattern(name)
    if not _is_file(path):  # a pipe, for example: reading it would wait for ever
        hint = "Name a pattern, or the path of a pattern file."
        raise InputError.of("evening.file", f"{quoted(name)} is not a file", hint=hint)
    return read_pattern(path)


def _read_old(folder: Path, name: str) -> tuple[OldHole, ...]:
    path = folder / name
    if not _is_file(path):
        hint = "The name is looked up from the folder of the jobs file."
        message = f"there is no file {quoted(str(path), 200)}"
        raise InputError.of("evening.file", message, hint=hint)
    return read_old_holes(path)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # not a name that a file can have
        return False
