"""What is wrong with a gauge's readings, and what to measure next, in a technician's words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from jiggen.errors import Finding
from jiggen.inputs.faults import Unit
from jiggen.measure.adjustment import NOTICED, Adjustment, GrossError, Readings
from jiggen.printer.gauge_fit import NEEDED, GaugeFit, Parameter, loose_parameters, to_add
from jiggen.printer.measured import EDGES, Height, Measurements, Reading
from jiggen.printer.model import LARGEST_OFFSET, LARGEST_SKEW, LARGEST_STRETCH
from jiggen.printer.slips import slip

_SHOWN = 6  # readings named in one line
_WHAT: dict[Parameter, str] = {
    "scale_x": "how long the printer makes things along x",
    "scale_y": "how long the printer makes things along y",
    "skew": "whether the printer's axes stand square to one another",
    "hole": "by how much holes come out small or large",
    "wall": "by how much outside measures come out small or large",
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

    Codes: ``printer.misread``, ``.disagree``, ``.beyond``.
    """
    measurements, source = found.measurements, found.measurements.source
    if found.fit.contradicts:
        said = contradiction(
            found.fit,
            found.gross_error,
            measurements.readings,
            measurements.unit,
            measurements.caliper,
        )
        return (replace(said, where=source, hint=said.hint + _other_edges(found)),)
    return tuple(
        Finding("printer.beyond", message, source, key, hint)
        for key, message, hint in _beyond(found)
    )


def warnings(found: GaugeFit) -> tuple[Finding, ...]:
    """What to know before relying on it.

    Codes: ``printer.unmeasured``, ``.unchecked``, ``.coarse``.
    """
    source = found.measurements.source
    return tuple(
        Finding(f"printer.{code}", message, source, hint=hint)
        for code, message, hint in _warnings(found)
    )


def contradiction(
    fit: Adjustment[Readings],
    wrong: GrossError[Adjustment[Readings]] | None,
    readings: Sequence[Reading],
    unit: Unit,
    caliper: float,
) -> Finding:
    """What is said of `readings` that contradict: which value is misread, or that none is.

    Code ``printer.misread`` or ``.disagree``.
    """
    labels = [str(reading) for reading in readings]
    if wrong is None or not wrong.likely:
        sizes = np.abs(fit.normalised[: fit.equations.readings])
        worst = np.argsort(-sizes, kind="stable")[:3]
        return Finding(
            "printer.disagree",
            "the readings contradict one another, and no single misreading explains it",
            hint=f"Measure these again first: {'; '.join(labels[row] for row in worst)}. If your "
            f"caliper is coarser than {caliper:g} mm, say so: caliper = 0.05.",
        )
    read = readings[wrong.row].value
    words = ["Measure it again, or leave it empty."]
    if seems := slip(read, read - wrong.off, wrong.known, unit):
        words.append(f"It looks like {seems}.")
    if wrong.rivals:
        rivals = [labels[row] for row in wrong.rivals[:_SHOWN]]
        words.append(f"As likely wrong instead: {'; '.join(rivals)}.")
    return Finding(
        "printer.misread",
        f"{labels[wrong.row]}: you wrote {shown(read, unit)}, the other readings say "
        f"{shown(read - wrong.off, unit)}",
        hint=" ".join(words),
    )


def shown(length: float, unit: Unit) -> str:
    """A length in mm as the caliper shows it."""
    return f"{length / unit.mm:.{4 if unit.name == 'in' else 2}f}"


def _other_edges(found: GaugeFit) -> str:
    """Says how a misread distance was perhaps measured, where that would explain it."""
    wrong = found.gross_error
    if wrong is None or not wrong.likely or wrong.row >= len(found.measurements.distances):
        return ""
    reading = found.measurements.distances[wrong.row]
    others = (replace(reading, edges=edges) for edges in EDGES if edges != reading.edges)
    fitting = [
        other
        for other in others
        if abs(found.would_be(other, wrong.without) - reading.value) <= 4 * wrong.known
    ]
    return "".join(f" It would fit as: {other}." for other in fitting)


def _beyond(found: GaugeFit) -> Iterator[tuple[str, str, str]]:
    mend = "That wants mending, not compensating: "
    scales: tuple[tuple[Parameter, str], ...] = (
        ("scale_x", "x"),
        ("scale_y", "y"),
        ("scale_z", "z"),
    )
    for name, axis in scales:
        value = found.value(name)
        if abs(value - 1.0) > LARGEST_STRETCH:
            yield (
                name,
                f"along {axis} the print is {abs(value - 1) * 100:.1f} % too "
                f"{'long' if value > 1 else 'short'}; {LARGEST_STRETCH * 100:g} % is the most "
                "that is compensated",
                f"{mend}was the slicer set to 100 %, and the file to millimetres? Then look at "
                "the printer's steps per millimetre.",
            )
    if abs(found.value("skew")) > LARGEST_SKEW:
        said = f"the axes are {abs(found.value('skew')):.2f}° out of square"
        yield "skew", said, f"{mend}set the printer's frame square first."
    offsets: tuple[tuple[Parameter, str], ...] = (
        ("hole", "holes come out"),
        ("wall", "outside measures come out"),
    )
    for name, what in offsets:
        value = found.value(name)
        if abs(value) > LARGEST_OFFSET:
            yield (
                name,
                f"{what} {abs(value):.2f} mm too {'large' if value > 0 else 'small'}",
                f"{mend}look at the slicer's line width and flow first.",
            )


def _warnings(found: GaugeFit) -> Iterator[tuple[str, str, str]]:
    measurements = found.measurements
    loose = [
        name
        for name in loose_parameters(measurements)
        if name not in NEEDED and _could_be_measured(measurements, name)
    ]
    for name in loose:
        yield (
            "unmeasured",
            f"the readings do not say {_WHAT[name]}; it is taken to be true",
            _measure(measurements, (name,)),
        )
    readings = measurements.readings
    if rows := found.fit.unchecked(len(readings)):
        names = [str(readings[row]) for row in rows[:_SHOWN]]
        more = f"; and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
        yield (
            "unchecked",
            f"a misreading of {NOTICED:g} mm would not show in: {'; '.join(names)}{more}",
            "Measure them twice.",
        )
    if found.fit.spread > 1 and not found.fit.contradicts:
        yield (
            "coarse",
            f"your readings agree within {found.fit.spread * measurements.caliper:.2f} mm, not "
            f"{measurements.caliper:g} mm as said",
            "The result is given as that much less certain.",
        )


def _could_be_measured(measurements: Measurements, name: Parameter) -> bool:
    kinds = {feature.kind for feature in measurements.features.values()}
    return {"hole": "hole" in kinds, "wall": "peg" in kinds}.get(name, True)


def _measure(measurements: Measurements, loose: tuple[Parameter, ...]) -> str:
    names = [_named(reading) for reading in to_add(measurements, loose)]
    if not names:
        return "Measure more of the gauge."
    first, *more = names
    return f"Measure {first} as well." + (f" Then {' and '.join(more)}." if more else "")


def _named(reading: Reading) -> str:
    """A reading to be taken, as a person finds it; which height is all the same."""
    return "a height" if isinstance(reading, Height) else str(reading)
