"""Printed bodies on a scanner: what may lie on the glass, and what its scans say of the holes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from jiggen.measure.printer.jig import PrintedJig
from jiggen.measure.printer.read import Feature
from jiggen.measure.printer.sighted import Sighted
from jiggen.measure.scan.adjust import Face, Fitted
from jiggen.measure.scan.known import Known


def bodies_of(jig: PrintedJig) -> list[list[Known]]:
    """The bodies of a jig, those together that may be joined."""
    return [[Known(one.name, one.holes, one.at) for one in rigid.bodies] for rigid in jig.rigid]


def rims_of(jig: PrintedJig, face: Face) -> list[float]:
    """The diameters of the rims that a scan of that `face` shows in its plane, mm: those of the
    pockets, or of the bushes in them.
    """
    return sorted({*(jig.bores if face == "top" else jig.throats), *jig.drills}, reverse=True)


def gauge_of(features: Mapping[str, Feature]) -> list[list[Known]]:
    """A gauge's holes; its bush pockets, which no reading is about, tell how it is turned."""
    holes = {name: one.at for name, one in features.items() if one.kind == "hole"}
    ends = ("E", "F")
    rising = ends if {*ends} <= {*holes} else None
    at = np.array([*holes.values()]).reshape(-1, 2)
    return [[Known("the gauge", tuple(holes), at, rising)]]


def sighted_of(fitted: Fitted) -> tuple[Sighted, ...]:
    """What scans have of the holes of each rigid thing: those that they have in one another's
    place.
    """
    seen, groups = fitted.seen, list[set[int]]()
    for scan in range(len(seen.sources)):
        group = {*seen.hole[seen.scan == scan].tolist()}
        apart = [other for other in groups if not other & group]
        groups = [*apart, group.union(*(other for other in groups if other & group))]
    return tuple(_sighted(fitted, sorted(group)) for group in groups if len(group) > 1)


def _sighted(fitted: Fitted, numbers: Sequence[int]) -> Sighted:
    rows = np.array([2 * n + axis for n in numbers for axis in (0, 1)])
    names = tuple(fitted.seen.names[n] for n in numbers)
    return Sighted(names, fitted.places[numbers], fitted.covariance[np.ix_(rows, rows)])
