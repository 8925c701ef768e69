"""From picture files to hole places: read, find, match, fit, one picture in memory at a time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from jiggen.measure.scan.adjust import Fitted, fit_scans, sightings
from jiggen.measure.scan.holes import find_holes
from jiggen.measure.scan.network import Distance
from jiggen.measure.scan.read import read_scan
from jiggen.progress import announce


def measure_scans(
    paths: Sequence[Path],
    distances: Sequence[Distance] = (),
    turns: Sequence[float] | None = None,
) -> Fitted:
    """The holes of the thing in the pictures `paths`; `turns` in degrees where it looks alike.

    Raises InputError for what is not a scan, for too few holes and for scans of different things;
    whether the fit may be used says `findings.refusals`.
    """
    holes, sizes = [], []
    for path in paths:
        announce(f"read {path.name}")
        scan = read_scan(path)
        announce(f"find the holes in {path.name}")
        holes.append(find_holes(scan))
        sizes.append(scan.size)
        del scan
    announce("fit the scans")
    seen, rough, odd = sightings(holes, [path.name for path in paths], turns, sizes)
    return fit_scans(seen, rough, distances, odd)
