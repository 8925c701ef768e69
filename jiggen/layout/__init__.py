"""Room: layout.  From a pattern and a boot to the holes of one ski in 2D; numpy only."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jiggen.errors import Finding, InputError
from jiggen.pattern import check_boot
from jiggen.pattern.model import BOOTS, X_LIMIT, Core, Group, Hole, Pair, Pattern, Side

if TYPE_CHECKING:  # the record's models take longer to load than all else that a layout needs
    from jiggen.record import JigRecord, TrialRecord

Array = NDArray[np.float64]

SAME = 1e-6  # mm: groups whose moves differ by less move as one
PLATE_HOLE = (2.0, 15.0)  # mm: a plate's own holes are as wide; common practice, no source
SKIS = (50.0, 160.0)  # mm wide: any ski there is; common practice, no source
MOST_BOOTS = 200  # lengths: more than any boot has


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the holes go on one ski: mm, x to the tip, y left, origin on the mounting mark.

    `positions` is (n, 2) float; `diameters` (drill) and `depths` (below the top sheet)
    are (n,) float; `ids` and `groups` hold n names. Arrays are read-only.  `mark` is the point
    of the boot that lies on the mounting mark.
    """

    pattern: str
    boot: float
    mount_shift: float
    core: Core
    side: Side
    pair: Pair
    ids: tuple[str, ...]
    groups: tuple[str, ...]
    positions: Array
    diameters: Array
    depths: Array
    mark: str = "boot-centre"

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def bounds(self) -> Array:
        """(2, 2) float, mm: least x, y over greatest x, y of the hole centres."""
        return np.vstack([self.positions.min(axis=0), self.positions.max(axis=0)])


def reach(layout: Layout) -> float:
    """How far the holes' walls reach from the centre line, mm."""
    return float((np.abs(layout.positions[:, 1]) + layout.diameters / 2).max())


def check_skis(skis: tuple[float, float]) -> None:
    """Raise InputError ``layout.ski`` unless `skis` are widths in mm, narrowest first."""
    if not SKIS[0] <= skis[0] <= skis[1] <= SKIS[1]:
        message = f"{skis[0]:g} to {skis[1]:g} mm is not a valid range of ski widths"
        hint = f"Allowed: {SKIS[0]:g} to {SKIS[1]:g} mm, the narrowest ski first: 84-112."
        raise InputError.of("layout.ski", message, key="ski", hint=hint)


def off_ski(layout: Layout, width: float) -> tuple[Finding, ...]:
    """A finding ``layout.off-ski`` for each place that is outside a ski `width` mm wide."""
    found: dict[str, list[str]] = {}
    sizes = zip(layout.ids, layout.positions[:, 1].tolist(), layout.diameters.tolist(), strict=True)
    for name, y, drill in sizes:
        if abs(y) + drill / 2 > width / 2:
            outside = "lies outside" if abs(y) >= width / 2 else "breaks the edge of"
            message = f"{abs(y):g} mm from the centre line it {outside} a ski {width:g} mm wide"
            found.setdefault(message, []).append(name)
    hint = "Check the pattern's y, and its unit; then the width of the narrowest ski."
    return tuple(
        Finding("layout.off-ski", message, key=", ".join(names), hint=hint)
        for message, names in found.items()
    )


def recorded_layout(record: JigRecord | TrialRecord) -> Layout:
    """The layout that a built jig or trial plate was made for, by its record."""
    inputs, holes = record.inputs, record.holes
    return Layout(
        pattern=inputs.pattern,
        boot=inputs.boot,
        mount_shift=inputs.shift,
        core=inputs.core,
        side=inputs.side,
        pair=inputs.pair,
        ids=tuple(hole.id for hole in holes),
        groups=tuple(hole.group for hole in holes),
        positions=locked([(hole.x, hole.y) for hole in holes]),
        diameters=locked([hole.diameter for hole in holes]),
        depths=locked([hole.depth for hole in holes]),
        mark=inputs.mark,
    )


