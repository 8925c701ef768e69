"""What is wrong with a gauge's readings, and what to measure next, in a technician's words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from jiggen.errors import Finding
from jiggen.inputs.faults import Unit
from jiggen.measure import METHODS
from jiggen.measure.printer.gauge_fit import NEEDED, GaugeFit, Parameter, loose_parameters, to_add
from jiggen.measure.printer.measured import Height, Measurements, PinReadings, Reading
from jiggen.measure.printer.printed import PrintedFit
from jiggen.measure.printer.profile import LARGEST_OFFSET, LARGEST_SKEW, LARGEST_STRETCH
from jiggen.measure.words import (
    describe_coarse,
    describe_contradiction,
    describe_unchecked,
    measure_as_well,
    the_first,
)

_PLACES = {"mm": 2, "in": 4}  # decimals that a caliper shows
_SLIPS = {"mm": (1.0, 10.0, 100.0), "in": (0.1, 1.0)}
_LEAST = 0.03  # mm; nearer than this two slips look the same
_SCALES: tuple[Parameter, ...] = ("scale_x", "scale_y", "scale_z")
_WHAT: dict[Parameter, str] = {
    "scale_x": "how long the printer makes things along x",
    "scale_y": "how long the printer makes things along y",
    "skew": "whether the printer's axes are perpendicular",
    "hole": "by how much holes come out small or large",
    "wall": "by how much outside dimensions come out small or large",
    "scale_z": "how high the printer makes things",
}


def undetermined(measurements: Measurements, missing: tuple[Parameter, ...]) -> Finding:
    """``printer.loose``: without `missing` there is no profile."""
    what = " and ".join(_WHAT[name] for name in missing)
    return Finding(
        "printer.loose",
        f"the readings do not say {what}",
        measurements.source,
        hint=_measure(measurements, missing),
    )


def refusals(found: GaugeFit) -> tuple[Finding, ...]:
    """Why no profile should be made of it.

    Codes: ``printer.gross-error``, ``.disagree``, ``.beyond``.
    """
    if found.fit.contradicts:
        return (contradiction(found, found.measurements, _other_edges(found)),)
    return tuple(_beyond(found))


def warnings(found: GaugeFit) -> tuple[Finding, ...]:
    """What to know before relying on it.

    Codes: ``printer.unmeasured``, ``.unchecked``, ``.coarse``.
    """
    return tuple(
        replace(finding, code=f"printer.{finding.code}", where=found.measurements.source)
        for finding in _warnings(found)
    )


def refusals_of_print(found: PrintedFit) -> tuple[Finding, ...]:
    """What stands against a finished jig: contradictory readings, or holes that may be too far off.

    Codes: ``printer.gross-error``, ``.disagree``; ``.off``, ``.unsure``.
    """
    source, limit = found.readings.source, found.limit
    if found.fit.contradicts:
        return (contradiction(found, found.readings),)
    if off := [f"{one.hole} by {one.off:.2f} mm" for one in found.expected if one.off > limit]:
        return (
            Finding(
                "printer.off",
                f"holes are off by more than {limit:g} mm: {the_first(off, ', ')}",
                source,
                hint="Do not drill with it: print it again with the corrected profile.",
            ),
        )
    unsure = [one for one in found.expected if one.at_worst > limit]
    if not unsure:
        return ()
    named = the_first([f"{one.hole} by {one.at_worst:.2f} mm" for one in unsure], ", ")
    hint = f"Measure {found.next_pair[0]} to {found.next_pair[1]} as well, then look again."
    message = f"holes may be off by more than {limit:g} mm: {named}"
    return (Finding("printer.unsure", message, source, hint=hint),)


def contradiction(
    found: GaugeFit | PrintedFit, read: Measurements | PinReadings, explained: Sequence[str] = ()
) -> Finding:
    """Which of the readings that contradict is a gross error, or that no single one is."""
    wrong, readings, unit = found.gross_error, read.readings, read.unit
    words = ["Measure it again, or leave it empty."]
    if wrong and wrong.likely:
        value = readings[wrong.row].value
        if seems := slip(value, value - wrong.off, wrong.known, unit):
            words.append(f"It looks like {seems}.")
    finding = describe_contradiction(
        "readings",
        found.fit,
        wrong,
        [str(reading) for reading in readings],
        lambda row, less: shown(readings[row].value - less, unit),
        explained=[*words, *explained],
        coarse=f"If your caliper is coarser than {read.caliper:g} mm, say so: caliper = 0.05.",
    )
    return replace(finding, code=f"printer.{finding.code}", where=read.source)


def shown(length: float, unit: Unit) -> str:
    """A length in mm as the caliper shows it."""
    return f"{length / unit.mm:.{_PLACES[unit.name]}f}"


def _other_edges(found: GaugeFit) -> list[str]:
    """How a distance that is wrong was perhaps measured, where that would explain it."""
    wrong = found.gross_error
    if wrong is None or not wrong.likely or wrong.row >= len(found.measurements.distances):
        return []
    reading = found.measurements.distances[wrong.row]
    others = (replace(reading, edges=edges) for edges in METHODS if edges != reading.edges)
    return [
        f"It would fit as: {other}."
        for other in others
        if abs(found.would_be(other, wrong.without) - reading.value) <= 4 * wrong.known
    ]


def _beyond(found: GaugeFit) -> Iterator[Finding]:
    def beyond(name: Parameter, message: str, advice: str) -> Finding:
        hint = f"That is too much to compensate; repair or calibrate the printer: {advice}"
        return Finding("printer.beyond", message, found.measurements.source, name, hint)

    for name in _SCALES:
        value = found.value(name)
        if abs(value - 1.0) > LARGEST_STRETCH:
            yield beyond(
                name,
                f"along {name[-1]} the print is {abs(value - 1) * 100:.1f} % too "
                f"{'long' if value > 1 else 'short'}; {LARGEST_STRETCH * 100:g} % is the most "
                "that is compensated",
                "was the slicer set to 100 %, and the file to millimetres? Then look at the "
                "printer's steps per millimetre.",
            )
    if abs(found.value("skew")) > LARGEST_SKEW:
        message = f"the axes have a perpendicularity error of {abs(found.value('skew')):.2f}°"
        yield beyond("skew", message, "set the printer's frame square first.")
    what: dict[Parameter, str] = {"hole": "holes", "wall": "outside dimensions"}
    for name, things in what.items():
        value = found.value(name)
        if abs(value) > LARGEST_OFFSET:
            size = "large" if value > 0 else "small"
            message = f"{things} come out {abs(value):.2f} mm too {size}"
            yield beyond(name, message, "look at the slicer's line width and flow first.")


def _warnings(found: GaugeFit) -> Iterator[Finding]:
    measurements = found.measurements
    for name in loose_parameters(measurements):
        if name not in NEEDED and _could_be_measured(measurements, name):
            message = f"the readings do not say {_WHAT[name]}; it is assumed to be true"
            yield Finding("unmeasured", message, hint=_measure(measurements, (name,)))
    readings = measurements.readings
    if rows := found.fit.unchecked(len(readings)):
        yield describe_unchecked([str(readings[row]) for row in rows])
    if found.fit.spread > 1 and not found.fit.contradicts:
        yield describe_coarse(found.fit.spread, measurements.caliper)


def _could_be_measured(measurements: Measurements, name: Parameter) -> bool:
    kinds = {feature.kind for feature in measurements.features.values()}
    return {"hole": "hole" in kinds, "wall": "peg" in kinds}.get(name, True)


def _measure(measurements: Measurements, loose: tuple[Parameter, ...]) -> str:
    names = [_named(reading) for reading in to_add(measurements, loose)]
    return measure_as_well(names) if names else "Measure more of the gauge."


def _named(reading: Reading) -> str:
    """A reading to be taken, as a person finds it; which height is all the same."""
    return "a height" if isinstance(reading, Height) else str(reading)


def slip(read: float, expected: float, known: float, unit: Unit) -> str:
    """How `read` may have come of `expected`, in words; nothing where no usual slip explains it.

    All in mm; `known` is the standard uncertainty of their difference.  Digits are those that
    the caliper showed in `unit`.
    """
    near = max(4 * known, _LEAST)
    ways = [(abs(value - expected), words) for value, words in _ways(read, unit)]
    distance, words = min(ways, key=lambda way: way[0])
    return words if distance <= near else ""


def _ways(read: float, unit: Unit) -> Iterator[tuple[float, str]]:
    """What should have been written in mm, and the slip that made `read` of it."""
    for step in _SLIPS[unit.name]:
        yield read - step * unit.mm, f"{step:g} {unit.name} too much"
        yield read + step * unit.mm, f"{step:g} {unit.name} too little"
    text = f"{read / unit.mm:.{_PLACES[unit.name]}f}"
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(digits):
        yield from _swapped(text, first, second, unit)
    yield read * 10, "the point one place too far left"
    yield read / 10, "the point one place too far right"
    if unit.name == "mm":
        yield read * 25.4, "read in inches"
    else:
        yield read / 25.4, "read in millimetres"


def _swapped(text: str, first: int, second: int, unit: Unit) -> Iterator[tuple[float, str]]:
    """The number with two of its digits the other way round, where that is another number."""
    if text[first] != text[second]:
        signs = list(text)
        signs[first], signs[second] = text[second], text[first]
        meant = "".join(signs)
        yield float(meant) * unit.mm, f"two digits swapped: {text} for {meant}"
