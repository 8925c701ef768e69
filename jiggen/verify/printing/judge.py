"""Every check of printing, part by part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

import numpy as np

from jiggen.verify.manifest import Part, PrintBed
from jiggen.verify.mesh import Mesh
from jiggen.verify.printing.model import Check, PartPrinting
from jiggen.verify.printing.overhangs import judge_overhangs
from jiggen.verify.printing.stand import judge_base, judge_contact, judge_loose, judge_size
from jiggen.verify.printing.walls import judge_walls
from jiggen.verify.results import Fault, Ledger

KEPT = 8  # meshes whose checks a process keeps


def judge_printing(
    parts: Iterable[Part], meshes: Mapping[str, Mesh], bed: PrintBed, ledger: Ledger
) -> tuple[PartPrinting, ...]:
    """The checks of each printed part that has a mesh, each failed one a fault in `ledger`.

    `meshes` are those of the files, as the printer gets them, by part name.
    """
    found = []
    for part in (part for part in parts if part.printed and part.name in meshes):
        printing = PartPrinting(part.name, part.matrix, checks_of(meshes[part.name], bed))
        for check in printing.checks:
            ledger.expect(check.passed, _fault(part, check))
        found.append(printing)
    return tuple(found)


def checks_of(mesh: Mesh, bed: PrintBed) -> tuple[Check, ...]:
    """All checks of one mesh in print position."""
    vertices = np.asarray(mesh.vertices, np.float64).tobytes()
    return _checks(vertices, np.asarray(mesh.triangles, np.int64).tobytes(), bed)


@lru_cache(maxsize=KEPT)
def _checks(vertices: bytes, triangles: bytes, bed: PrintBed) -> tuple[Check, ...]:
    """The checks of a mesh given by its numbers: jig after jig has the same moving parts."""
    mesh = Mesh(
        np.frombuffer(vertices, np.float64).reshape(-1, 3),
        np.frombuffer(triangles, np.int64).reshape(-1, 3),
    )
    base = float(mesh.vertices[:, 2].min())
    return (
        judge_base(mesh),
        *judge_contact(mesh),
        *judge_overhangs(mesh, base),
        judge_walls(mesh, base),
        judge_size(mesh, bed),
        judge_loose(mesh),
    )


def _fault(part: Part, check: Check) -> Fault:
    wanted = {"verify.base": 0.0, "verify.bodies": 1.0}.get(check.code)
    return Fault(
        check.code,
        part.file,
        part.name,
        check.message,
        check.found,
        wanted,
        check.limit,
        check.unit,
    )
