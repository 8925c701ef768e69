"""Each row checked against its pattern, its ski and its old holes; every fault at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, TypeVar

import numpy as np

from jiggen.design import Settings
from jiggen.design.guides import design_guides
from jiggen.drilling import Drilling, DrillingLimits, SkiState, check_drilling, screws_of
from jiggen.errors import Finding, InputError
from jiggen.evening.read import Place, Row
from jiggen.inputs.faults import quoted
from jiggen.layout import Layout, lay_out
from jiggen.pattern import Pattern, Side, find_pattern, read_pattern
from jiggen.remount import Answer, OldHole, RemountLimits, Way, check_mount, read_old_holes

T = TypeVar("T")
Which = Literal["both", "left", "right"]

APART = 20.0  # mm: widths measured nearer to one another count as one, as in `jiggen.drilling`
_SIDES: dict[Which, Side] = {"both": "left", "left": "left", "right": "right"}
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


@dataclass(frozen=True)
class Terms:
    """What rows are checked by; the ski range of `settings` is not used."""

    settings: Settings
    limits: DrillingLimits
    old: RemountLimits


@dataclass(frozen=True, eq=False)
class Drilled:
    """One layout of a pair: for `which` ski, or for both alike; its drilling, any old holes."""

    which: Which
    layout: Layout
    drilling: Drilling
    old: Answer | None

    @property
    def skis(self) -> tuple[Side, ...]:
        """The skis that get it."""
        return ("left", "right") if self.which == "both" else (_SIDES[self.which],)


@dataclass(frozen=True, eq=False)
class Pair:
    """A row that was checked: its pattern, and what is drilled on its skis."""

    row: Row
    place: Place
    pattern: Pattern
    drilled: tuple[Drilled, ...]


def check_row(
    row: Row, place: Place, library: Library, terms: Terms
) -> tuple[Pair | None, tuple[Finding, ...]]:
    """A row's pair, and what is wrong with the row beyond what reading it found.

    The pair is None when no jig can be planned for it.
    """
    faults = _Faults(place)
    pattern = faults.tried("pattern", lambda: library.pattern(row.pattern))
    old = None
    if row.old_holes is not None:
        file = row.old_holes
        old = faults.tried("old_holes", lambda: library.old_holes(file))
    if pattern is None:
        return None, tuple(faults.found)
    whiches: tuple[Which, ...] = ("both",) if pattern.pair == "same" else ("left", "right")
    drilled = []
    for which in whiches:
        made = faults.tried("boot", lambda: _drilled(row, pattern, which, terms))  # noqa: B023
        if made is None:
            break  # what is wrong with one ski's layout is wrong with the other's
        old_answer = check_mount(made.layout, old, terms.old) if old else None
        faults.add(_findings(made, old_answer))
        drilled.append(replace(made, old=old_answer))
    complete = len(drilled) == len(whiches)
    return (Pair(row, place, pattern, tuple(drilled)) if complete else None), tuple(faults.found)


class _Faults:
    """What is wrong with one row, each finding once and with its place there."""

    def __init__(self, place: Place) -> None:
        self._place = place
        self.found: dict[Finding, None] = {}

    def add(self, findings: Iterable[tuple[str, Finding]]) -> None:
        """Keep findings, each with its column."""
        for column, finding in findings:
            key = f"{self._place.prefix}{column}"
            self.found[replace(finding, where=self._place.where, key=key)] = None

    def tried(self, column: str, make: Callable[[], T]) -> T | None:
        """What `make` returns; None, and its findings kept, when it raises InputError.

        A finding about another file keeps its place there.
        """
        try:
            return make()
        except InputError as error:
            for one in error.findings:
                if one.where and one.code not in _OF_THE_ROW:
                    self.found[one] = None
                else:
                    self.add([(_COLUMNS.get(_kind(one), column), one)])
            return None


_OF_THE_ROW = frozenset(
    {"pattern.boot-range", "pattern.spacing", "pattern.same-hole", "pattern.length"}
)


def _kind(finding: Finding) -> str:
    """What decides the column: a finding of the ski in hand names its own key."""
    kind = finding.code.rpartition(".")[2]
    return finding.key if kind == "ski" else kind


def _drilled(row: Row, pattern: Pattern, which: Which, terms: Terms) -> Drilled:
    """One layout of a row, and its drilling.  Raises InputError."""
    holes = lay_out(pattern, row.boot, mount_shift=row.shift, core=row.core, side=_SIDES[which])
    tops = {guide.id: guide.bush_top_z for guide in design_guides(holes, terms.settings)}
    state = SkiState(row.thickness, _widths(row, holes), pattern.area)
    checked = check_drilling(holes, tops, state, terms.limits, screws_of(pattern))
    return Drilled(which, holes, checked, None)


def _widths(row: Row, holes: Layout) -> tuple[tuple[float, float], ...]:
    """The ski's measured widths, each with its x: the middle of the toe's and the heel's holes."""
    x, groups = holes.positions[:, 0], np.array(holes.groups)
    middles = [float(x[groups == group].mean()) for group in dict.fromkeys(holes.groups)]
    toe, heel = max(middles), min(middles)
    if toe - heel < APART:
        return ((toe, min(row.ski_toe, row.ski_heel)),)
    return (heel, row.ski_heel), (toe, row.ski_toe)


