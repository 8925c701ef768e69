"""Sag and tilt of the shipped patterns' jigs under the hand, on four pads and on strips.

    python tests/bench/support.py [--thrust 100] [--brick 5 6 3] [PATTERN …]

By the beam that a build reckons with, and by finite elements of the bodies as the kernel draws
them; and how far any boot, ski range and bed may take it, by the beam alone.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # blocks are small
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import trimesh
from jig_fem import bricks, gives, on_pads

from jiggen.accuracy.support import find_give
from jiggen.accuracy.terms import default_terms
from jiggen.design import Bed, Design, Settings, SkiRange, design_jig
from jiggen.errors import InputError
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.solid.body import make_body
from jiggen.verify.reading.mesh import Mesh

PATTERNS = sorted(path.stem for path in Path(__file__).parents[2].glob("patterns/*.toml"))


def mesh_of(design: Design) -> list[Mesh]:
    """The bodies, without engravings, in the ski frame."""
    found = []
    for body in design.bodies:
        points, triangles = make_body(replace(body, engravings=()), design).tessellate(0.05, 0.3)
        corners = np.round([point.toTuple() for point in points], 5)
        whole = trimesh.Trimesh(corners, np.array(triangles), process=False)
        whole.merge_vertices()
        found.append(Mesh(np.asarray(whole.vertices), np.asarray(whole.faces, dtype=np.int64)))
    return found


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("patterns", nargs="*", default=PATTERNS)
    options.add_argument("--thrust", type=float, default=default_terms().depth.thrust.most)
    options.add_argument("--brick", type=float, nargs=3, default=(5.0, 6.0, 3.0))
    options.add_argument("--bed", type=float, default=220.0)
    asked = options.parse_args()
    print(f"{asked.thrust:g} N on each bush, on a flat ski: mm and degrees")
    print(f"{'':28}{'four pads':^32}{'strips':^32}")
    print(f"{'pattern':16}{'hole':12}" + f"{'beam':>15}{'bricks':>16} " * 2)
    for name in asked.patterns:
        pattern = read_pattern(find_pattern(name))
        layout = next(iter(_laid(pattern)))
        try:
            made = design_jig(layout, Settings(SkiRange(84, 112), bed=Bed(asked.bed, asked.bed)))
        except InputError as error:
            print(f"{name:16}{error}")
            continue
        start, columns = time.perf_counter(), []
        for design in (on_pads(made), made):
            beam = find_give(design, asked.thrust)
            columns.append(list(zip(beam.sag, beam.tilt, strict=True)))
            solid = bricks(design, mesh_of(design), tuple(asked.brick), hollow=True)
            columns.append(list(gives(design, solid, asked.thrust).values()))
        for hole, *cells in zip(layout.ids, *columns, strict=True):
            words = "".join(f"{f'{sag:.3f} / {tilt:.3f}':>16}" for sag, tilt in cells)
            print(f"{name:16}{hole:12}{words}")
        print(f"{'':16}{time.perf_counter() - start:.1f} s", flush=True)


def _laid(pattern):
    for boot in (305.0, 285.0, 325.0):
        try:
            yield lay_out(pattern, boot)
        except InputError:
            continue


if __name__ == "__main__":
    main()
