"""The beds' 3MF packages against the STL files and the manifest.

The same meshes, in millimetres, every piece laid on one bed, once, unturned, clear of the others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from functools import partial
from itertools import combinations
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from jiggen.files import MANIFEST, within
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import applied, unrigid
from jiggen.verify.parts import fail_unreadable, undone
from jiggen.verify.reading.entries import Advice, Bed, Compensation, Part, PrintBed
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.threemf import ForeignPartError, ThreeMF, ThreeMFError, read_3mf
from jiggen.verify.results import Ledger, Subject

DECIMALS_LIMIT = 1e-6  # of a transform written in decimals


def judge_beds(evidence: Evidence, ledger: Ledger) -> None:
    """Every check of the folder's beds; `meshes` are those of the STL files, undone, by name."""
    folder, manifest, meshes = evidence.folder, evidence.manifest, evidence.meshes
    parts = {part.name: part for part in manifest.parts if part.printed}
    owner = {placed.name: part.name for part in parts.values() for placed in part.placed}
    printed: Counter[str] = Counter()
    for bed in manifest.beds:
        about = partial(ledger.about, bed.file)
        try:
            package = read_3mf(within(folder, bed.file, limits.FILE))
        except (OSError, ThreeMFError) as error:
            subject = about(Path(bed.file).name)
            if isinstance(error, ForeignPartError):
                subject.fail("verify.foreign", f"holds more than jiggen writes into it: {error}")
            else:
                fail_unreadable(subject, error)
            # What is in it is not known: that the file is bad has been reported.
            printed.update(piece.name for piece in bed.pieces)
            continue
        unit, size = package.unit, package.millimetres
        message = f"its unit is {unit!r}, which 3MF does not know"
        if size is not None:
            large = f"it would print {size:g} times as large"
            message = f"its unit is {unit} instead of millimeter: {large}"
        about(bed.file).expect(size == 1.0, "verify.unit", message, size, 1.0, 0.0, "mm")
        own = {
            piece.part: (parts[piece.part], meshes[piece.part])
            for piece in bed.pieces
            if piece.part in parts and piece.part in meshes
        }
        _judge_objects(package, bed, own, manifest.done, about)
        _judge_items(package, bed, owner, about)
        _judge_places(package, manifest.inputs.bed, about)
        printed.update(item.piece for item in package.items)
    for name in owner:  # each piece in use must be printed, and once
        count = printed[name]
        message = f"is on the beds {count} times instead of once" if count else "is on no bed"
        code = "verify.count" if count else "verify.piece-missing"
        ledger.about(MANIFEST, name).within(float(count), 1.0, 0.0, code, message, "")


def _judge_objects(
    package: ThreeMF,
    bed: Bed,
    own: Mapping[str, tuple[Part, Mesh]],
    done: Compensation,
    about: Callable[[str], Subject],
) -> None:
    """It must hold the mesh of each part that is printed on it, as in the STL file."""
    wanted = dict.fromkeys(piece.part for piece in bed.pieces)
    for name in package.meshes:
        message = "an object that is not in the manifest"
        about(name).expect(name in wanted, "verify.piece-extra", message)
    for name in wanted:
        mesh = package.meshes.get(name)
        message = "no object of that name"
        about(name).expect(mesh is not None, "verify.piece-missing", message)
        if mesh is not None and name in own:
            part, other = own[name]
            how = difference(undone(mesh, done), other, limits.SAME_MESH)
            message = f"not the mesh of {part.file}: {how}"
            about(name).expect(not how, "verify.other-mesh", message)
    if bed.advice:
        needed = _values(bed.advice)
        stated = ", ".join(needed.values())
        for name, found in package.advice.items():
            values = ", ".join(found.values()) or "nothing"
            message = f"it is to be printed with {values}, the manifest says {stated}"
            about(name).expect(found == needed, "verify.advice", message)


def _values(advice: Advice) -> dict[str, str]:
    """What the metadata of an object must say."""
    return {
        "material": advice.material,
        "layer": f"{advice.layer:g} mm",
        "walls": f"{advice.walls}",
        "skins": f"{advice.skins}",
        "infill": f"{advice.infill} %",
    }


