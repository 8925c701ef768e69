"""Each row checked against its pattern, its ski and its old holes; every fault at once."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, get_args

import numpy as np

from jiggen.design import Settings
from jiggen.design.guides import design_guides
from jiggen.design.sidewall import Sidewall, run_out
from jiggen.drilling import DrillingLimits, SkiMark, SkiState, check_drilling, screws_of
from jiggen.errors import Finding, InputError
from jiggen.evening.read import Place, Row
from jiggen.inputs.faults import quoted
from jiggen.job import deepest
from jiggen.layout import Layout, lay_out
from jiggen.measure.printer.profile import Profile
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.model import Pattern, Side
from jiggen.record.results import Drilling
from jiggen.remount.read import read_old_holes
from jiggen.remount.shifts import SENSIBLE, SPAN, Answer, OldHole, RemountLimits, check_mount
from jiggen.units import listed, number

T = TypeVar("T")
SIDES: tuple[Side, ...] = get_args(Side)
Known = dict[tuple[str, str], Any]
"""What was read from the files that rows name; None of one that has faults."""

APART = 20.0  # mm: widths measured nearer to one another count as one, as in `jiggen.drilling`
# The column in which a finding is to be corrected, by the last part of its code.
_COLUMNS = {
    code: column
    for column, codes in {
        "boot": ("boot", "boot-range", "spacing", "same-hole", "length"),
        "shift": ("shift", "area"),
        "thickness": ("base",),
    }.items()
    for code in codes
}
# What is wrong with the row and not with its pattern's file, although it has a place there.
_OF_THE_ROW = {"pattern.boot-range", "pattern.spacing", "pattern.same-hole", "pattern.length"}
# What else findings hang on, by the last part of their code: they are not said where a cell of
# these columns cannot be read.
_HANGS_ON = {
    "old-holes": {"shift", "core"},
    "area": {"core"},
    "base": {"core"},
    "off-ski": {"core"},
}


@dataclass(frozen=True)
class Terms:
    """What rows are checked by; the ski range of `settings` is not used.

    `printer` is the profile of the printer that the jigs come from, None for a true one; they are
    designed with `settings` and with what `fitted` makes of them for that printer; `copy` counts
    the prints of each.
    """

    settings: Settings
    limits: DrillingLimits
    old: RemountLimits
    printer: Profile | None = None
    fitted: Callable[[Settings], Settings] | None = None
    copy: int = 1


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
    number: int,
    row: Row,
    place: Place,
    folder: Path,
    known: Known,
    terms: Terms,
    unread: frozenset[str] = frozenset(),
) -> tuple[Pair | None, tuple[Finding, ...]]:
    """The pair of a row, None when no jig can be planned for it, and what is wrong with it.

    Files are named from `folder`, and each is read once, into `known`.  The columns `unread` have
    something else in place of what could not be read: nothing is said that hangs on them.
    """
    faults: dict[Finding, None] = {}

    def tried(column: str, make: Callable[[], T]) -> T | None:
        try:
            return make()
        except InputError as error:
            for one in error.findings:
                other = one.where and one.code not in _OF_THE_ROW  # about another file
                faults[one if other else place.at(_column(one, column), one)] = None
            return None

    pattern = None
    if "pattern" not in unread:
        pattern = tried(
            "pattern", lambda: _once(known, "pattern", _read_pattern, folder, row.pattern)
        )
    old: tuple[OldHole, ...] | None = None
    if row.old_holes:
        file = str(Path(row.old_holes))  # a.csv and ./a.csv are one
        old = tried("old_holes", lambda: _once(known, "file", _read_old, folder, file))
    drilled = []
    sides: tuple[Side, ...] = ("left",) if pattern and pattern.pair == "same" else SIDES
    for side in sides:
        holes = None
        if pattern and "boot" not in unread:
            holes = tried("boot", lambda: _laid_out(row, pattern, side))  # noqa: B023
        states = _measured(row, holes, terms.settings)
        measured = {
            column: state
            for column, state in states.items()
            if tried(column, lambda: _sound(state))  # noqa: B023
        }
        if not pattern or not holes:  # what is wrong with one ski's is wrong with the other's
            break
        made = tried("boot", lambda: _drilled(holes, measured, pattern, terms, old))  # noqa: B023
        if made is None:
            break
        faults |= {place.at(column, one): None for column, one in _findings(made, measured)}
        drilled += [made] if len(measured) == len(states) else []
    left = (one for one in faults if one.where != place.where or not _hangs_on(one) & unread)
    whole = pattern and len(drilled) == len(sides) and not unread
    pair = Pair(number, row, place, pattern, tuple(drilled)) if pattern and whole else None
    return pair, tuple(left)


def _hangs_on(finding: Finding) -> set[str]:
    """The columns that a finding of a row hangs on: the one that it names, and others."""
    others = _HANGS_ON.get(finding.code.rpartition(".")[2], set())
    return {finding.key.rpartition(".")[2], *others}


def _column(finding: Finding, usual: str) -> str:
    """The column in which to correct a finding."""
    return _COLUMNS.get(finding.code.rpartition(".")[2], usual)


def _laid_out(row: Row, pattern: Pattern, side: Side) -> Layout:
    return lay_out(pattern, row.boot, mount_shift=row.shift, core=row.core, side=side)


def _measured(row: Row, holes: Layout | None, settings: Settings) -> dict[str, SkiState]:
    """What was measured on the ski, column by column: the widths of its top sheet at their x.

    A row has the ski's widths where the noses of the rails touch it.
    """
    toe, heel = widths_of(row.ski_toe, row.ski_heel, holes, settings.sidewall, settings.rail_depth)
    return {
        "ski_toe": SkiState(widths=(toe,)),
        "ski_heel": SkiState(widths=(heel,)),
        "thickness": SkiState(row.thickness),
        "mark": SkiState(mark=SkiMark(*row.mark) if row.mark else None),
    }


def widths_of(
    toe: float, heel: float, holes: Layout | None, sidewall: Sidewall, rail_depth: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """The widths of the top sheet, each with its x, of a ski so wide where the noses touch it; mm.

    They are in the middle of the toe's and the heel's `holes`, at the mark where none are known.
    """
    less, middles = 2 * run_out(sidewall, rail_depth), [0.0]
    if holes:
        x, groups = holes.positions[:, 0], np.array(holes.groups)
        middles = [float(x[groups == group].mean()) for group in dict.fromkeys(holes.groups)]
    return (max(middles), toe - less), (min(middles), heel - less)


def told_apart(widths: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Widths with their x in order; the least of two that are APART by less."""
    found = sorted(widths)
    if len(found) == 2 and found[1][0] - found[0][0] < APART:
        found = [min(found, key=lambda width: width[1])]
    return tuple(found)


