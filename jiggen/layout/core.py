"""From a pattern and a boot to the holes of one ski."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jiggen.errors import Finding, InputError
from jiggen.pattern import DATUM_SLOPE, Core, Drill, Group, Hole, Pattern, Side, check_boot
from jiggen.pattern.model import BOOTS, X_LIMIT, Pair

if TYPE_CHECKING:  # the record's models take longer to load than all else that a layout needs
    from jiggen.record import JigRecord, TrialRecord

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the holes go on one ski: mm, x to the tip, y left, origin on the mounting mark.

    `positions` is (n, 2) float; `diameters` (drill) and `depths` (below the top sheet)
    are (n,) float; `ids` and `groups` hold n names. Arrays are read-only.
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

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def bounds(self) -> Array:
        """(2, 2) float, mm: least x, y over greatest x, y of the hole centres."""
        return np.vstack([self.positions.min(axis=0), self.positions.max(axis=0)])


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
    )


def locked(values: ArrayLike) -> Array:
    """`values` as a read-only float array of its own."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


class _Placed(NamedTuple):
    id: str
    group: str
    x: float
    y: float
    drill: Drill


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
    y changes its sign.

    Ids count within a group: toe-1, toe-2 …, in the file's order, and of a hole on both sides
    the one that lies left (+y) on this ski first.  So on a mirrored right ski a hole written
    by itself keeps its id and changes its side, while both_sides holes, being their own mirror
    image, keep ids and places.

    Raises InputError ``pattern.…`` when the pattern does not serve the boot (see `check_boot`),
    ``layout.boot`` and ``layout.shift`` for a boot or a shift outside the
    range of real ones,
    ``layout.choice`` for an unknown core or side.
    """
    _check_choice("core", core, get_args(Core))
    _check_choice("side", side, get_args(Side))
    check_boot(pattern, boot)
    _check_boot_length(boot)
    turn = -1.0 if side == "right" and pattern.pair == "mirrored" else 1.0
    holes = [hole for group in pattern.groups for hole in _place(group, boot, turn)]
    positions = np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2)
    return Layout(
        pattern=pattern.name,
        boot=float(boot),
        mount_shift=float(mount_shift),
        core=core,
        side=side,
        pair=pattern.pair,
        ids=tuple(hole.id for hole in holes),
        groups=tuple(hole.group for hole in holes),
        positions=locked(_shifted(positions, mount_shift)),
        diameters=locked([hole.drill.diameter(core) for hole in holes]),
        depths=locked([hole.drill.depth for hole in holes]),
    )


def numbered(group: Group) -> Iterator[tuple[str, Hole]]:
    """The ids of a group's holes, each with its hole in the pattern: one on both sides has two.

    They do not depend on boot, side or shift; `lay_out` says how they count.
    """
    holes = (hole for hole in group.holes for _ in range(1 + hole.both_sides))
    return ((f"{group.name}-{number}", hole) for number, hole in enumerate(holes, start=1))


def _place(group: Group, boot: float, turn: float) -> Iterator[_Placed]:
    """The group's holes before any mount shift; `turn` is -1 where the ski is mirrored."""
    origin = DATUM_SLOPE[group.datum] * boot + group.shift_at(boot)
    across = (
        y
        for hole in group.holes
        for y in ((abs(hole.at[1]), -abs(hole.at[1])) if hole.both_sides else (turn * hole.at[1],))
    )
    for (name, hole), y in zip(numbered(group), across, strict=True):
        yield _Placed(name, group.name, origin + hole.at[0], y + 0.0, hole.drill)


def _shifted(positions: Array, mount_shift: float) -> Array:
    """`positions` moved along the ski; InputError when that leaves any ski."""
    moved: Array = positions + np.array([mount_shift, 0.0])
    if not (np.abs(moved[:, 0]) <= X_LIMIT).all():  # so put, NaN is refused as well
        raise InputError(
            Finding(
                "layout.shift",
                f"a mount shift of {mount_shift:g} mm is beyond any ski",
                key="shift",
                hint=f"Every hole must stay within {X_LIMIT:g} mm of the mounting mark.",
            )
        )
    return moved


def _check_boot_length(boot: float) -> None:
    low, high = BOOTS
    if not low <= boot <= high:
        raise InputError(
            Finding(
                "layout.boot",
                f"a boot sole of {boot:g} mm is out of range",
                key="boot",
                hint=f"Allowed: {low:g} to {high:g} mm. Is it in another unit? 12in is 12 inches.",
            )
        )


def _check_choice(key: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        hint = f"Allowed: {' or '.join(allowed)}."
        raise InputError(Finding("layout.choice", f"{key} is {value!r}", key=key, hint=hint))