def locked(values: ArrayLike) -> Array:
    """`values` as a read-only float array of its own."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def lay_out(
    pattern: Pattern,
    boot: float,
    *,
    mount_shift: float = 0.0,
    core: Core = "plain",
    side: Side = "left",
) -> Layout:
    """Holes of `pattern` on one ski for a `boot` sole length, both in mm.

    `mount_shift` moves every hole along the ski, + towards the tip, in mm.  A hole lies at
    x = k·boot + shift + at[0] + mount_shift, with k = +1/2 for ``boot-toe``, -1/2 for
    ``boot-heel``, 0 for ``boot-centre``, and at y = at[1]; on the right ski of a mirrored pair
    y changes its sign.  Where another point than the boot's centre lies on the mark, or a group
    has a datum of its own, both are as `Pattern.from_mark` has them.

    Ids count within a group: toe-1, toe-2 …, in the file's order, and of a hole on both sides
    the one that lies left (+y) on this ski first.  So on a mirrored right ski a hole written
    by itself keeps its id and changes its side, while both_sides holes, being their own mirror
    image, keep ids and places.

    Raises InputError ``pattern.…`` when the pattern does not serve the boot (see `check_boot`),
    ``layout.boot`` and ``layout.shift`` for a boot or a shift outside the range of real ones,
    ``layout.choice`` for an unknown core or side.
    """
    for key, value, allowed in (("core", core, get_args(Core)), ("side", side, get_args(Side))):
        if value not in allowed:
            hint = f"Allowed: {' or '.join(allowed)}."
            raise InputError.of("layout.choice", f"{key} is {value!r}", key=key, hint=hint)
    check_boot(pattern, boot)
    if not BOOTS[0] <= boot <= BOOTS[1]:
        hint = f"Allowed: {BOOTS[0]:g} to {BOOTS[1]:g} mm; in another unit, 12in is 12 inches."
        message = f"a boot sole of {boot:g} mm is out of range"
        raise InputError.of("layout.boot", message, key="boot", hint=hint)
    turn = -1.0 if side == "right" and pattern.pair == "mirrored" else 1.0
    named: list[tuple[str, str]] = []
    places: list[tuple[float, float]] = []
    drills = []
    for group in pattern.groups:
        slope, apart = pattern.from_mark(group.datum)
        origin = slope * boot + apart + group.shift_at(boot)
        for (name, hole), y in zip(numbered(group), _across(group, turn), strict=True):
            named.append((name, group.name))
            places.append((origin + hole.at[0], y + 0.0))
            drills.append(hole.drill)
    positions = locked(np.add(np.array(places).reshape(-1, 2), (mount_shift, 0.0)))
    if not (np.abs(positions[:, 0]) <= X_LIMIT).all():  # so put, NaN is refused as well
        message = f"a mount shift of {mount_shift:g} mm is beyond any ski"
        hint = f"Every hole must stay within {X_LIMIT:g} mm of the mounting mark."
        raise InputError.of("layout.shift", message, key="shift", hint=hint)
    return Layout(
        pattern=pattern.name,
        boot=float(boot),
        mount_shift=float(mount_shift),
        core=core,
        side=side,
        pair=pattern.pair,
        ids=tuple(name for name, _ in named),
        groups=tuple(group for _, group in named),
        positions=positions,
        diameters=locked([drill.diameter(core) for drill in drills]),
        depths=locked([drill.depth for drill in drills]),
        mark=pattern.mark,
    )


def check_plate_hole(plate_hole: float) -> None:
    """Raise InputError ``layout.plate-hole`` for a hole, mm, that is as wide as no plate's."""
    low, high = PLATE_HOLE
    if not low <= plate_hole <= high:  # so put, NaN is refused as well
        message, hint = f"a hole {plate_hole:g} mm wide", f"Allowed: {low:g} to {high:g} mm."
        raise InputError.of("layout.plate-hole", message, key="plate-hole", hint=hint)


def numbered(group: Group) -> Iterator[tuple[str, Hole]]:
    """The ids of a group's holes, each with its hole in the pattern: one on both sides has two.

    They do not depend on boot, side or shift; `lay_out` says how they count.
    """
    holes = (hole for hole in group.holes for _ in range(1 + hole.both_sides))
    return ((f"{group.name}-{number}", hole) for number, hole in enumerate(holes, start=1))


def _across(group: Group, turn: float) -> Iterator[float]:
    """The y of a group's holes, as they are `numbered`; `turn` is -1 where the ski is mirrored."""
    for hole in group.holes:
        y = hole.at[1]
        yield from (abs(y), -abs(y)) if hole.both_sides else (turn * y,)


# -- over a range of boots ------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Motion:
    """Groups that move as one over a range of boots.

    `boots` (n,) are the boot sole lengths and `travel` (n,) how far the groups lie from where
    they are for the longest of them, + towards the tip; mm.
    """

    groups: tuple[str, ...]
    boots: Array
    travel: Array

    @property
    def still(self) -> bool:
        """Whether no boot of the range moves these groups."""
        return bool(np.ptp(self.travel) <= SAME)


def whole_boots(least: float, most: float) -> tuple[float, ...]:
    """Every whole boot sole length from `least` to `most`, mm.

    Raises InputError ``layout.boots`` when there are not two, or more than any boot has.
    """
    first, last = math.ceil(least - SAME), math.floor(most + SAME)
    if not 1 <= last - first < MOST_BOOTS:
        message = f"boots of {least:g} to {most:g} mm are not a valid range of whole lengths"
        hint = "Write the shortest and the longest boot sole in mm: 265-345; or one, 305."
        raise InputError.of("layout.boots", message, key="boot", hint=hint)
    return tuple(float(boot) for boot in range(first, last + 1))


def layouts(
    pattern: Pattern,
    boots: tuple[float, ...],
    *,
    mount_shift: float = 0.0,
    core: Core = "plain",
    side: Side = "left",
) -> dict[float, Layout]:
    """`lay_out` for each of `boots` (mm), by boot.

    Raises InputError as `lay_out` does, the findings of the shortest and of the longest boot that
    is not served at once.
    """
    made: dict[float, Layout] = {}
    refused: list[tuple[Finding, ...]] = []
    for boot in boots:
        try:
            made[boot] = lay_out(pattern, boot, mount_shift=mount_shift, core=core, side=side)
        except InputError as error:
            refused.append(error.findings)
    if refused:
        raise InputError(dict.fromkeys((*refused[0], *refused[-1])))
    return made


def motions(over: Mapping[float, Layout]) -> tuple[Motion, ...]:
    """The groups of the layouts `over` a range of boots, those that move as one together."""
    boots = np.array(sorted(over))
    longest = over[float(boots[-1])]
    places = np.array([over[float(boot)].positions[:, 0] for boot in boots])
    travel = places - longest.positions[:, 0]
    found: list[tuple[list[str], Array]] = []
    for group in dict.fromkeys(longest.groups):
        own = travel[:, [name == group for name in longest.groups]].mean(axis=1)
        for groups, other in found:
            if np.abs(other - own).max() <= SAME:
                groups.append(group)
                break
        else:
            found.append(([group], own))
    return tuple(Motion(tuple(groups), boots, own) for groups, own in found)
