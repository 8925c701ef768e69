"""All scans of one thing in one adjustment: hole places with a stated 95 % region, or why none.

The places are given with their mean at the origin and turned as in the first scan; regions are of
that frame.  How large the scanner's distortion is, is not known but estimated, so the result is the
mean over the likely sizes, each weighed by how likely it is; the region is that of all of them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from jiggen.errors import InputError
from jiggen.measure import METHODS
from jiggen.measure.adjustment import REGION, Array, blocks
from jiggen.measure.scan.card import Card
from jiggen.measure.scan.fitting import ScanFit, fit_with
from jiggen.measure.scan.holes import Hole
from jiggen.measure.scan.matching import rigid, same_holes, ways
from jiggen.measure.scan.network import Distance, ScanNetwork, Sightings
from jiggen.measure.scan.terms import Scatter, likely, representative, usual
from jiggen.units import length

CALIPER = 0.03  # mm, standard uncertainty of one reading (common practice, no source)
FEWEST = 3  # holes
_WEIGHED = 10  # sizes of the distortion that stand for all likely ones
Face = Literal["top", "under"]
"""The face that lies on the glass; a scan of the one underneath is a mirror image."""
_DISTANCE = re.compile(r"(.+):\s*(\w+)\s*=\s*(.+)")


def parse_distance(text: str, sigma: float = CALIPER, names: Sequence[str] = ()) -> Distance:
    """A distance written ``a-b:outside=162.40``; raises InputError ``scan.distance``.

    Its ends are two of `names`, or single words where none are given.
    """
    found = _DISTANCE.fullmatch(text)
    ends = _ends(found[1], names) if found else None
    if not found or not ends or found[2] not in METHODS:
        message = f"{text[:60]!r} is not a valid distance"
        one, other = names[:2] if len(names) > 1 else ("a", "b")
        kinds = ("outside=162.40", "inside=151.20", "centre=156.80")
        hint = f"Write {' or '.join(f'{one}-{other}:{kind}' for kind in kinds)}."
        raise InputError.of("scan.distance", message, hint=hint)
    kind = next(method for method in METHODS if method == found[2])
    return Distance(*ends, kind, length(found[3]), sigma)


def _ends(text: str, names: Sequence[str]) -> tuple[str, str] | None:
    """The two names with a hyphen between them; None where that may be read in no way, or two."""
    parts = [part.strip() for part in text.split("-")]
    ways = [("-".join(parts[:n]), "-".join(parts[n:])) for n in range(1, len(parts))]
    known = [way for way in ways if {*way} <= {*names}] if names else ways
    plain = all(re.fullmatch(r"\w+", part) for part in parts) or names
    return known[0] if len(known) == 1 and plain and len({*known[0]}) == 2 else None


@dataclass(frozen=True)
class Odd:
    """What one scan shows beside good holes: a `fault` at x, y mm of that picture."""

    source: str
    x: float
    y: float
    fault: str


@dataclass(frozen=True, eq=False)
class Fitted:
    """The one fit of `seen`: `places` (n, 2) in mm and their `covariance` (2n, 2n), by hole.

    `scales` less 1 and `square` in rad are the scanner's; `scatter` the likeliest; `odd` what was
    left out of it and why; `cards` of the size ID-1 that lay beside.
    """

    seen: Sightings
    fit: ScanFit
    places: Array
    covariance: Array
    diameters: Array
    scales: tuple[float, float]
    square: float
    scatter: Scatter
    odd: tuple[Odd, ...]
    cards: tuple[Card, ...] = ()

    @property
    def network(self) -> ScanNetwork:
        """The equations of that fit."""
        return self.fit.network

    @property
    def covariances(self) -> Array:
        """(n, 2, 2) covariance of each place by itself, mm²."""
        return blocks(self.covariance)

    @property
    def residuals(self) -> Array:
        """(k, 2) mm by which each sighting lies off what the fit says, in its own picture."""
        return self.fit.residuals[: 2 * len(self.seen.scan)].reshape(2, -1).T

    def from_above(self, face: Face) -> tuple[Array, Array]:
        """`places` and `covariance` as the thing is seen from above, its `face` on the glass."""
        flip = np.array([1.0, 1.0 if face == "top" else -1.0])
        each = np.tile(flip, self.seen.holes)
        return self.places * flip, self.covariance * np.outer(each, each)

    @property
    def within(self) -> Array:
        """(n,) mm that 95 of 100 such holes stay within, the worst way of their regions."""
        return np.asarray(REGION * np.sqrt(np.linalg.eigvalsh(self.covariances)[:, -1]))


def _few(count: int, source: str) -> InputError:
    message = f"{count} round holes; at least {FEWEST} are needed"
    hint = "Clean the glass, press the plate flat, close the lid; scan at 600 dpi, grey."
    return InputError.of("scan.few-holes", message, where=source, hint=hint)


def letters(count: int) -> tuple[str, ...]:
    """Names: a, b … z, aa, ab …."""
    alphabet = "abcdefghijklmnopqrstuvwxyz"
    firsts = ["", *alphabet]
    return tuple(firsts[n // 26] + alphabet[n % 26] for n in range(count))


def sightings(
    scans: Sequence[Sequence[Hole]],
    sources: Sequence[str],
    turns: Sequence[float] | None = None,
    sizes: Sequence[tuple[float, float]] | None = None,
) -> tuple[Sightings, Array, tuple[Odd, ...]]:
    """Which hole was seen where, rough places (n, 2), and what was left out.

    What several scans could show and only one does is left out: dust, a letter.  `sizes` are those
    of the pictures in mm, which tell what a scan could show.  Raises InputError.
    """
    good = [[hole for hole in holes if not hole.fault] for holes in scans]
    for holes, source in zip(good, sources, strict=True):
        if len(holes) < FEWEST:
            raise _few(len(holes), source)
    places = [np.array([(hole.x, hole.y) for hole in holes]) for holes in good]
    numbers, known = same_holes(places, sources, turns)
    rows = [
        (scan, numbers[scan][n], hole)
        for scan, holes in enumerate(good)
        for n, hole in enumerate(holes)
        if n in numbers[scan]
    ]
    odd = [
        Odd(source, hole.x, hole.y, hole.fault)
        for holes, source in zip(scans, sources, strict=True)
        for hole in holes
        if hole.fault
    ]
    counts = np.bincount([hole for _, hole, _ in rows], minlength=len(known))
    sure = []
    for number in range(len(known)):
        could = _could_see(known, number, numbers, places, sizes)
        if counts[number] * 2 >= could or len(scans) == 1:
            sure.append(number)
            continue
        for scan, hole, which in rows:
            if hole == number:
                odd.append(Odd(sources[scan], which.x, which.y, "seen in this scan alone"))
    order = {number: n for n, number in enumerate(sure)}
    rows = [row for row in rows if row[1] in order]
    seen = Sightings(
        np.array([scan for scan, _, _ in rows]),
        np.array([order[hole] for _, hole, _ in rows]),
        np.array([(hole.x, hole.y) for _, _, hole in rows]),
        np.array([hole.sigma for _, _, hole in rows]),
        np.array([hole.diameter for _, _, hole in rows]),
        letters(len(sure)),
        tuple(sources),
    )
    return seen, known[sure], tuple(odd)


def _could_see(
    known: Array,
    number: int,
    numbers: Sequence[dict[int, int]],
    places: Sequence[Array],
    sizes: Sequence[tuple[float, float]] | None,
) -> int:
    """How many scans have the place of hole `number` on their glass, whether they saw it or not."""
    if sizes is None:
        return len(numbers)
    count = 0
    for scan, size in enumerate(sizes):
        mine = np.array(list(numbers[scan].items()))
        turn, shift, _ = rigid(known[mine[:, 1]], places[scan][mine[:, 0]])
        at = np.abs(known[number] @ ways(turn).T + shift)
        count += bool((at < np.array(size) / 2).all())
    return count


def fit_scans(
    seen: Sightings, rough: Array, distances: Sequence[Distance] = (), odd: tuple[Odd, ...] = ()
) -> Fitted:
    """The fit; raises InputError ``scan.unknown-hole`` for a distance from what was not found."""
    if seen.holes < FEWEST:
        raise _few(seen.holes, seen.sources[0])
    for distance in distances:
        for name in (distance.first, distance.second):
            if name not in seen.names:
                message = f"no hole was named {name}; found: {', '.join(seen.names)}"
                raise InputError.of("scan.unknown-hole", message, key="distance")
    every = _likely(seen, rough, distances)
    best, sampled = every[0][0], representative(every, _WEIGHED)
    fits = [fit_with(seen, rough, distances, scatter) for scatter, _ in sampled]
    weights = [weight for _, weight in sampled]
    places = [fit.network.places_of(fit.parameters) for fit in fits]
    mean = sum(weight * place for weight, place in zip(weights, places, strict=True))
    each = []
    for place, fit in zip(places, fits, strict=True):
        off = (place - mean).ravel()
        each.append(fit.stated(fit.network.places) + np.outer(off, off))
    covariance = _widened(each, weights)
    fit = fit_with(seen, rough, distances, best)
    scale_x, scale_y, square = fit.parameters[fit.network.affine].tolist()
    diameters = fit.parameters[fit.network.diameters]
    return Fitted(
        seen, fit, np.asarray(mean), covariance, diameters,
        (scale_x, scale_y), square, best, odd,
    )  # fmt: skip


def _widened(each: Sequence[Array], weights: Sequence[float]) -> Array:
    """The covariance whose normal region holds 95 % of what is normal with each of `each` by turns.

    Such a mixture reaches farther than a normal of its own covariance.
    """
    from scipy.optimize import brentq

    covariance = np.asarray(sum(w * one for w, one in zip(weights, each, strict=True)))
    inverse = np.linalg.inv(blocks(covariance))
    sizes = np.array([np.einsum("nij,nji->n", inverse, blocks(one)) / 2 for one in each])

    def beyond(squared: float) -> float:
        return float(np.asarray(weights) @ np.exp(-squared / 2 / sizes).mean(axis=1)) - 0.05

    return np.asarray(covariance * max(1.0, float(brentq(beyond, 1.0, 100.0)) / REGION**2))


def _likely(
    seen: Sightings, rough: Array, distances: Sequence[Distance]
) -> list[tuple[Scatter, float]]:
    """Sizes of the scanner's faults with their weights, from a first fit with usual ones."""
    fit = fit_with(seen, rough, distances, usual())
    network, rows = fit.network, slice(2 * len(seen.scan))
    slopes = network.slopes(fit.parameters)[rows]
    still = network.equations.basis[network.places, : network.places.stop - 3]
    unknown = np.hstack([slopes[:, network.places] @ still, slopes[:, network.poses]])
    across, sizes, _ = np.linalg.svd(unknown)
    beyond = across[:, np.count_nonzero(sizes > 1e-6 * sizes[0]) :]
    sigmas = 1.0 / network.equations.weights[network.known_before(network.affine)]
    known = slopes[:, network.affine] * sigmas
    own = network.affine.start
    left = fit.residuals[rows] + slopes[:, own:] @ fit.parameters[own:]
    return likely(seen.at, seen.hole, seen.sigma, beyond, known, left)
