"""The check of toolpaths, on what a general slicer makes of a jig's beds and bodies.

    python tests/bench/toolpath.py [DIR …]

Of each folder that jiggen built, every bed, then each body scaled by 0.5 %, turned, mirrored and
with a size compensation of -0.1 mm, is sliced whole as advised and checked.  Prints the farthest
hole, the diameters, the faults and the seconds; asserts nothing.  Needs the slicer of
tests/test_slicer.py.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
FILLED = ("gcode-walls", "gcode-skins", "gcode-infill")  # outlines alone are sliced


def main() -> None:
    import subprocess

    import faults
    from test_slicer import SLICER

    from jiggen.verify.toolpath import check_toolpaths

    ways = {
        "as it is": (),
        "scaled": ("--scale", "1.005"),
        "turned": ("--rotate", "90"),
        "compensated": ("--xy-size-compensation", "-0.1"),
    }
    print(f"{'file':34}{'way':14}{'holes':>6}{'off':>9}{'⌀ off':>9}{'s':>6}  faults")
    for folder in map(Path, sys.argv[1:]):
        with tempfile.TemporaryDirectory() as place:
            jobs = [(bed, "as it is") for bed in sorted(folder.glob("bed-*.3mf"))]
            for body in sorted((folder / "parts").glob("body-*.stl")):
                jobs += [(body, way) for way in ways]
                mirrored = Path(place) / f"{body.stem}-mirrored.stl"
                corners = faults.read_facets(body)
                faults.write_facets(mirrored, (corners * (1, -1, 1))[:, ::-1])
                jobs.append((mirrored, "as it is"))
            for number, (model, way) in enumerate(jobs):
                path = Path(place) / f"{number}.gcode"
                subprocess.run(
                    [
                        *(SLICER, "--export-gcode", "--nozzle-diameter", "0.4"),
                        *("--layer-height", "0.2", "--first-layer-height", "0.2"),
                        *("--perimeters", "1", "--fill-density", "0", "--skirts", "0"),
                        *("--top-solid-layers", "0", "--bottom-solid-layers", "0"),
                        *("--external-perimeter-extrusion-width", "0.45"),
                        *("--filament-type", "PETG", "--bed-shape", "0x0,220x0,220x220,0x220"),
                        *(("--dont-arrange",) if model.suffix == ".3mf" else ()),
                        *(() if model.suffix == ".3mf" else ("--center", "110,110")),
                        *(*ways[way], "--output", path, model),
                    ],
                    capture_output=True,
                    check=True,
                )
                start = time.perf_counter()
                check = check_toolpaths(folder, [path])
                took = time.perf_counter() - start
                holes = [hole for file in check.files for hole in file.holes]
                off = max((h.deviation or 0.0 for h in holes), default=0.0)
                wide = max((abs((h.diameter or 0) - h.wanted_diameter) for h in holes), default=0.0)
                codes = {fault.code.removeprefix("verify.") for fault in check.faults}
                notes = [note for file in check.files for note in file.notes if "turned" in note]
                what = ", ".join(sorted(codes - set(FILLED))) or "; ".join(notes) or "none"
                name = f"{folder.name}/{model.name}"
                print(f"{name:34}{way:14}{len(holes):6}{off:9.4f}{wide:9.4f}{took:6.1f}  {what}")


if __name__ == "__main__":
    main()
