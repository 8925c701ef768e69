"""Whether each part's file can be printed as it lies, without supports, on the bed it is for.

Looks at the files as the printer gets them.  Every check is recorded with its numbers and with the
places that fail or come closest, in the file's frame and in the ski's, so that they can be drawn.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry import box

from jiggen.outcome import PartPrinting, PrintCheck, Printing, PrintPlace
from jiggen.verify import limits
from jiggen.verify.geometry import Array, applied
from jiggen.verify.overhangs import area_place, judge_overhangs, polygons
from jiggen.verify.reading.entries import Part, PrintBed
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger
from jiggen.verify.walls import judge_walls

KEPT = 8  # meshes whose checks a process keeps


def judge_printing(
    parts: Iterable[Part], meshes: Mapping[str, Mesh], bed: PrintBed, ledger: Ledger
) -> Printing:
    """The checks of each printed part that has a mesh, as the printer gets it, by part name."""
    found = {}
    for part in (part for part in parts if part.printed and part.name in meshes):
        checks = {}
        for name, check in checks_of(meshes[part.name], bed).items():
            wanted = {"base": 0.0, "loose": 1.0}.get(name)
            numbers = (check.found, wanted, check.limit, check.unit)
            about = ledger.about(part.file, part.name)
            about.expect(check.passed, check.code, check.message, *numbers)
            places = (
                replace(place, ski=applied(part.matrix, np.array(place.bed)).tolist())
                for place in check.places
            )
            checks[name] = replace(check, places=tuple(places))
        passed = all(check.passed for check in checks.values())
        found[part.name] = PartPrinting(passed, checks)
    return Printing(limits.NOZZLE, limits.LAYER, found)


def checks_of(mesh: Mesh, bed: PrintBed) -> Mapping[str, PrintCheck]:
    """All checks of one mesh in print position, by name."""
    found = dict(shape_checks(mesh))
    loose = found.pop("loose")
    return {**found, "size": _judge_size(mesh, bed), "loose": loose}


def shape_checks(mesh: Mesh) -> Mapping[str, PrintCheck]:
    """The checks of one mesh in print position that hold for every bed, by name."""
    vertices = np.asarray(mesh.vertices, np.float64).tobytes()
    return _checks(vertices, np.asarray(mesh.triangles, np.int64).tobytes())


@lru_cache(maxsize=KEPT)
def _checks(vertices: bytes, triangles: bytes) -> Mapping[str, PrintCheck]:
    """The checks of a mesh given by its numbers: jig after jig has the same moving parts."""
    mesh = Mesh(
        np.frombuffer(vertices, np.float64).reshape(-1, 3),
        np.frombuffer(triangles, np.int64).reshape(-1, 3),
    )
    base = float(mesh.vertices[:, 2].min())
    message, floor = f"lowest at z {base:.3f}, not on the bed", _floor(mesh.vertices, base)
    lies = PrintCheck.of("verify.base", abs(base), "most", limits.BASE, "mm", message, [floor])
    contact, first_layer = _judge_contact(mesh, base)
    overhang, bridge = judge_overhangs(mesh, base)
    return {
        "base": lies,
        "contact": contact,
        "first_layer": first_layer,
        "overhang": overhang,
        "bridge": bridge,
        "wall": judge_walls(mesh, base),
        "loose": _judge_loose(mesh),
    }


def _judge_contact(mesh: Mesh, low: float) -> tuple[PrintCheck, PrintCheck]:
    """What lies flat on the bed: its area, and its share of the first layer."""
    corners = mesh.vertices[mesh.triangles]
    flat = (corners[:, :, 2] <= low + limits.BASE).all(axis=1)
    touching = shapely.union_all(shapely.polygons(corners[flat][:, :, :2]))
    layer = mesh.material(low + limits.LAYER / 2)
    area, share = touching.area, touching.area / layer.area if layer.area else 0.0
    islands = sorted(polygons(touching), key=lambda island: -island.area)
    places = [area_place(island, low, island.area, 0.2) for island in islands]
    least, most = limits.CONTACT, limits.FIRST_LAYER
    message = f"only {area:.1f} mm² lie on the bed; it would come loose below {least:g} mm²"
    contact = PrintCheck.of("verify.print-contact", area, "least", least, "mm²", message, places)
    message = (
        f"only {100 * share:.0f} % of the first layer lie flat on the bed, "
        f"{100 * most:g} % are needed: it lies askew or on an edge"
    )
    first = PrintCheck.of("verify.print-first-layer", share, "least", most, "", message, places)
    return contact, first


def _judge_size(mesh: Mesh, bed: PrintBed) -> PrintCheck:
    """The part must fit the printer's room; what is found is the room left over, mm."""
    size = np.ptp(mesh.vertices, axis=0)
    room = float((np.array([bed.x, bed.y, bed.z]) - size).min())
    message = (
        f"{' x '.join(f'{length:.1f}' for length in size)} mm, larger than the printer's "
        f"{bed.x:g} x {bed.y:g} x {bed.z:g} mm"
    )
    places = (_floor(mesh.vertices, room),)
    return PrintCheck.of("verify.print-size", room, "least", -limits.BASE, "mm", message, places)


def _judge_loose(mesh: Mesh) -> PrintCheck:
    """All of it must hang together: every shell but the largest is loose."""
    shell = mesh.shells
    by_size = np.argsort(-np.bincount(shell), kind="stable")
    places = [
        _floor(mesh.vertices[np.unique(mesh.triangles[shell == loose])], 1.0)
        for loose in by_size[1:]
    ]
    count = len(by_size)
    message = f"{count} bodies instead of one"
    return PrintCheck.of("verify.bodies", count, "most", 1, "", message, places)


def _floor(points: Array, found: float) -> PrintPlace:
    """The rectangle around points, seen from above, at their lowest height."""
    (x0, y0, z0), (x1, y1, _) = points.min(axis=0), points.max(axis=0)
    return area_place(box(x0, y0, x1, y1), float(z0), found)
