"""Curves of ISO 10303-42 that are not straight, as points along them, mm.

Circles, ellipses, parabolas, hyperbolas and B-splines; conics are where cones and cylinders meet
planes, splines where a kernel has no better name for two surfaces' intersection.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from jiggen.verify.geometry import Array, applied
from jiggen.verify.reading.step_text import Entity, StepError, Value

SAGITTA = 2e-4  # mm between a round curve and the chords of its points
MOST = 1024  # points of one curve
OTHERS = 64  # chords of a curve that is not round, of each span of a spline
HIGHEST_DEGREE = 25  # of a spline: what the usual kernels hold (from memory)
KNOTTED = "B_SPLINE_CURVE_WITH_KNOTS"


@dataclass(frozen=True, eq=False)
class Arc:
    """A circle's arc: `place` carries (r cos t, r sin t, 0) to space, start ≤ t ≤ start+sweep.

    Of an ellipse, likewise by direction; `radius` is then its larger half axis.
    """

    place: Array
    radius: float
    start: float
    sweep: float


def arc_points(arc: Arc, minor: float) -> Array:
    """Points (n, 3) along an arc; `minor` is an ellipse's other half axis, a circle's radius."""
    chord = 2 * np.arccos(max(1 - SAGITTA / max(arc.radius, SAGITTA), 0.0))
    start, stop = arc.start, arc.start + arc.sweep
    if minor != arc.radius:  # from directions to the angles of its parameter
        start, stop = (_eccentric(t, arc.radius, minor) for t in (start, stop))
    count = int(np.clip(np.ceil(abs(stop - start) / chord), 4, MOST)) if chord > 0 else 4
    t = np.linspace(start, stop, count + 1)
    flat = np.column_stack([arc.radius * np.cos(t), minor * np.sin(t), np.zeros(count + 1)])
    return applied(arc.place, flat)


def _eccentric(t: float, major: float, minor: float) -> float:
    turns = np.round(t / (2 * np.pi)) * 2 * np.pi
    return float(np.arctan2(major * np.sin(t - turns), minor * np.cos(t - turns)) + turns)


def parabola_points(place: Array, focal: float, ends: Array) -> Array:
    """Points between two ends (2, 3) along x = f t², y = 2 f t."""
    return _between(
        place, ends, lambda p: p[1] / (2 * focal), lambda t: (focal * t * t, 2 * focal * t)
    )


def hyperbola_points(place: Array, major: float, minor: float, ends: Array) -> Array:
    """Points between two ends (2, 3) along x = a cosh t, y = b sinh t."""
    return _between(
        place,
        ends,
        lambda p: float(np.arcsinh(p[1] / minor)),
        lambda t: (major * np.cosh(t), minor * np.sinh(t)),
    )


def _between(
    place: Array,
    ends: Array,
    inverse: Callable[[Array], float],
    curve: Callable[[Array], tuple[Array, Array]],
) -> Array:
    local = (ends - place[:3, 3]) @ place[:3, :3]
    t = np.linspace(inverse(local[0]), inverse(local[1]), OTHERS + 1)
    x, y = curve(t)
    return applied(place, np.column_stack([x, y, np.zeros(len(t))]))


def spline_points(entity: Entity, poles: Array, ends: Array | None) -> Array:
    """Points along a B-spline with control points `poles`, mm; between `ends` if given, or whole.

    Raises StepError when degree, knots and weights do not belong together.
    """
    from scipy.interpolate import BSpline

    degree, knots = _spline(entity, len(poles))
    weights = _weights(entity, len(poles))
    spline = BSpline(knots, np.column_stack([poles * weights[:, None], weights]), degree)
    low, high = float(knots[degree]), float(knots[-degree - 1])

    def at(t: Array) -> Array:
        found = spline(t)
        return np.asarray(found[:, :3] / found[:, 3:])

    spans = int((np.diff(np.unique(knots)) > 0).sum())
    count = min(OTHERS * spans, MOST)
    if ends is None:
        return at(np.linspace(low, high, count + 1))
    start, stop = (_nearest(at, low, high, end, count) for end in ends)
    return at(np.linspace(start, stop, count + 1))


def _spline(entity: Entity, poles: int) -> tuple[int, Array]:
    record = entity.record
    plain = len(record) == 1
    if not (plain or "B_SPLINE_CURVE" in record):
        raise StepError(f"#{entity.id}: a spline without control points")
    own = record[KNOTTED]
    degree = record[KNOTTED if plain else "B_SPLINE_CURVE"][1 if plain else 0]
    many, values = (_floats(entity, one) for one in own[6 if plain else 0 :][:2])
    wrong = StepError(f"#{entity.id}: degree and knots of a spline that do not belong together")
    if not isinstance(degree, int) or not 1 <= degree <= HIGHEST_DEGREE:
        raise wrong
    if len(many) != len(values) or (many < 1).any() or many.sum() != poles + degree + 1:
        raise wrong
    if (np.diff(values) <= 0).any():
        raise wrong
    return degree, np.repeat(values, many.astype(int))


def _weights(entity: Entity, poles: int) -> Array:
    rational = entity.record.get("RATIONAL_B_SPLINE_CURVE")
    weights = _floats(entity, rational[0]) if rational else np.ones(poles)
    if len(weights) != poles or not (weights > 0).all():
        raise StepError(f"#{entity.id}: weights of a spline that do not belong to its points")
    return weights


def _floats(entity: Entity, value: Value) -> Array:
    numbers = value if isinstance(value, tuple) else ()
    found = [float(one) for one in numbers if isinstance(one, int | float)]
    if len(found) != len(numbers) or not np.isfinite(found).all():
        raise StepError(f"#{entity.id}: not a list of numbers")
    return np.array(found)


def _nearest(
    at: Callable[[Array], Array], low: float, high: float, point: Array, count: int
) -> float:
    """The parameter of the point of a curve that is nearest to `point`."""
    for _ in range(6):  # each time 32 times as fine
        t = np.linspace(low, high, count + 1)
        best = int(np.argmin(np.linalg.norm(at(t) - point, axis=1)))
        low, high = float(t[max(best - 1, 0)]), float(t[min(best + 1, count)])
    return (low + high) / 2 if 0 < best < count else float(t[best])
