"""A gauge's record, and the blank that its measurements are written into."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict

from jiggen.design.gauge import NAME, THICKNESS, Feature, Gauge, Readings
from jiggen.export.manifest import guide_entry, part_entries, rounded, versions
from jiggen.record import GaugeRecord, Hole
from jiggen.record.entries import BedSize, BushSize, GaugeInputs, PrintBed
from jiggen.record.model import FitSizes

ZOOM = 1.15  # of the picture
CALIPER = 0.02  # mm, standard uncertainty of a reading: common practice, no source


def measurements_toml(readings: Readings) -> str:
    """The blank that is filled in by hand: what was asked, and one row per reading."""
    return "\n".join([*_head(readings), *_rows(readings), *FITS]) + "\n"


HEAD = (
    "# Measured on a gauge print: fill in what your caliper shows, in mm, with a decimal point:",
    "# value = 106.12. Leave a row as it is where you did not measure.",
    "# The numbers are those of the sheet, and so is what each row should be about.",
    "",
    "measurements = 1",
    'units = "mm"',
    f"caliper = {CALIPER}  # mm, how far a reading may be off (one standard deviation)",
    "",
    "[features]  # what was asked of the printer, in the bed's frame: do not change it",
)
FITS = (
    "[fits]  # what held and ran best, as engraved beside it: 0.15",
    'bush_fit = ""',
    'slide = ""',
)


def _head(readings: Readings) -> Iterator[str]:
    yield from HEAD
    for feature in readings.features:
        yield _feature(feature)
    yield ""


def _feature(feature: Feature) -> str:
    at = f"[{rounded(feature.x)}, {rounded(feature.y)}]"
    size = rounded(feature.diameter)
    return f'{feature.id} = {{kind = "{feature.kind}", at = {at}, diameter = {size}}}'


def _rows(readings: Readings) -> Iterator[str]:
    for distance in readings.distances:
        one, other = distance.of
        manner = "over both pegs" if one.kind == "peg" else "far rim to far rim"
        what = f"{distance.number}: {one.id} to {other.id}, {manner}"
        for note in (f"{what}: about {distance.asked:.2f}", f"{what}, again"):
            yield from (
                f"[[distance]]  # {note}",
                f'between = ["{one.id}", "{other.id}"]',
                'edges = "outside"',
                'value = ""',
                "",
            )
    for diameter in readings.diameters:
        what = f"{diameter.number}: mean of along x and along y"
        for note in (f"{what}, about {diameter.asked:.2f}", f"{what}, again"):
            yield from (
                f"[[diameter]]  # {note}",
                f'of = "{diameter.of[0].id}"',
                'value = ""',
                "",
            )
    for height in readings.heights:
        what = f"the top of peg {height.of[0].id}" if height.of else "the frame itself"
        yield from (
            f"[[height]]  # {height.number}: {what}",
            f"asked = {rounded(height.asked)}",
            'value = ""',
            "",
        )


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
                x=rounded(guide.x),
                y=rounded(guide.y),
                diameter=rounded(guide.drill),
                depth=THICKNESS,
            )
            for guide in gauge.guides
        ),
        guides=tuple(guide_entry(guide, NAME) for guide in gauge.guides),
        pegs=gauge.pegs,
        parts=part_entries(gauge.pieces, volumes),
        beds=beds,
    )