def _judge_items(
    package: ThreeMF, bed: Bed, owner: Mapping[str, str], about: Callable[[str], Subject]
) -> None:
    """It must hold the pieces that the manifest lays on it, where it lays them, unturned."""
    laid = {piece.name: piece for piece in bed.pieces}
    for item in package.items:
        piece, wanted, place = about(item.piece), laid.get(item.piece), item.place
        message = f"a piece (of {item.name}) that the manifest does not lay on this bed"
        piece.expect(wanted is not None, "verify.piece-extra", message)
        of = owner.get(item.piece, item.name)
        message = f"is the part {item.name!r} instead of {of!r}"
        piece.expect(item.name == of, "verify.swapped", message)
        why = unrigid(place, DECIMALS_LIMIT)
        message = f"its transform is not a rigid motion: {why}"
        if piece.expect(not why, "verify.not-rigid", message) and wanted:
            turned = float(np.abs(place[:3, :3] - np.eye(3)).max())
            message = "is turned: what a printer does to x and y would no longer be undone"
            piece.expect(turned <= DECIMALS_LIMIT, "verify.turned", message)
            off = float(np.hypot(place[0, 3] - wanted.x, place[1, 3] - wanted.y))
            message = f"lies {off:.2f} mm from where the manifest lays it"
            piece.within(off, 0.0, limits.ON_BED, "verify.place", message)


def _judge_places(package: ThreeMF, room: PrintBed, about: Callable[[str], Subject]) -> None:
    """Every item must stand on the bed, inside it, off its rim, and SPACING from the others.

    One that is too long to leave the rim free must lie in the middle of the bed.
    """
    placed = []
    for item in package.items:
        piece, points = about(item.piece), applied(item.place, package.meshes[item.name].vertices)
        placed.append((item.piece, shapely.MultiPoint(points[:, :2]).convex_hull))
        low, high = points.min(axis=0), points.max(axis=0)
        base = float(low[2])
        message = f"lowest at z {base:.3f}, not on the bed"
        piece.within(base, 0.0, limits.BASE, "verify.base", message)
        past = float(np.concatenate([-low[:2], high - (room.x, room.y, room.z)]).max())
        message = f"reaches {past:.2f} mm past the bed of {room.x:g} x {room.y:g} x {room.z:g} mm"
        inside = past <= limits.ON_BED
        if not piece.expect(inside, "verify.off-bed", message, past, 0.0, limits.ON_BED, "mm"):
            continue
        size = np.array([room.x, room.y])
        free = np.minimum(low[:2], size - high[:2])
        least = np.minimum(room.rim, np.maximum(0.0, size - (high - low)[:2]) / 2)
        side = int((free - least).argmin())
        found, wanted = float(free[side]), float(least[side])
        message = f"lies {found:.2f} mm from the bed's rim, {wanted:.2f} mm must stay free"
        clear = found >= wanted - limits.ON_BED
        piece.expect(clear, "verify.rim", message, found, wanted, limits.ON_BED, "mm")
    for (one, hull), (other, another) in combinations(placed, 2):
        apart, least, slack = float(hull.distance(another)), limits.SPACING, limits.ON_BED
        message = f"stands {apart:.2f} mm from {other}, {least:g} mm are needed"
        message = message if apart else f"and {other} overlap"
        clear = apart >= least - slack
        about(one).expect(clear, "verify.overlap", message, apart, least, slack, "mm")


def difference(one: Mesh, other: Mesh, limit: float) -> str:
    """How two meshes differ by more than order and rounding up to `limit` mm; or empty."""
    from scipy.spatial import cKDTree

    if len(one.triangles) != len(other.triangles):
        return f"{len(one.triangles)} triangles instead of {len(other.triangles)}"
    used = np.unique(one.triangles)
    distance, index = cKDTree(other.vertices).query(one.vertices[used])
    worst = float(distance.max())
    if worst > limit:
        return f"a corner lies {worst:.3f} mm from where it should"
    mapped = np.full(len(one.vertices), -1)
    mapped[used] = index
    ours, theirs = _ordered(mapped[one.triangles]), _ordered(other.triangles)
    wrong = int((ours != theirs).any(axis=1).sum())
    return f"{wrong} triangles join other corners" if wrong else ""


def _ordered(triangles: NDArray[np.int64]) -> NDArray[np.int64]:
    """Triangles in one order, each from its lowest corner on, orientation preserved."""
    first = triangles.argmin(axis=1)
    turned = np.take_along_axis(triangles, (first[:, None] + np.arange(3)) % 3, axis=1)
    return turned[np.lexsort(turned.T)]
