"""From a gauge's readings to what its printer does, how surely, what speaks against it: a profile.

What each reading would be:

- a distance: its asked length, over far edges, near ones or centres, stretched as the printer
  stretches that direction, and the offset of the holes or pegs at its ends: a whole one over two
  far edges, minus one between two near ones.  To first order this is the ellipse that a printed
  circle becomes, met along the line of the jaws.
- a diameter: stretched by the mean of both scales, and one offset: measure it both ways and
  write the mean.
- a height: stretched by the scale in z.
- scans of its holes: the distances of their centres, stretched likewise, each hole as far off by
  itself as one printer puts the same hole twice.

What the caliper itself does goes into the printer: one that reads 0.02 % long makes every scale
0.02 % large (0.03 mm over 150 mm is within what calipers are sold with: common practice, no
source), and a gauge measured warm is larger by 0.07 mm a metre and kelvin (PLA; from memory).
Jigs measured with the same caliper at room temperature carry the same error.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import CheckFailed, Finding
from jiggen.measure import METHODS, REACH, adjustment
from jiggen.measure.adjustment import Adjustment, Array, Equations, derivative
from jiggen.measure.printer import profile
from jiggen.measure.printer.jig import distortion
from jiggen.measure.printer.profile import Profile
from jiggen.measure.printer.read import (
    Diameter,
    Distance,
    Feature,
    Height,
    Measurements,
    PinReadings,
    Reading,
)
from jiggen.measure.printer.sighted import Sighted
from jiggen.measure.printer.slips import shown, slip
from jiggen.tables import repeatability

Parameter = Literal["scale_x", "scale_y", "skew", "hole", "wall", "scale_z"]
PARAMETERS: tuple[Parameter, ...] = get_args(Parameter)
NEEDED: tuple[Parameter, ...] = ("scale_x", "scale_y")  # without these there is no profile
TRUE = np.array([1.0, 1.0, 0.0, 0.0, 0.0, 1.0])
SUFFICIENT = np.array([1e-3, 1e-3, 0.1, 0.1, 0.1, 5e-3])
"""Standard uncertainties from which on a parameter counts as not determined: 0.1 % is 0.19 mm at
190 mm; degrees; mm; 0.5 % is 0.07 mm in a body 14 mm high (our choice)."""

_MOST = 4  # readings to add, named at once; a longer list is not worked through
_HEIGHT = 10.0  # mm; any height of the gauge would do
_RIDGE = 1e-9  # keeps what no reading sees finite, and far beyond sufficient
WHAT: dict[Parameter, str] = {
    "scale_x": "how long the printer makes things along x",
    "scale_y": "how long the printer makes things along y",
    "skew": "whether the printer's axes are perpendicular",
    "hole": "by how much holes come out small or large",
    "wall": "by how much outside dimensions come out small or large",
    "scale_z": "how high the printer makes things",
}


@dataclass(frozen=True, eq=False)
class GaugeFit:
    """A gauge's readings and what they say, as the way of each parameter from that of a true print.

    What `free` (6,) leaves out was not determined: it stays true, its uncertainty infinite.
    """

    measurements: Measurements
    free: NDArray[np.bool_]
    fit: Adjustment
    sighted: tuple[Sighted, ...] = ()

    @cached_property
    def values(self) -> dict[Parameter, float]:
        """Scales, degrees and mm."""
        return dict(
            zip(PARAMETERS, (TRUE + self.fit.parameters[: len(TRUE)]).tolist(), strict=True)
        )

    @cached_property
    def uncertainties(self) -> dict[Parameter, float]:
        """Standard uncertainties, coarser where the readings proved to be coarser."""
        known = self.fit.spread * np.sqrt(np.diag(self.fit.covariance)[: len(TRUE)])
        return dict(zip(PARAMETERS, np.where(self.free, known, np.inf).tolist(), strict=True))

    @property
    def determined(self) -> tuple[Parameter, ...]:
        """The parameters of which the readings say what they are."""
        return tuple(name for name, free in zip(PARAMETERS, self.free, strict=True) if free)


def fit_gauge(measurements: Measurements, sighted: Sequence[Sighted] = ()) -> GaugeFit:
    """What `measurements` and scans say of the printer; the rest stays as in a true print.

    Raises CheckFailed ``printer.loose`` where they do not say how long it makes things.
    """
    loose = loose_parameters(measurements, sighted)
    if missing := tuple(name for name in NEEDED if name in loose):
        what = " and ".join(WHAT[name] for name in missing)
        hint = advice(measurements, missing, sighted)
        message = f"the readings do not say {what}"
        raise CheckFailed(Finding("printer.loose", message, measurements.source, hint=hint))
    mixed, apart, own = _network(measurements, sighted)
    count, slips = len(measurements.readings), own.shape[1]

    def predicted(off: Array) -> Array:
        print_, slip = off[: len(TRUE)], off[len(TRUE) :]
        return np.concatenate([mixed @ (apart(print_) + own @ slip), slip])

    free = np.array([name not in loose for name in PARAMETERS])
    read = [reading.value for reading in measurements.readings]
    values = np.concatenate([read, *(one.values for one in sighted), np.zeros(slips)])
    weights = np.ones(len(values))
    weights[:count] = 1.0 / measurements.caliper
    weights[len(values) - slips :] = 1.0 / repeatability()
    chosen = np.concatenate([free, np.full(slips, True)])
    equations = Equations(
        predicted=predicted,
        slopes=lambda off: derivative(predicted, off),
        values=values,
        weights=weights,
        basis=np.eye(len(chosen))[:, chosen],
        readings=count,
    )
    fit = Adjustment(equations, adjustment.minimum(equations, np.zeros(chosen.sum())))
    return GaugeFit(measurements, free, fit, tuple(sighted))


def _network(
    measurements: Measurements, sighted: Sequence[Sighted]
) -> tuple[Array, Callable[[Array], Array], Array]:
    """What takes readings and scans from distances: (r, m), the distances themselves, and (m, 2h)
    how they grow with how far each of h holes that scans have lies off by itself.
    """
    from scipy.linalg import block_diag

    every = (*measurements.readings, *(chord for one in sighted for chord in _chords(one)))
    mixed = block_diag(np.eye(len(measurements.readings)), *(one.ways for one in sighted))
    holes = [*dict.fromkeys(hole for one in sighted for hole in one.holes)]
    own = np.zeros((len(every), 2 * len(holes)))
    for row, reading in zip(own, every, strict=True):
        ends = reading.between if isinstance(reading, Distance) else ()
        for end, sign in zip(ends, (1.0, -1.0), strict=False):
            if end in holes:
                _, way, *_ = _row(measurements.features, reading)
                row[2 * holes.index(end) :][:2] = sign * np.array(way)
    return np.asarray(mixed), predicted_of(measurements.features, every), own


def _chords(seen: Sighted) -> list[Distance]:
    """Distances of all pairs of holes that scans have; their values mean nothing."""
    return [
        Distance.model_construct(between=pair, edges="centre", value=1.0) for pair in seen.pairs
    ]


def predicted_of(
    features: Mapping[str, Feature], readings: Iterable[Reading]
) -> Callable[[Array], Array]:
    """What leads the way of all parameters from true ones to what each reading would be, in mm."""
    rows = [_row(features, reading) for reading in readings]
    asked, along, holes, walls, upright = (np.array(column) for column in zip(*rows, strict=True))

    def predicted(off: Array) -> Array:
        scale_x, scale_y, skew, hole, wall, scale_z = TRUE + off
        stretch = np.hypot(*(along @ distortion(scale_x, scale_y, skew).T).T)
        stretch = np.where(np.isnan(stretch), (scale_x + scale_y) / 2, stretch)
        stretch = np.where(upright, scale_z, stretch)
        return np.asarray(stretch * asked + holes * hole + walls * wall)

    return predicted


def _row(
    features: Mapping[str, Feature], reading: Reading
) -> tuple[float, tuple[float, float], float, float, bool]:
    """Asked mm, their direction (NaN for none in the plane), hole and wall offsets, if upright."""
    match reading:
        case Distance():
            ends = [features[name] for name in reading.between]
            reach = REACH[reading.edges] / 2
            x, y = np.subtract(ends[0].at, ends[1].at).tolist()
            length = float(np.hypot(x, y))
            holes, walls = (
                reach * sum(end.kind == kind for end in ends) for kind in ("hole", "peg")
            )
            rims = reach * sum(end.diameter for end in ends)
            return length + rims, (x / length, y / length), holes, walls, False
        case Diameter():
            feature = features[reading.of]
            is_hole = feature.kind == "hole"
            return feature.diameter, (np.nan, np.nan), float(is_hole), float(not is_hole), False
        case Height():
            return reading.asked, (np.nan, np.nan), 0.0, 0.0, True


def _slopes(measurements: Measurements, readings: Iterable[Reading]) -> Array:
    """(m, 6) how readings grow, in what the caliper is good to, with what is sufficient."""
    predicted = predicted_of(measurements.features, readings)
    slopes = derivative(predicted, np.zeros(len(PARAMETERS)))
    return np.asarray(slopes * SUFFICIENT / measurements.caliper)


def _known(measurements: Measurements, sighted: Sequence[Sighted]) -> Array:
    """(6, 6) how well the readings say the parameters: a covariance in what is sufficient."""
    mixed, apart, own = _network(measurements, sighted)
    print_ = derivative(apart, np.zeros(len(TRUE))) * SUFFICIENT
    slopes = mixed @ np.hstack([print_, own * repeatability()])
    slopes[: len(measurements.readings)] /= measurements.caliper
    before = np.diag([*np.full(len(TRUE), _RIDGE), *np.ones(own.shape[1])])
    every = np.linalg.inv(slopes.T @ slopes + before)
    return np.asarray(every[: len(TRUE), : len(TRUE)])


def loose_parameters(
    measurements: Measurements, sighted: Sequence[Sighted] = ()
) -> tuple[Parameter, ...]:
    """Parameters that the readings do not say well enough."""
    variances = np.diag(_known(measurements, sighted))
    return tuple(name for name, size in zip(PARAMETERS, variances, strict=True) if size > 1.0)


def advice(
    measurements: Measurements, loose: tuple[Parameter, ...], sighted: Sequence[Sighted] = ()
) -> str:
    """What to measure as well so that what is `loose` is determined."""
    # which height is all the same
    add = to_add(measurements, loose, sighted)
    words = ["a height" if isinstance(r, Height) else str(r) for r in add]
    return adjustment.measure_as_well(words, "Measure more of the gauge.")


def to_add(
    measurements: Measurements, loose: tuple[Parameter, ...], sighted: Sequence[Sighted] = ()
) -> tuple[Reading, ...]:
    """Readings that, added one after another, determine what is `loose`; at most four.

    Each is the one after which the summed variance of what is loose is least; values mean nothing.
    """
    features = measurements.features
    candidates: list[Reading] = [
        Distance.model_construct(between=pair, edges="outside", value=1.0)
        for pair in combinations(features, 2)
        if len({features[name].kind for name in pair}) == 1
    ]
    candidates += [Diameter.model_construct(of=name, value=1.0) for name in features]
    candidates += [Height.model_construct(asked=_HEIGHT, value=_HEIGHT)]
    slopes, known = _slopes(measurements, candidates), _known(measurements, sighted)
    wanted = np.eye(len(PARAMETERS))[[PARAMETERS.index(name) for name in loose]]
    chosen: list[Reading] = []
    while len(chosen) < _MOST and np.diag(wanted @ known @ wanted.T).max(initial=0.0) > 1.0:
        best = int(adjustment.gains(known, slopes, 1.0, wanted).argmax())
        known = adjustment.informed(known, slopes[best], 1.0)
        chosen.append(candidates[best])
    return tuple(chosen)


def refusals(found: GaugeFit) -> tuple[Finding, ...]:
    """Why no profile should be made: ``printer.gross-error``, ``.disagree``, ``.beyond``."""
    if found.fit.contradicts:
        return (contradiction(found.fit, found.measurements, _other_edges(found)),)
    return tuple(beyond(found.values, found.measurements.source))


def warnings(found: GaugeFit) -> tuple[Finding, ...]:
    """What to know before relying on it: ``printer.unmeasured``, ``.unchecked``, ``.coarse``."""
    read, findings = found.measurements, list[Finding]()
    kinds = {feature.kind for feature in read.features.values()}
    for name in PARAMETERS:
        measurable = {"hole": "hole" in kinds, "wall": "peg" in kinds}.get(name, True)
        if name not in found.determined and measurable:
            message = f"the readings do not say {WHAT[name]}; it is assumed to be true"
            findings.append(
                Finding("unmeasured", message, hint=advice(read, (name,), found.sighted))
            )
    if rows := found.fit.unchecked(len(read.readings)):
        findings.append(adjustment.describe_unchecked([str(read.readings[row]) for row in rows]))
    if found.fit.spread > 1 and not found.fit.contradicts:
        findings.append(adjustment.describe_coarse(found.fit.spread, read.caliper))
    return adjustment.in_file(findings, "printer", read.source)


def contradiction(
    fit: Adjustment,
    read: Measurements | PinReadings,
    explained: Sequence[str] = (),
    labels: Sequence[str] = (),
) -> Finding:
    """Which of the readings that contradict is a gross error, or that no single one is."""
    wrong, unit = fit.gross_error, read.unit
    words = ["Measure it again, or leave it empty."]
    if wrong and wrong.likely:
        value = read.readings[wrong.row].value
        if seems := slip(value, value - wrong.off, wrong.known, unit):
            words.append(f"It looks like {seems}.")
    finding = adjustment.describe_contradiction(
        "readings",
        fit,
        wrong,
        labels or [str(reading) for reading in read.readings],
        lambda row, less: shown(read.readings[row].value - less, unit),
        explained=[*words, *explained],
        coarse=f"If your caliper is coarser than {read.caliper:g} mm, say so: caliper = 0.05.",
    )
    return replace(finding, code=f"printer.{finding.code}", where=read.source)


def _other_edges(found: GaugeFit) -> list[str]:
    """How a distance that is wrong was perhaps measured, where that would explain it."""
    wrong, read = found.fit.gross_error, found.measurements
    reading = read.readings[wrong.row] if wrong and wrong.likely else None
    if not (wrong and isinstance(reading, Distance)):
        return []
    others = [reading.model_copy(update={"edges": edges}) for edges in METHODS]
    would_be = predicted_of(read.features, others)(wrong.without.parameters)
    near = np.abs(would_be - reading.value) <= 4 * wrong.known
    return [
        f"It would fit as: {other}."
        for other, fits in zip(others, near, strict=True)
        if fits and other.edges != reading.edges
    ]


def beyond(values: Mapping[Parameter, float], source: str) -> Iterator[Finding]:
    """What is more than is compensated."""
    look = "was the slicer set to 100 %, and the file to millimetres? Then look at the printer's "
    for name, value in values.items():
        off = value - TRUE[PARAMETERS.index(name)]
        if name.startswith("scale"):
            size = f"{abs(off) * 100:.1f} % too {'long' if off > 0 else 'short'}"
            limit = profile.LARGEST_GROWTH if off > 0 else profile.LARGEST_STRETCH
            most = f"{limit * 100:g} % is the most that is compensated"
            message = f"along {name[-1]} the print is {size}; {most}"
            help_ = f"{look}steps per millimetre."
        elif name == "skew":
            message = f"the axes have a perpendicularity error of {abs(off):.2f}°"
            limit, help_ = profile.LARGEST_SKEW, "set the printer's frame square first."
        else:
            what = "holes" if name == "hole" else "outside dimensions"
            message = f"{what} come out {abs(off):.2f} mm too {'large' if off > 0 else 'small'}"
            limit, help_ = profile.LARGEST_OFFSET, "look at the slicer's line width and flow first."
        if abs(off) > limit:
            hint = f"That is too much to compensate; repair or calibrate the printer: {help_}"
            yield Finding("printer.beyond", message, source, name, hint)


def profile_of(found: GaugeFit, name: str, material: str = "") -> Profile:
    """The profile that `found` makes, under `name`.

    Raises CheckFailed ``printer.gross-error``, ``.disagree`` or ``.beyond``, and InputError as
    `check_name`.
    """
    profile.check_name(name, material)
    if against := refusals(found):
        raise CheckFailed(against)
    numbers = {key: round(found.values[key], 6) for key in found.determined}
    sure = {key: round(found.uncertainties[key], 6) for key in found.determined}
    tried = {key: value for key, value in found.measurements.fits if math.isfinite(value)}
    named = {"name": name, "material": material, "uncertainty": sure}
    return Profile.model_validate(named | numbers | tried)
