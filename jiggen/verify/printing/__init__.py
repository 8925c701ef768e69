"""Whether each part's file can be printed as it lies, without supports, on the bed it is for.

Looks at the files as the printer gets them.  Every check is recorded with its numbers and with the
places that fail or come closest, in the file's frame and in the ski's, so that they can be drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry import box

from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.manifest import Part, PrintBed
from jiggen.verify.mesh import Mesh
from jiggen.verify.printing.model import (
    Check,
    PartPrinting,
    Place,
    as_dict,
    material,
    outline,
    polygons,
)
from jiggen.verify.printing.overhangs import judge_overhangs
from jiggen.verify.printing.walls import judge_walls
from jiggen.verify.results import Ledger

__all__ = ["Check", "PartPrinting", "Place", "as_dict", "checks_of", "judge_printing"]

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
            wanted = {"verify.base": 0.0, "verify.bodies": 1.0}.get(check.code)
            ledger.about(part.file, part.name).expect(
                check.passed,
                check.code,
                check.message,
                check.found,
                wanted,
                check.limit,
                check.unit,
            )
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


def judge_base(mesh: Mesh) -> Check:
    """The lowest point must be at height 0: on the bed."""
    low = float(mesh.vertices[:, 2].min())
    message = f"lowest at z {low:.3f}, not on the bed"
    places = (Place("area", _floor(mesh.vertices), low),)
    return Check("base", "verify.base", abs(low), "most", limits.BASE, "mm", message, places)


def judge_contact(mesh: Mesh) -> tuple[Check, Check]:
    """What lies flat on the bed: its area, and its share of the first layer."""
    low = float(mesh.vertices[:, 2].min())
    corners = mesh.vertices[mesh.triangles]
    flat = (corners[:, :, 2] <= low + limits.BASE).all(axis=1)
    touching = shapely.union_all(shapely.polygons(corners[flat][:, :, :2]))
    layer = material(mesh, low + limits.LAYER / 2)
    area, share = touching.area, touching.area / layer.area if layer.area else 0.0
    islands = sorted(polygons(touching), key=lambda island: -island.area)
    places = tuple(Place("area", outline(island, low, 0.2), island.area) for island in islands)
    return (
        Check(
            "contact",
            "verify.print-contact",
            area,
            "least",
            limits.CONTACT,
            "mm²",
            f"only {area:.1f} mm² lie on the bed; it would come loose below {limits.CONTACT:g} mm²",
            places,
        ),
        Check(
            "first_layer",
            "verify.print-first-layer",
            share,
            "least",
            limits.FIRST_LAYER,
            "",
            f"only {100 * share:.0f} % of the first layer lie flat on the bed, "
            f"{100 * limits.FIRST_LAYER:g} % are needed: it lies askew or on an edge",
            places,
        ),
    )


def judge_size(mesh: Mesh, bed: PrintBed) -> Check:
    """The part must fit the printer's room; what is found is the room left over, mm."""
    size = np.ptp(mesh.vertices, axis=0)
    room = float((np.array([bed.x, bed.y, bed.z]) - size).min())
    message = (
        f"{' x '.join(f'{length:.1f}' for length in size)} mm, larger than the printer's "
        f"{bed.x:g} x {bed.y:g} x {bed.z:g} mm"
    )
    places = (Place("area", _floor(mesh.vertices), room),)
    return Check("size", "verify.print-size", room, "least", -limits.BASE, "mm", message, places)


def judge_loose(mesh: Mesh) -> Check:
    """All of it must hang together: every shell but the largest is loose."""
    shell = mesh.shells
    count = int(shell.max()) + 1
    by_size = np.argsort(-np.bincount(shell), kind="stable")
    places = tuple(
        Place("area", _floor(mesh.vertices[np.unique(mesh.triangles[shell == loose])]), 1.0)
        for loose in by_size[1:]
    )
    message = f"{count} bodies instead of one"
    return Check("loose", "verify.bodies", count, "most", 1, "", message, places)


def _floor(points: Array) -> Array:
    """The four corners around points, seen from above, at their lowest height."""
    (x0, y0, z0), (x1, y1, _) = points.min(axis=0), points.max(axis=0)
    return outline(box(x0, y0, x1, y1), float(z0))
