"""From picture files to hole places: read, find, match, fit, one picture in memory at a time."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from jiggen.measure.scan.adjust import Fitted, fit_scans, sightings
from jiggen.measure.scan.holes import Hole, find_holes
from jiggen.measure.scan.network import Distance
from jiggen.measure.scan.read import read_scan
from jiggen.progress import announce


@dataclass(frozen=True)
class Picture:
    """What one scan shows: `holes` good and faulty in mm of its frame, its `size` in mm."""

    source: str
    size: tuple[float, float]
    holes: tuple[Hole, ...]


def look_at(path: Path) -> Picture:
    """The holes in the picture `path`; raises InputError for what is not a scan."""
    announce(f"read {path.name}")
    scan = read_scan(path)
    announce(f"find the holes in {path.name}")
    return Picture(path.name, scan.size, find_holes(scan))


def fit_pictures(
    pictures: Sequence[Picture],
    distances: Sequence[Distance] = (),
    turns: Sequence[float] | None = None,
    without: Collection[str] = (),
) -> Fitted:
    """The holes of the thing in `pictures`, but for those named in `without`.

    `turns` in degrees where it looks alike after one.  Raises InputError for too few holes and for
    scans of different things; whether the fit may be used says `findings.refusals`.
    """
    announce("fit the scans")
    found, rough, odd = sightings(
        [picture.holes for picture in pictures],
        [picture.source for picture in pictures],
        turns,
        [picture.size for picture in pictures],
    )
    seen, kept = found.without(without)
    return fit_scans(seen, rough[kept], distances, odd)


def measure_scans(
    paths: Sequence[Path],
    distances: Sequence[Distance] = (),
    turns: Sequence[float] | None = None,
    without: Collection[str] = (),
) -> Fitted:
    """`fit_pictures` of the pictures `paths`, each looked at once."""
    return fit_pictures([look_at(path) for path in paths], distances, turns, without)
