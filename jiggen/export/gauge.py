"""Write every file of a gauge into a folder, by the same contract as a jig's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from jiggen import __version__
from jiggen.design.fit_ladder import DEPTH as LADDER_DEPTH
from jiggen.design.fit_ladder import SLOTS, STRIP_HEIGHT
from jiggen.design.gauge import BED_MARGIN, NAME, Gauge
from jiggen.design.gauge_frame import DEPTH, THICKNESS
from jiggen.design.gauge_readings import Feature, Readings, readings_of
from jiggen.export.manifest import guide_row, part_row, rounded, versions
from jiggen.export.preview import Shown, draw_preview, inked
from jiggen.export.write import posed, write_parts
from jiggen.files import MEASUREMENTS
from jiggen.solid import Model

ZOOM = 1.15  # of the picture
CALIPER = 0.02  # mm, standard uncertainty of a reading: common practice, no source


def write_gauge(
    gauge: Gauge, model: Model, folder: Path, progress: Callable[[str], None] = lambda _: None
) -> dict[str, Any]:
    """Write STEP, STL, 3MF, picture and the blank measurements; return the manifest so far."""
    meshes, beds = write_parts(model, gauge.bed, BED_MARGIN, folder, progress)
    progress("picture")
    floors = {NAME: THICKNESS - DEPTH, SLOTS: STRIP_HEIGHT - LADDER_DEPTH}
    shown: list[Shown] = []
    for piece in gauge.pieces:
        mesh = meshes[piece.name]
        vertices = posed(mesh.vertices, piece.to_ski(piece.placed[0]))
        whole = Shown(piece.kind, vertices, mesh.triangles)
        floor = floors.get(piece.name)
        shown += [whole] if floor is None else inked(whole, floor)
    draw_preview(shown, folder / "preview.png", ZOOM)
    (folder / MEASUREMENTS).write_text(measurements_toml(readings_of(gauge)), encoding="utf-8")
    manifest = _manifest(gauge, {part.name: part.volume for part in model.parts})
    return manifest | {"beds": beds}


def measurements_toml(readings: Readings) -> str:
    """The blank that is filled in by hand: what was asked, and a row a reading."""
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
        one, other = distance.between
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
                f'of = "{diameter.of.id}"',
                'value = ""',
                "",
            )
    for height in readings.heights:
        what = f"the top of peg {height.of}" if height.of else "the frame itself"
        yield from (
            f"[[height]]  # {height.number}: {what}",
            f"asked = {rounded(height.asked)}",
            'value = ""',
            "",
        )


def _manifest(gauge: Gauge, volumes: dict[str, float]) -> dict[str, Any]:
    """The manifest but for verification and file list; `volumes` in mm³ by part name."""
    bush = gauge.bush
    return {
        "manifest": 1,
        "kind": "gauge",
        "versions": {"jiggen": __version__, **versions()},
        "inputs": {
            "bed": asdict(gauge.bed),
            "bush": asdict(bush) if bush else "none",
            "caliper": gauge.caliper,
        },
        "span": list(gauge.span),
        "fits": {"bush_fit": list(gauge.allowances), "slide": list(gauge.ladder.clearances)},
        "holes": [
            {
                "id": guide.id,
                "group": "pockets" if guide.bush else "holes",
                "x": rounded(guide.x),
                "y": rounded(guide.y),
                "diameter": rounded(guide.drill),
                "depth": THICKNESS,
            }
            for guide in gauge.guides
        ],
        "guides": [guide_row(guide, NAME) for guide in gauge.guides],
        "openings": [],
        "pegs": [
            {
                "id": peg.id,
                "part": NAME,
                "x": rounded(peg.x),
                "y": rounded(peg.y),
                "diameter": rounded(peg.diameter),
                "z": [rounded(peg.base_z), rounded(peg.top_z)],
            }
            for peg in gauge.pegs
        ],
        "joint": None,
        "parts": [part_row(piece, volumes[piece.name]) for piece in gauge.pieces],
        "hardware": [],
        "compensation": None,
        "verification": None,
        "files": {},
    }