def _sound(state: SkiState) -> bool:
    """True.  Raises InputError for what cannot have been measured."""
    state.check()
    return True


def _drilled(
    holes: Layout,
    measured: Mapping[str, SkiState],
    pattern: Pattern,
    terms: Terms,
    old: tuple[OldHole, ...] | None,
) -> Drilled:
    """The drilling of a layout, by what could be `measured`.  Raises InputError."""
    tops = {guide.id: guide.bush_top_z for guide in design_guides(holes, terms.settings)}
    thickness = measured["thickness"].thickness if "thickness" in measured else ()
    widths = told_apart(width for state in measured.values() for width in state.widths)
    state = SkiState(thickness, widths, pattern.area)
    deep = deepest(holes, terms.limits)
    checked = check_drilling(holes, tops, state, terms.limits, screws_of(pattern), too_deep=deep)
    return Drilled(holes, checked, check_mount(holes, old, terms.old) if old else None)


def _findings(made: Drilled, measured: Mapping[str, SkiState]) -> Iterator[tuple[str, Finding]]:
    """What keeps a layout from being drilled, each with the column in which to correct it."""
    ski = "" if made.layout.pair == "same" else f"{made.layout.side} ski, "
    for one in made.drilling.errors:
        found = Finding(one.code, f"{ski}{one.key}: {one.message}", hint=one.hint)
        yield _column(one, _width_of(one, made, measured)), found
    old = made.old
    if not old or not old.conflicts:
        return
    worst = min(old.conflicts, key=lambda conflict: conflict.distance - conflict.limit)
    others = f" (and {len(old.conflicts) - 1} more)" if len(old.conflicts) > 1 else ""
    yield (
        "old_holes",
        Finding(
            "evening.old-holes",
            f"{ski}{worst.new} would come within {worst.distance:.2f} mm of the old hole "
            f"{worst.old}; {worst.limit:g} mm are needed{others}",
            hint=_way_out(old),
        ),
    )


def _way_out(old: Answer) -> str:
    """What makes a mount clear of its old holes: plugs, or another shift."""
    ways = [
        f"shift {number(way.set_to, 3)} (towards the {end}"
        + (f", farther than the {SENSIBLE:g} mm that mounts are moved)" if way.far else ")")
        for end, way in old.ways
    ]
    if old.plugged_way:
        shift = number(old.plugged_way.set_to, 3)
        ways.insert(0, f"{listed(old.plug_there)} plugged, and shift {shift}")
    if old.plug:
        ways.insert(0, f"{listed(old.plug)} plugged, and the mount as it is")
    span = f"{SPAN[1]:g} mm"
    return f"Clear: {'; or '.join(ways)}." if ways else f"No shift of up to {span} is clear."


def _width_of(finding: Finding, made: Drilled, measured: Mapping[str, SkiState]) -> str:
    """The column of the width that decides at the holes of a `finding`: the nearer, or the only."""
    of = {column: state.widths[0][0] for column, state in measured.items() if state.widths}
    first = finding.key.partition(", ")[0]
    if first not in made.layout.ids or not of:
        return "ski_toe"
    x = float(made.layout.positions[made.layout.ids.index(first), 0])
    return min(of, key=lambda column: abs(of[column] - x))


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
