"""A gauge's record, and the blank that its measurements are written into."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict

from jiggen.design.gauge import NAME, THICKNESS, Feature, Gauge, Readings
from jiggen.export.manifest import guide_entry, part_entries, versions
from jiggen.record import GaugeRecord, Hole
from jiggen.record.entries import BedSize, BushSize, GaugeInputs, PrintBed
from jiggen.record.model import FitSizes

HEAD = """\
# Measured on a gauge print: fill in what your caliper shows, in mm, with a decimal point:
# value = 106.12. Leave a row as it is where you did not measure.
# The numbers are those of the sheet, and so is what each row should be about.

measurements = 1
units = "mm"
caliper = 0.02  # mm, how far a reading may be off (one standard deviation)

[features]  # what was asked of the printer, in the bed's frame: do not change it"""
# The caliper's is the standard uncertainty of a reading: common practice, no source.
FITS = """\
[fits]  # what held and ran best, as engraved beside it: 0.15
bush_fit = ""
slide = ""
"""


def measurements_toml(readings: Readings) -> str:
    """The blank that is filled in by hand: what was asked, and one row per reading."""
    return "\n".join([HEAD, *map(_feature, readings.features), "", *_rows(readings), FITS])


def _feature(feature: Feature) -> str:
    x, y, size = (round(value, 6) for value in (feature.x, feature.y, feature.diameter))
    return f'{feature.id} = {{kind = "{feature.kind}", at = [{x}, {y}], diameter = {size}}}'


def _rows(readings: Readings) -> Iterator[str]:
    for reading in readings.distances:
        one, other = reading.of
        manner = "over both pegs" if one.kind == "peg" else "far rim to far rim"
        what = f"{reading.number}: {one.id} to {other.id}, {manner}"
        given = f'between = ["{one.id}", "{other.id}"]\nedges = "outside"'
        yield _row("distance", f"{what}: about {reading.asked:.2f}", given)
        yield _row("distance", f"{what}, again", given)
    for reading in readings.diameters:
        what, given = f"{reading.number}: mean of along x and along y", f'of = "{reading.of[0].id}"'
        yield _row("diameter", f"{what}, about {reading.asked:.2f}", given)
        yield _row("diameter", f"{what}, again", given)
    for reading in readings.heights:
        what = f"the top of peg {reading.of[0].id}" if reading.of else "the frame itself"
        yield _row("height", f"{reading.number}: {what}", f"asked = {round(reading.asked, 6)}")


def _row(kind: str, note: str, given: str) -> str:
    return f'[[{kind}]]  # {note}\n{given}\nvalue = ""\n'


def gauge_record(
    gauge: Gauge, volumes: Mapping[str, float], beds: tuple[PrintBed, ...]
) -> GaugeRecord:
    """The record but for verification and file list; `volumes` in mm³ by part name."""
    return GaugeRecord(
        versions=versions(),
        inputs=GaugeInputs(
            bed=BedSize(**asdict(gauge.bed)),
            bush=BushSize(**asdict(gauge.bush)) if gauge.bush else "none",
            caliper=gauge.caliper,
        ),
        span=gauge.span,
        fits=FitSizes(bush_fit=gauge.allowances, slide=gauge.ladder.clearances),
        holes=tuple(
            Hole(
                id=guide.id,
                group="pockets" if guide.bush else "holes",
                x=guide.x,
                y=guide.y,
                diameter=guide.drill,
                depth=THICKNESS,
            )
            for guide in gauge.guides
        ),
        guides=tuple(guide_entry(guide, NAME) for guide in gauge.guides),
        pegs=gauge.pegs,
        parts=part_entries(gauge.pieces, volumes),
        beds=beds,
    )