def _findings(made: Drilled, old: Answer | None) -> Iterator[tuple[str, Finding]]:
    """What keeps a layout from being drilled, each with the column in which to correct it."""
    ski = "" if made.which == "both" else f"{made.which} ski, "
    for one in made.drilling.errors:
        message = f"{ski}{one.key}: {one.message}"
        yield _COLUMNS[_kind(one)], Finding(one.code, message, hint=one.hint)
    if old and old.conflicts:
        yield "old_holes", _too_near(old, ski)


def _too_near(found: Answer, ski: str) -> Finding:
    """Old holes in the way, and the nearest shifts at which none is."""
    worst = min(found.conflicts, key=lambda conflict: conflict.distance - conflict.limit)
    message = (
        f"{ski}{worst.new} would come within {worst.distance:.2f} mm of the old hole {worst.old}; "
        f"{worst.limit:g} mm are needed"
    )
    if others := len(found.conflicts) - 1:
        message += f" (and {others} more)"
    ways = ((found.to_tip, "tip"), (found.to_tail, "tail"))
    clear = " or ".join(_way(way, end) for way, end in ways if way)
    hint = f"Clear: {clear}." if clear else "No shift of up to 60 mm is clear."
    return Finding("evening.old-holes", message, hint=hint)


def _way(way: Way, end: str) -> str:
    return f"shift {round(way.set_to, 3) + 0.0:g} (towards the {end})"


# -- the files that rows name ----------------------------------------------------------------------


class Library:
    """Reads files named from `folder`, that of the jobs file, each of them once."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._known: dict[tuple[str, str], Any] = {}

    def pattern(self, name: str) -> Pattern:
        """The pattern called `name`: a file beside the jobs file, or any that its name finds.

        Raises InputError; all faults of its file the first time, later that it has some.
        """
        found: Pattern = self._once("pattern", name, self._read_pattern)
        return found

    def old_holes(self, path: Path) -> tuple[OldHole, ...]:
        """The old holes in the file at `path`.  Raises InputError as `pattern` does."""
        found: tuple[OldHole, ...] = self._once("file", str(path), _read_holes)
        return found

    def _once(self, code: str, name: str, read: Callable[[str], Any]) -> Any:
        """What `read` returns, or returned; None is kept for a file that has faults."""
        key = code, name
        if key not in self._known:
            try:
                self._known[key] = read(name)
            except InputError as error:
                if any(finding.where for finding in error.findings):  # not of the name alone
                    self._known[key] = None
                raise
        if self._known[key] is None:
            message = f"{quoted(name)} cannot be used: it has faults"
            hint = "Its faults are reported with the first row that names it."
            raise InputError(Finding(f"evening.{code}", message, hint=hint))
        return self._known[key]

    def _read_pattern(self, name: str) -> Pattern:
        beside = self._folder / name
        path = beside if _is_file(beside) else find_pattern(name)
        if not _is_file(path):  # a pipe, for example: reading it would wait for ever
            hint = "Name a pattern, or the path of a pattern file."
            raise InputError(Finding("evening.file", f"{quoted(name)} is not a file", hint=hint))
        return read_pattern(path)


def _read_holes(name: str) -> tuple[OldHole, ...]:
    if not _is_file(Path(name)):
        hint = "The name is looked up from the folder of the jobs file."
        message = f"there is no file {quoted(name, 200)}"
        raise InputError(Finding("evening.file", message, hint=hint))
    return read_old_holes(Path(name))


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # not a name that a file can have
        return False
