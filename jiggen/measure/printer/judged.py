"""What stands against readings of a gauge or a finished jig, and the profile made of others."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, replace
from itertools import pairwise

import numpy as np

from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.inputs.faults import Unit
from jiggen.measure import METHODS
from jiggen.measure.adjustment import (
    describe_coarse,
    describe_contradiction,
    describe_unchecked,
    in_file,
    the_first,
)
from jiggen.measure.printer.gauge_fit import (
    PARAMETERS,
    TRUE,
    WHAT,
    GaugeFit,
    Parameter,
    advice,
    predicted_of,
)
from jiggen.measure.printer.printed import PrintedFit
from jiggen.measure.printer.profile import (
    LARGEST_OFFSET,
    LARGEST_SKEW,
    LARGEST_STRETCH,
    Compensation,
    Fits,
    Profile,
    check_name,
    find_profile,
)
from jiggen.measure.printer.read import BUSH_FITS, SLIDES, Distance, Measurements, PinReadings

_PLACES = {"mm": 2, "in": 4}  # decimals that a caliper shows
_SLIPS = {"mm": (1.0, 10.0, 100.0), "in": (0.1, 1.0)}
_LEAST = 0.03  # mm; nearer than this two slips look the same


def refusals(found: GaugeFit) -> tuple[Finding, ...]:
    """Why no profile should be made of it.

    Codes: ``printer.gross-error``, ``.disagree``, ``.beyond``.
    """
    if found.fit.contradicts:
        return (contradiction(found, found.measurements, _other_edges(found)),)
    return tuple(_beyond(found.values, found.measurements.source))


def warnings(found: GaugeFit) -> tuple[Finding, ...]:
    """What to know before relying on it.

    Codes: ``printer.unmeasured``, ``.unchecked``, ``.coarse``.
    """
    read, findings = found.measurements, list[Finding]()
    kinds = {feature.kind for feature in read.features.values()}
    for name in PARAMETERS:
        measurable = {"hole": "hole" in kinds, "wall": "peg" in kinds}.get(name, True)
        if name not in found.determined and measurable:
            message = f"the readings do not say {WHAT[name]}; it is assumed to be true"
            findings.append(Finding("unmeasured", message, hint=advice(read, (name,))))
    if rows := found.fit.unchecked(len(read.readings)):
        findings.append(describe_unchecked([str(read.readings[row]) for row in rows]))
    if found.fit.spread > 1 and not found.fit.contradicts:
        findings.append(describe_coarse(found.fit.spread, read.caliper))
    return in_file(findings, "printer", read.source)


def refusals_of_print(found: PrintedFit) -> tuple[Finding, ...]:
    """What stands against a finished jig: contradictory readings, or holes that may be too far off.

    Codes: ``printer.gross-error``, ``.disagree``; ``.off``, ``.unsure``.
    """
    source, limit = found.readings.source, found.limit
    if found.fit.contradicts:
        return (contradiction(found, found.readings),)
    if off := [f"{one.id} by {one.off:.2f} mm" for one in found.expected if one.off > limit]:
        message = f"holes are off by more than {limit:g} mm: {the_first(off, ', ')}"
        hint = "Do not drill with it: print it again with the corrected profile."
        return (Finding("printer.off", message, source, hint=hint),)
    worst = [(one.id, one.at_worst) for one in found.expected if one.at_worst > limit]
    if not worst:
        return ()
    named = the_first([f"{hole} by {size:.2f} mm" for hole, size in worst], ", ")
    hint = f"Measure {' to '.join(found.next_pair)} as well, then look again."
    message = f"holes may be off by more than {limit:g} mm: {named}"
    return (Finding("printer.unsure", message, source, hint=hint),)


def contradiction(
    found: GaugeFit | PrintedFit, read: Measurements | PinReadings, explained: Sequence[str] = ()
) -> Finding:
    """Which of the readings that contradict is a gross error, or that no single one is."""
    wrong, unit = found.fit.gross_error, read.unit
    words = ["Measure it again, or leave it empty."]
    if wrong and wrong.likely:
        value = read.readings[wrong.row].value
        if seems := slip(value, value - wrong.off, wrong.known, unit):
            words.append(f"It looks like {seems}.")
    finding = describe_contradiction(
        "readings",
        found.fit,
        wrong,
        [str(reading) for reading in read.readings],
        lambda row, less: _shown(read.readings[row].value - less, unit),
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


def _beyond(values: Mapping[Parameter, float], source: str) -> Iterator[Finding]:
    """What is more than is compensated."""
    look = "was the slicer set to 100 %, and the file to millimetres? Then look at the printer's "
    most = f"{LARGEST_STRETCH * 100:g} % is the most that is compensated"
    for name, value in values.items():
        off = value - TRUE[PARAMETERS.index(name)]
        if name.startswith("scale"):
            size = f"{abs(off) * 100:.1f} % too {'long' if off > 0 else 'short'}"
            message = f"along {name[-1]} the print is {size}; {most}"
            limit, help_ = LARGEST_STRETCH, f"{look}steps per millimetre."
        elif name == "skew":
            message = f"the axes have a perpendicularity error of {abs(off):.2f}°"
            limit, help_ = LARGEST_SKEW, "set the printer's frame square first."
        else:
            what = "holes" if name == "hole" else "outside dimensions"
            message = f"{what} come out {abs(off):.2f} mm too {'large' if off > 0 else 'small'}"
            limit, help_ = LARGEST_OFFSET, "look at the slicer's line width and flow first."
        if abs(off) > limit:
            hint = f"That is too much to compensate; repair or calibrate the printer: {help_}"
            yield Finding("printer.beyond", message, source, name, hint)


def slip(read: float, expected: float, known: float, unit: Unit) -> str:
    """How `read` may have come of `expected`, in words; nothing where no usual slip explains it.

    All in mm; `known` is the standard uncertainty of their difference.  Digits are those that
    the caliper showed in `unit`.
    """
    ways = [(abs(value - expected), words) for value, words in _ways(read, unit)]
    distance, words = min(ways, key=lambda way: way[0])
    return words if distance <= max(4 * known, _LEAST) else ""


def _ways(read: float, unit: Unit) -> Iterator[tuple[float, str]]:
    """What should have been written in mm, and the slip that made `read` of it."""
    for step in _SLIPS[unit.name]:
        yield read - step * unit.mm, f"{step:g} {unit.name} too much"
        yield read + step * unit.mm, f"{step:g} {unit.name} too little"
    text = _shown(read, unit)
    for first, second in pairwise(n for n, sign in enumerate(text) if sign.isdigit()):
        if text[first] != text[second]:
            signs = list(text)
            signs[first], signs[second] = text[second], text[first]
            meant = "".join(signs)
            yield float(meant) * unit.mm, f"two digits swapped: {text} for {meant}"
    yield read * 10, "the point one place too far left"
    yield read / 10, "the point one place too far right"
    if unit.name == "mm":
        yield read * 25.4, "read in inches"
    else:
        yield read / 25.4, "read in millimetres"


def _shown(length: float, unit: Unit) -> str:
    """A length in mm as the caliper shows it."""
    return f"{length / unit.mm:.{_PLACES[unit.name]}f}"


# -- profiles -------------------------------------------------------------------------------------


def profile_of(found: GaugeFit, name: str, material: str = "") -> Profile:
    """The profile that `found` makes, under `name`.

    Raises CheckFailed ``printer.gross-error``, ``.disagree`` or ``.beyond``, and InputError as
    `check_name`.
    """
    check_name(name, material)
    if against := refusals(found):
        raise CheckFailed(against)
    values, sure = found.values, found.uncertainties
    tried = {key: value for key, value in found.measurements.fits if math.isfinite(value)}
    return Profile.model_validate(
        {
            "name": name,
            "material": material,
            "uncertainty": {key: round(sure[key], 6) for key in found.determined},
            **{key: round(values[key], 6) for key in found.determined},
            **tried,
        }
    )


def profile_then(sent: Compensation | None, fits: Fits) -> Profile:
    """The profile that a jig was printed with: the stored one where that is still the same.

    Otherwise what follows from what was done to the jig's meshes, `sent`, and from the `fits`
    that it was designed with.  A jig printed as designed has the profile of a true print.
    """
    if sent is None:
        return Profile(name="as-designed")
    try:
        stored = find_profile(sent.printer)
        now = stored.compensation
        same = stored.fits(fits.bush_fit + stored.hole, fits.slide - stored.wall)
        then, would = (
            [*mesh.matrix.flat, mesh.height, *astuple(holes)]
            for mesh, holes in ((sent, fits), (now, same))
        )
        if np.allclose(then, would, rtol=0, atol=1e-6):
            return stored
    except InputError:  # deleted, or damaged since: the record still holds what matters
        pass
    return Profile(
        name="as-printed",
        scale_z=1.0 / sent.height,
        hole=-fits.hole_fit,
        bush_fit=float(np.clip(fits.bush_fit, *BUSH_FITS)),
        slide=float(np.clip(fits.slide, *SLIDES)),
    )


def corrected(found: PrintedFit, before: Profile, name: str) -> Profile:
    """`before` with the scales and the skew that the finished jig shows, under `name`.

    Raises CheckFailed ``printer.beyond`` where they are more than what is compensated.
    """
    plane, sure = (
        dict(zip(PARAMETERS[:3], np.round(each, 6).tolist(), strict=True)) for each in found.printer
    )
    if beyond := tuple(_beyond(plane, found.readings.source)):
        raise CheckFailed(beyond)
    uncertainty = before.uncertainty.model_copy(update=sure)
    return before.model_copy(update={**plane, "name": name, "uncertainty": uncertainty})
