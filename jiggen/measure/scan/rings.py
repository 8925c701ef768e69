"""The round edge nearest a place in a picture: edge points along rays, and a circle through them.

An edge point is where the brightness changes fastest along its ray.  The radius is then a sum of
waves over the angle: its mean, one wave that moves the centre and two that make an ellipse, by
least squares with outliers (dust, a scratch, a letter's foot) left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Array

RAYS = 180
_STEP = 0.5  # pixels between samples on a ray
_SMOOTH = 1.0  # pixels; the picture is smoothed so much before slopes are taken (our choice)
_STRONG = 0.35  # a ring so strong beside the strongest is an edge of its own
_COMPLETE, _HOPELESS = 0.7, 0.4  # share of rays that must find the ring, at last and at first
_OUTLIER = 3.0  # standard deviations, robust (1.4826 of the median deviation)
_FINEST = 0.25  # pixels; edge points within so much are never outliers
_FLOOR = 0.02  # pixels; no centre is known better: pixels are not quite alike (our choice)
_ROUNDS = 4
_INWARDS, _OUTWARDS = 0.7, 1.25  # of a patch's radii, between which its ring is looked for
_DIFFERS = 0.3  # of the step over the edge: another brightness than the rest at this radius


@dataclass(frozen=True)
class Ring:
    """A round edge, all in pixels: `centre` column and row, mean `radius`, `oval` half-difference.

    `sigma` is the standard uncertainty of the centre from the scatter of the edge points, `share`
    the share of rays that found the edge, `rises` whether it is brighter inside, `contrast` the
    step over it, `texture` the share of the inside that differs from the rest at its radius.
    """

    centre: tuple[float, float]
    radius: float
    oval: float
    sigma: float
    share: float
    rises: bool
    contrast: float
    texture: float


def find_ring(
    window: Array, near: tuple[float, float], least: float, most: float, faint: float
) -> Ring | None:
    """The innermost complete ring around `near` (column, row) of about `least` to `most`: the bore
    within its chamfer, where a caliper's jaws touch.  A step below `faint` does not count.
    """
    return ring_between(window, near, (_INWARDS * least, _OUTWARDS * most), faint)


def ring_between(
    window: Array, near: tuple[float, float], radii: tuple[float, float], faint: float
) -> Ring | None:
    """The innermost complete ring around `near` whose radius lies between those two."""
    from scipy.ndimage import gaussian_filter

    smooth = gaussian_filter(window, _SMOOTH)
    for radius, rises in _rings(smooth, near, *radii):
        ring = _fitted(smooth, near, radius, rises)
        if ring and abs(ring.contrast) >= faint:
            return ring
    return None


def _rays(smooth: Array, near: tuple[float, float], radii: Array) -> tuple[Array, Array]:
    """(rays,) angles and (rays, n) brightness at `radii` around `near`; NaN outside of it."""
    from scipy.ndimage import map_coordinates

    angles = np.arange(RAYS) * (2 * math.pi / RAYS)
    columns = near[0] + np.cos(angles)[:, None] * radii
    rows = near[1] + np.sin(angles)[:, None] * radii
    values = map_coordinates(smooth, [rows, columns], order=1, cval=math.nan)
    return np.asarray(angles), np.asarray(values)


def _rings(
    smooth: Array, near: tuple[float, float], low: float, high: float
) -> list[tuple[float, bool]]:
    """Radii at which brightness changes all round, innermost first, and whether it is inside."""
    radii = np.arange(low, high, _STEP)
    _, values = _rays(smooth, near, radii)
    seen = np.isfinite(values).mean(axis=0) > 0.4
    if seen.sum() < 8:
        return []
    profile = np.nanmean(values[:, seen], axis=0)
    wide = max(1, round(0.04 / _INWARDS * low / _STEP))
    slopes = np.convolve(np.gradient(profile), np.ones(wide) / wide, mode="same")
    sizes = np.abs(slopes)
    peaks = np.flatnonzero((sizes[1:-1] >= sizes[:-2]) & (sizes[1:-1] > sizes[2:])) + 1
    strong = [n for n in peaks.tolist() if sizes[n] >= _STRONG * sizes.max()]
    return [(float(radii[seen][n]), bool(slopes[n] < 0)) for n in strong]


def _fitted(smooth: Array, near: tuple[float, float], radius: float, rises: bool) -> Ring | None:
    """The ring of about `radius`, its centre found in rounds; None where it is not complete."""
    centre, reach = near, max(4.0, 0.18 * radius)
    for _ in range(_ROUNDS):
        radii = np.arange(max(1.0, radius - reach), radius + reach, _STEP)
        angles, values = _rays(smooth, centre, radii)
        edges, found = _edge_points(values, radii, rises)
        if found.sum() < _HOPELESS * RAYS:
            return None
        waves, fits = _fit(angles, edges, found)
        if fits.mean() < _HOPELESS:
            return None
        radius = float(waves[0])
        centre = centre[0] + float(waves[1]), centre[1] + float(waves[2])
        reach = max(4.0, 2.0 * math.hypot(waves[3], waves[4]) + 3.0, 0.06 * radius)
        if radius < 3 or math.dist(centre, near) > 0.6 * radius:
            return None
    share = float(fits.mean())
    if share < _COMPLETE:
        return None
    left = (edges - _shape(angles) @ waves)[fits]
    independent = min(fits.sum(), share * math.pi * radius)  # points a pixel or two apart are one
    sigma = math.hypot(float(np.std(left)) * math.sqrt(2 / independent), _FLOOR)
    contrast, texture = _inside(smooth, centre, radius)
    oval = math.hypot(float(waves[3]), float(waves[4]))
    return Ring(centre, radius, oval, sigma, share, rises, contrast, texture)


def _edge_points(values: Array, radii: Array, rises: bool) -> tuple[Array, NDArray[np.bool_]]:
    """(rays,) radius of the steepest step of each ray, between samples; and where there is one."""
    slopes = np.gradient(values, axis=1) * (-1.0 if rises else 1.0)
    whole: NDArray[np.bool_] = np.asarray(np.isfinite(slopes).all(axis=1))
    slopes = np.where(whole[:, None], slopes, 0.0)
    at = np.clip(slopes.argmax(axis=1), 1, len(radii) - 2)
    rays = np.arange(len(values))
    before, here, after = (slopes[rays, at + n] for n in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.where(bend < 0, (before - after) / np.where(bend < 0, 2 * bend, 1.0), 0.0)
    edges = radii[at] + np.clip(shift, -1, 1) * (radii[1] - radii[0])
    inner = (at > 1) & (at < len(radii) - 2)
    enough = here > 0.25 * np.median(here[whole]) if whole.any() else whole
    return edges, whole & inner & enough


def _shape(angles: Array) -> Array:
    """(rays, 5) mean, centre and ellipse of a radius over the angle."""
    once, twice = angles, 2 * angles
    columns = (np.ones_like(once), np.cos(once), np.sin(once), np.cos(twice), np.sin(twice))
    return np.stack(columns, axis=1)


def _fit(angles: Array, edges: Array, found: NDArray[np.bool_]) -> tuple[Array, NDArray[np.bool_]]:
    """(5,) waves of the radius, and the rays that fit them; an ellipse only where most rays do."""
    shape, fits = _shape(angles), found
    waves = np.zeros(5)
    waves[0] = np.median(edges[found])
    for _ in range(8):
        count = 5 if fits.mean() > 0.8 else 3
        waves = np.zeros(5)
        waves[:count] = np.linalg.lstsq(shape[fits, :count], edges[fits], rcond=None)[0]
        left = np.abs(edges - shape @ waves)
        limit = max(_FINEST, _OUTLIER * 1.4826 * float(np.median(left[found])))
        now = found & (left <= limit)
        if (now == fits).all() or now.sum() < 12:
            break
        fits = now
    return waves, fits


def _inside(smooth: Array, centre: tuple[float, float], radius: float) -> tuple[float, float]:
    """The step over the edge, inside less outside, and the share of the inside that differs."""
    inner = np.arange(0.15, 0.85, 0.05) * radius
    _, values = _rays(smooth, centre, inner)
    _, outer = _rays(smooth, centre, np.array([radius + 2.5, radius + 4.0]))
    _, near = _rays(smooth, centre, np.array([radius - 4.0, radius - 2.5]))
    step = float(np.nanmedian(near) - np.nanmedian(outer))
    differs = np.abs(values - np.nanmedian(values, axis=0))
    noise = 1.05 * float(np.nanmedian(np.abs(values - np.roll(values, 5, axis=0))))
    return step, float((differs > max(_DIFFERS * abs(step), 4 * noise)).mean())
