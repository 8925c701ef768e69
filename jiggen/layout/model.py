"""The holes of one ski in 2D, in the ski frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jiggen.pattern.model import Core, Pair, Side
from jiggen.record import JigRecord, TrialRecord


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
    positions: NDArray[np.float64]
    diameters: NDArray[np.float64]
    depths: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def bounds(self) -> NDArray[np.float64]:
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


def locked(values: ArrayLike) -> NDArray[np.float64]:
    """`values` as a read-only float array of its own."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array
