"""The layouts of every boot length in a range, and how groups move from one to the next."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError
from jiggen.layout.core import Layout, lay_out
from jiggen.pattern import Core, Pattern, Side

SAME = 1e-6  # mm: groups whose moves differ by less move as one
MOST_BOOTS = 200  # lengths: more than any boot has


@dataclass(frozen=True, eq=False)
class Motion:
    """Groups that move as one over a range of boots.

    `boots` (n,) are the boot sole lengths and `travel` (n,) how far the groups lie from where
    they are for the longest of them, + towards the tip; mm.
    """

    groups: tuple[str, ...]
    boots: NDArray[np.float64]
    travel: NDArray[np.float64]

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
        raise InputError(
            Finding(
                "layout.boots",
                f"boots of {least:g} to {most:g} mm are not a valid range of whole lengths",
                key="boot",
                hint="Write the shortest and the longest boot sole in mm: 265-345; or one, 305.",
            )
        )
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
    found: list[tuple[list[str], NDArray[np.float64]]] = []
    for group in dict.fromkeys(longest.groups):
        own = travel[:, [name == group for name in longest.groups]].mean(axis=1)
        together = [groups for groups, other in found if np.abs(other - own).max() <= SAME]
        if together:
            together[0].append(group)
        else:
            found.append(([group], own))
    return tuple(Motion(tuple(groups), boots, own) for groups, own in found)
