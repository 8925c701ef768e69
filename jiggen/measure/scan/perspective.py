"""Whether pictures are in perspective, as a camera sees a plate and no scanner does."""

from __future__ import annotations

import numpy as np

from jiggen.measure.scan.adjust import Fitted
from jiggen.measure.scan.fitting import fit_with
from jiggen.measure.scan.terms import usual

FAR = 100.0  # mm from a picture's middle, where it is said how large it is
_EXPLAINED = 0.75  # of what the scans disagree by (our choice)
_FEWEST = 5  # holes in each picture


def perspective(fitted: Fitted) -> float:
    """How far off in mm `FAR` from the middle of a picture by perspective; 0 where it is none.

    A plane that leans against the camera's is seen larger on one side: by x (ax + by) and
    y (ax + by), another a and b in each picture; no scanner's fault is like that.  It is
    perspective where a usual scanner's fit of the pictures alone contradicts itself, and those
    explain most of it, and more than one hole seen wrongly would.
    """
    seen = fitted.seen
    scans, k = len(seen.sources), len(seen.scan)
    fit = fit_with(seen, fitted.network.rough, (), usual())  # a wrong distance is another fault
    if not fit.contradicts or np.bincount(seen.scan).min() < _FEWEST:
        return 0.0
    leaning = np.zeros((len(fit.misfits), 2 * scans))
    for axis in (0, 1):
        for way in (0, 1):
            rows, columns = np.arange(k) + axis * k, 2 * seen.scan + way
            leaning[rows, columns] = seen.at[:, axis] * seen.at[:, way] / FAR**2
    slopes = fit.equations.slopes(fit.parameters) @ fit.equations.basis
    both = np.hstack([slopes, leaning]) * fit.equations.weights[:, None]
    found, *_ = np.linalg.lstsq(both, fit.misfits, rcond=1e-9)
    left = float(((fit.misfits - both @ found) ** 2).sum())
    total = float((fit.misfits**2).sum())
    one_hole = float((fit.normalised[: 2 * k].reshape(2, k) ** 2).sum(axis=0).max())
    if left > min((1 - _EXPLAINED) * total, total - one_hole):
        return 0.0
    sizes = found[slopes.shape[1] :]
    return float(np.hypot(sizes[0::2], sizes[1::2]).max())
