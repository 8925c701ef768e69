"""Circles fitted to the loops of a section by least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jiggen.verify.frames import Array

STEPS = 8
STRAIGHT = 0.01  # rad: a point where the loop turns by less is only a facet's diagonal


@dataclass(frozen=True)
class Circle:
    """A fitted circle, mm.

    `residual` is how far the farthest corner of the loop is off it, `sagitta` how far its
    longest chord falls inside it.
    """

    x: float
    y: float
    radius: float
    residual: float
    sagitta: float


def corners_of(loop: Array) -> Array:
    """The points (n, 2) of a closed loop where it turns: facets' diagonals are dropped."""
    back, ahead = loop - np.roll(loop, 1, axis=0), np.roll(loop, -1, axis=0) - loop
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    turn = np.abs(np.arctan2(cross, (back * ahead).sum(axis=1)))
    kept = loop[turn > STRAIGHT]
    return kept if len(kept) >= 3 else loop


def fit_circle(loop: Array) -> Circle:
    """The circle nearest to the corners of a closed loop (n, 2), n ≥ 3.

    Algebraic start (Kåsa: x² + y² = 2ax + 2by + c, linear), then Gauss–Newton on the distances.
    """
    points = corners_of(loop)
    middle = points.mean(axis=0)
    local = points - middle
    design = np.column_stack([2 * local, np.ones(len(local))])
    (a, b, c), *_ = np.linalg.lstsq(design, (local**2).sum(axis=1), rcond=None)
    estimate = np.array([a, b, np.sqrt(max(c + a * a + b * b, 0.0))])
    for _ in range(STEPS):
        away = local - estimate[:2]
        distance = np.maximum(np.linalg.norm(away, axis=1), 1e-12)
        jacobian = np.column_stack([-away / distance[:, None], -np.ones(len(local))])
        step, *_ = np.linalg.lstsq(jacobian, estimate[2] - distance, rcond=None)
        estimate = estimate + step
        if np.abs(step).max() < 1e-10:
            break
    centre, radius = estimate[:2] + middle, float(estimate[2])
    distance = np.linalg.norm(points - centre, axis=1)
    chords = (points + np.roll(points, -1, axis=0)) / 2
    inside = radius - np.linalg.norm(chords - centre, axis=1)
    return Circle(
        x=float(centre[0]),
        y=float(centre[1]),
        radius=radius,
        residual=float(np.abs(distance - radius).max()),
        sagitta=float(inside.max()),
    )
