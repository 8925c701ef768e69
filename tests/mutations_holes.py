"""Mutations of holes and of whole parts, in a jig's written files."""

from __future__ import annotations

import numpy as np
from faults import edit_mesh, move_hole
from mutation import Mutation

SHIFT = "verify.moved"


def _scaled(factor: float, axis: int | None = None):
    by = np.full(3, factor) if axis is None else np.where(np.arange(3) == axis, factor, 1.0)
    return lambda folder: edit_mesh(folder, "body-toe", lambda points: points * by)


MUTATIONS = [
    *(
        Mutation(
            f"hole {hole} moved {dx:g}, {dy:g} mm",
            "STL",
            lambda folder, hole=hole, dx=dx, dy=dy: move_hole(folder, hole, dx, dy),
            (SHIFT,),
        )
        for hole, dx, dy in (("toe-1", 0.03, 0.0), ("heel-4", 0.0, 0.03), ("toe-5", -0.3, 0.0))
    ),
    Mutation(
        "hole heel-1 leans 0.5 degrees",
        "STL",
        lambda folder: move_hole(folder, "heel-1", 0.0, lean=0.0087),
        ("verify.tilt", SHIFT),
    ),
    Mutation("body scaled 1.005", "STL", _scaled(1.005), ("verify.scale",)),
    Mutation("body scaled 1.002 along x", "STL", _scaled(1.002, 0), ("verify.shape", SHIFT)),
    Mutation("body mirrored", "STL", _scaled(-1.0, 1), ("verify.mirrored",)),
]
