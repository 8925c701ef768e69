"""The check of toolpaths, on what a general slicer makes of two jigs: as it should be, and not.

    python tests/bench/toolpath.py [--only WORD …] [--keep DIR]

Beds and parts of jigs of two patterns, of one for a printer, of a trial plate and of the gauge are
sliced whole, with the walls, skins and infill that their 3MF advises: these must pass, with every
hole within 0.01 mm.  Then scaled by 0.5 %, mirrored, turned, with a size compensation of -0.1 mm,
on the wrong bed, with another boot's label, of another jig and of another boot: each must be said.
Prints a row for each: holes, the farthest one, the worst diameter, seconds, what was said; exit
code 1 if a row is not as it must be.  Needs the slicer of tests/test_slicer.py; about 6 minutes.
``--only`` takes words of a row's names; ``--keep`` keeps what is built and sliced.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import faults
from mutation import Kind, job, make
from mutations_engraving import rewritten
from test_slicer import SLICER

from jiggen.files import PICTURE
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline.build import build
from jiggen.pipeline.products import JIG, plan_jig
from jiggen.verify.toolpath import ToolpathCheck, check_toolpaths

OFF = 0.01  # mm: the farthest that a hole may be found from its place in what is sliced as it is
WAYS: dict[str, tuple[str, ...]] = {
    "as it is": (),
    "scaled": ("--scale", "1.005"),
    "mirrored": (),
    "relabelled": (),
    "turned": ("--rotate", "90"),
    "compensated": ("--xy-size-compensation", "-0.1"),
}
SAID = {  # one of these codes at least; None: nothing
    "scaled": ("scale",),
    "mirrored": ("mirrored",),
    "compensated": ("diameter", "offset"),  # not by the setting alone, that it states
}
JIGS: dict[str, tuple[str, float]] = {
    "club": ("club-piste", 305.0),
    "skew": ("skew-plate", 305.0),
    "boot295": ("club-piste", 295.0),
}
KINDS: dict[str, Kind] = {"printer": "printer", "trial": "trial", "gauge": "gauge"}


@dataclass(frozen=True)
class Row:
    """A model of a folder, sliced in some way and checked as of `of`, under a name or its own.

    `said` are the words of the codes of which one must be said, none for what must pass, and
    `note` a word that must be in a note.
    """

    folder: str
    model: str
    way: str = "as it is"
    of: str = ""
    name: str = ""
    said: tuple[str, ...] = ()
    note: str = ""

    def __str__(self) -> str:
        name = f" named {self.name}" if self.name else ""
        return f"{self.folder}/{self.model} {self.way}{name}" + (f" in {self.of}" * bool(self.of))


def rows(place: Path) -> Iterator[Row]:
    """All of them, of the folders that are built for it."""
    for folder in ("club", "skew"):
        record = json.loads((made(place, folder) / "manifest.json").read_text())
        yield from (Row(folder, bed["file"]) for bed in record["beds"])
        for name, kind in ((part["name"], part["kind"]) for part in record["parts"]):
            yield Row(folder, name)
            if kind != "body":
                continue
            yield from (Row(folder, name, way, said=codes) for way, codes in SAID.items())
            yield Row(folder, name, "turned", note="turned by")
        yield Row(folder, "bed-1.3mf", name="bed-2", said=("other-bed",))
        yield Row(folder, "bed-2.3mf", name="bed-1", said=("other-bed",))
    yield Row("club", "body-toe", "relabelled", said=("outline",))
    for body in ("body-toe", "body-heel"):
        yield Row("skew", body, of="club", said=("part", "outline", "hole-missing"))
        yield Row("club", body, of="skew", said=("part", "outline", "hole-missing"))
        yield Row("boot295", body, of="club", said=("part", "outline", "hole-missing"))
    yield from (Row("printer", bed) for bed in ("bed-1.3mf", "bed-2.3mf"))
    for body in ("body-toe", "body-heel"):
        yield Row("printer", body, "turned", said=("turned",))
        yield Row("club", body, of="printer", said=("scale",))
    yield from (Row(kind, "bed-1.3mf") for kind in ("trial", "gauge"))
    yield Row("gauge", "gauge", "turned", said=("turned",))
    yield Row("trial", "plate-toe", "mirrored", said=("mirrored",))


def made(place: Path, name: str) -> Path:
    """A folder, built if it is not there; without the papers that no toolpath has to do with."""
    folder = place / name
    if folder.is_dir():
        return folder
    if name in KINDS:
        return make(KINDS[name], folder, bare=True)[0]
    pattern, boot = JIGS[name]
    outputs = tuple(o for o in JIG.outputs if o.needs == "drawn" and o.name != PICTURE)
    asked = replace(job(), pattern=read_pattern(find_pattern(pattern)), boots=(boot, boot))
    return build(replace(JIG, outputs=outputs), lambda: plan_jig(asked), folder).folder


def sliced(place: Path, row: Row) -> Path:
    """The G-code of a row's model, with the walls, skins and infill that its bed advises."""
    folder = made(place, row.folder)
    path = place / f"{row.folder}-{row.model}-{row.way.replace(' ', '-')}.gcode"
    if path.is_file():
        return path
    record = json.loads((folder / "manifest.json").read_text())
    bed = row.model.endswith(".3mf")
    model = folder / (row.model if bed else f"parts/{row.model}.stl")
    on = next(
        entry
        for entry in record["beds"]
        if entry["file"] == row.model or row.model in [piece["part"] for piece in entry["pieces"]]
    )
    advice = on["advice"] or {"layer": 0.2, "walls": 4, "skins": 5, "infill": 30}
    if row.way == "mirrored":
        mirrored = place / f"{path.stem}.stl"
        faults.write_facets(mirrored, (faults.read_facets(model) * (1, -1, 1))[:, ::-1])
        model = mirrored
    if row.way == "relabelled":
        with tempfile.TemporaryDirectory() as scratch:
            other = shutil.copytree(folder, Path(scratch) / "jig")
            rewritten(other, "BOOT 295")
            model = shutil.copyfile(other / f"parts/{row.model}.stl", place / f"{path.stem}.stl")
    subprocess.run(
        [
            *(SLICER, "--export-gcode", "--nozzle-diameter", "0.4", "--skirts", "0"),
            *("--layer-height", f"{advice['layer']}"),
            *("--first-layer-height", f"{advice['layer']}"),
            *("--perimeters", f"{advice['walls']}", "--fill-density", f"{advice['infill']}%"),
            *("--fill-pattern", "rectilinear", "--filament-type", "PETG"),
            *("--top-solid-layers", f"{advice['skins']}"),
            *("--bottom-solid-layers", f"{advice['skins']}"),
            *("--external-perimeter-extrusion-width", "0.45"),
            *("--bed-shape", "0x0,220x0,220x220,0x220"),
            *(("--dont-arrange",) if bed else ("--center", "110,110")),
            *(*WAYS[row.way], "--output", path, model),
        ],
        capture_output=True,
        check=True,
    )
    return path


