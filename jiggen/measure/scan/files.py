"""From picture files to hole places: read, find, match, fit, one picture in memory at a time."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import InputError
from jiggen.measure.adjustment import Array
from jiggen.measure.scan.adjust import Fitted, Odd, fit_scans, sightings
from jiggen.measure.scan.card import Card, find_card
from jiggen.measure.scan.holes import COARSE, Hole, find_holes, reduced
from jiggen.measure.scan.network import Distance, Sightings
from jiggen.measure.scan.read import Scan, read_scan
from jiggen.progress import announce


@dataclass(frozen=True, eq=False)
class Picture:
    """What one scan shows: `holes` good and faulty in mm of its frame, its `size` in mm.

    `small` is a grey copy of it to draw on, `card` one of the size ID-1 that lies beside.
    """

    source: str
    size: tuple[float, float]
    holes: tuple[Hole, ...]
    small: NDArray[np.uint8]
    card: Card | None = None


def look_at(path: Path, rims: Sequence[float] = ()) -> Picture:
    """The holes in the picture `path`, by those `rims` of `find_holes`; raises InputError for what
    is not a scan.
    """
    announce(f"read {path.name}")
    scan = read_scan(path)
    announce(f"find the holes in {path.name}")
    return Picture(path.name, scan.size, find_holes(scan, rims), _small(scan), find_card(scan))


def _small(scan: Scan) -> NDArray[np.uint8]:
    columns, rows = (max(1, round(COARSE / pitch)) for pitch in scan.pitch)
    return np.asarray(reduced(scan.pixels, rows, columns) * (255 / scan.full), dtype=np.uint8)


def look_at_all(paths: Sequence[Path], rims: Sequence[float] = ()) -> list[Picture]:
    """The pictures one after the other; raises InputError ``scan.twice`` for one given twice."""
    pictures: list[Picture] = []
    for path in paths:
        pictures.append(look_at(path, rims))
        refuse_twice(pictures)
    return pictures


def refuse_twice(pictures: Sequence[Picture]) -> None:
    """Raise InputError ``scan.twice`` where one of the pictures is another once more."""
    for other, picture in combinations(pictures, 2):
        if np.array_equal(picture.small, other.small):
            message = f"it is the same picture as {other.source}"
            hint = "Turn the plate between two scans: one picture twice says nothing new."
            raise InputError.of("scan.twice", message, where=picture.source, hint=hint)


def fit_pictures(
    pictures: Sequence[Picture],
    distances: Sequence[Distance] = (),
    turns: Sequence[float] | None = None,
    without: Collection[str] = (),
    renamed: Mapping[str, str] = {},
) -> Fitted:
    """The holes of the thing in `pictures`, but for those named in `without`.

    Holes are a, b … in the order of the first picture, from left to right, or as `renamed`;
    `distances` have their last names.

    `turns` in degrees where it looks alike after one.  Raises InputError for too few holes and for
    scans of different things; whether the fit may be used says `findings.refusals`.
    """
    announce("fit the scans")
    found, rough, odd = match_pictures(pictures, turns)
    for name in (*without, *renamed):
        if name not in found.names:
            message = f"no hole was named {name}; found: {', '.join(found.names)}"
            raise InputError.of("scan.unknown-hole", message)
    seen, staying = found.without(without)
    fitted = fit_scans(seen.called(renamed), rough[staying], distances, odd)
    return replace(fitted, cards=tuple(picture.card for picture in pictures if picture.card))


def match_pictures(
    pictures: Sequence[Picture], turns: Sequence[float] | None = None
) -> tuple[Sightings, Array, tuple[Odd, ...]]:
    """Which hole is which in the pictures, by its first name, as `sightings`."""
    return sightings(
        [picture.holes for picture in pictures],
        [picture.source for picture in pictures],
        turns,
        [picture.size for picture in pictures],
    )


def measure_scans(
    paths: Sequence[Path],
    distances: Sequence[Distance] = (),
    turns: Sequence[float] | None = None,
    without: Collection[str] = (),
) -> Fitted:
    """`fit_pictures` of the pictures `paths`, each looked at once."""
    return fit_pictures(look_at_all(paths), distances, turns, without)