def wrong(row: Row, check: ToolpathCheck, off: float) -> bool:
    """Whether what was said of a row is not what must be."""
    codes = {fault.code.removeprefix("verify.gcode-") for fault in check.faults}
    notes = " ".join(note for file in check.files for note in file.notes)
    if row.said:
        return check.passed or not codes & set(row.said)
    return not check.passed or off > OFF or row.note not in notes


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="+", default=[], help="rows with all of these words")
    parser.add_argument("--keep", type=Path, help="keep what is built and sliced here")
    args = parser.parse_args()
    bad = 0
    print(
        f"{'':3}{'file, and how it was sliced':46}{'holes':>6}{'off':>8}{'⌀ off':>8}{'s':>6}  said"
    )
    with tempfile.TemporaryDirectory() as scratch:
        place = args.keep or Path(scratch)
        place.mkdir(parents=True, exist_ok=True)
        for row in rows(place):
            if not all(word in str(row) for word in args.only):
                continue
            path = sliced(place, row)
            named = Path(scratch) / f"{row.name or Path(row.model).stem}.gcode"
            shutil.copyfile(path, named)
            start = time.perf_counter()
            check = check_toolpaths(made(place, row.of or row.folder), [named])
            took = time.perf_counter() - start
            holes = [hole for file in check.files for hole in file.holes]
            off = max((hole.deviation or 0.0 for hole in holes), default=0.0)
            wide = [abs(hole.diameter - hole.wanted_diameter) for hole in holes if hole.diameter]
            counts = {fault.code.removeprefix("verify.gcode-"): 0 for fault in check.faults}
            notes = [note for file in check.files for note in file.notes]
            what = ", ".join(counts) or "; ".join(notes) or "passed"
            failed = wrong(row, check, off)
            bad += failed
            print(
                f"{'!! ' * failed:3}{row!s:46}{len(holes):6}{off:8.4f}"
                f"{max(wide, default=0.0):8.4f}{took:6.1f}  {what}",
                flush=True,
            )
    print(f"{bad} rows are not as they must be" if bad else "every row is as it must be")
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
