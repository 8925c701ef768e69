"""The beds' 3MF packages against the STL files and the manifest.

The same meshes, in millimetres, every piece laid on one bed, once, unturned, clear of the others.
Packages are read by lib3mf, the 3MF consortium's own reader of the specification.  What one
unpacks to is limited before lib3mf sees it, and it sees nothing but what was looked at: the
package is packed again of these members.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from jiggen.files import MANIFEST, within
from jiggen.verify import limits
from jiggen.verify.geometry import Array, applied, unrigid
from jiggen.verify.manifest import Advice, Bed, Compensation, Manifest, Part, PrintBed
from jiggen.verify.mesh import Mesh
from jiggen.verify.parts import fail_unreadable, undone
from jiggen.verify.results import Ledger, Subject

DECIMALS_LIMIT = 1e-6  # of a transform written in decimals
NOT_A_PACKAGE = (zipfile.BadZipFile, zlib.error, KeyError, EOFError, RuntimeError)
# A jig's model is 2 MB unpacked, of 45 000 tags; what claims many times more is refused, so that
# a small package never unpacks to more than the memory holds.
LARGEST = 32 * 2**20  # bytes, of all members
MOST_MEMBERS = 50
MOST_TAGS = 500_000
MOST_ITEMS = 500  # to print: every two are compared

ADVICE = "urn:uuid:0f7c6c1e-7a55-4c0b-9d4e-5b8f1f6c2a93"  # namespace of our objects' metadata
UNIT_NOT_KNOWN = 0x801E  # lib3mf's warning of it
UNIT = re.compile(rb"<(?:\w+:)?model\b[^>]*?\sunit\s*=\s*[\"']([^\"'<]{0,60})")
UNITS = {  # by lib3mf's names of them: 3MF's name, and mm in one (core specification)
    "MicroMeter": ("micron", 0.001),
    "MilliMeter": ("millimeter", 1.0),
    "CentiMeter": ("centimeter", 10.0),
    "Inch": ("inch", 25.4),
    "Foot": ("foot", 304.8),
    "Meter": ("meter", 1000.0),
}


def judge_beds(
    folder: Path, manifest: Manifest, meshes: Mapping[str, Mesh], ledger: Ledger
) -> None:
    """Every check of the folder's beds; `meshes` are those of the STL files, undone, by name."""
    parts = {part.name: part for part in manifest.parts if part.printed}
    owner = {placed.name: part.name for part in parts.values() for placed in part.placed}
    printed: Counter[str] = Counter()
    for bed in manifest.beds:
        about = partial(ledger.about, bed.file)
        try:
            package = read_3mf(within(folder, bed.file, limits.FILE))
        except (OSError, ThreeMFError) as error:
            fail_unreadable(about(Path(bed.file).name), error)
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
    """Every item must stand on the bed, inside it, and SPACING from the others."""
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
        piece.expect(inside, "verify.off-bed", message, past, 0.0, limits.ON_BED, "mm")
    for (one, hull), (other, another) in combinations(placed, 2):
        apart, least, slack = float(hull.distance(another)), limits.SPACING, limits.ON_BED
        message = f"stands {apart:.2f} mm from {other}, {least:g} mm are needed"
        message = message if apart else f"and {other} overlap"
        clear = apart >= least - slack
        about(one).expect(clear, "verify.overlap", message, apart, least, slack, "mm")


class ThreeMFError(ValueError):
    """A 3MF file that is not one, or holds what a jig's does not."""


@dataclass(frozen=True, eq=False)
class Item:
    """One piece to print: its object's name, its own, and the 4×4 that places it on the bed."""

    name: str
    piece: str
    place: Array


@dataclass(frozen=True, eq=False)
class ThreeMF:
    """Its unit, in mm if 3MF knows it, its meshes by object name, and what is to be printed.

    `advice` is our metadata of each object, values by name.
    """

    unit: str
    millimetres: float | None
    meshes: dict[str, Mesh]
    items: tuple[Item, ...]
    advice: dict[str, dict[str, str]]


def read_3mf(path: Path) -> ThreeMF:
    """Read a 3MF file; coordinates as written, not converted, to single precision.

    Raises ThreeMFError when it is not a package of named meshes; OSError when it cannot be read.
    """
    try:
        package, unit = _checked(path)
    except NOT_A_PACKAGE as error:
        raise ThreeMFError(f"not a 3MF package: {error}") from None
    import lib3mf

    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    try:
        reader.ReadFromBuffer(package)
        warnings = dict(reader.GetWarning(n) for n in range(reader.GetWarningCount()))
        known = warnings.pop(UNIT_NOT_KNOWN, None) is None
        if warnings:
            raise ThreeMFError("; ".join(warnings.values()))
        names, meshes = _objects(model)
        advice = {entry.GetName(): _metadata(entry) for entry in _each(model.GetObjects())}
        build = model.GetBuildItems()
        if build.Count() > MOST_ITEMS:
            raise ThreeMFError(f"more than {MOST_ITEMS} pieces to print")
        items = []
        for item in _each(build):
            place = np.eye(4)
            if item.HasObjectTransform():
                place[:3] = np.array([list(row) for row in item.GetObjectTransform().Fields]).T
            if not np.isfinite(place).all():
                raise ThreeMFError("a transform that is not twelve numbers")
            items.append(Item(names[item.GetObjectResourceID()], item.GetPartNumber(), place))
        name, size = UNITS[lib3mf.ModelUnit(model.GetUnit()).name]
    except lib3mf.ELib3MFException as error:
        raise ThreeMFError(str(error)) from None
    unit, known_size = (name, size) if known else (unit, None)
    return ThreeMF(unit, known_size, meshes, tuple(items), advice)


def _checked(path: Path) -> tuple[bytes, str]:
    """The package, packed again once its members' sizes were looked at, and its unit's name."""
    buffer = io.BytesIO()
    unit = ""
    with zipfile.ZipFile(path) as package, zipfile.ZipFile(buffer, "w") as again:
        members = package.infolist()
        if len(members) > MOST_MEMBERS:
            raise ThreeMFError(f"more than {MOST_MEMBERS} files in it")
        if sum(member.file_size for member in members) > LARGEST:
            raise ThreeMFError(f"unpacks to more than {LARGEST} bytes")
        for member in members:
            data = package.read(member)
            if data.count(b"<") > MOST_TAGS:
                raise ThreeMFError(f"{member.filename} holds more than {MOST_TAGS} tags")
            if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
                raise ThreeMFError(f"{member.filename} holds a document type, which 3MF forbids")
            found = UNIT.search(data)
            unit = found[1].decode("utf-8", "replace") if found else unit
            again.writestr(member.filename, data, zipfile.ZIP_DEFLATED, compresslevel=1)
    return buffer.getvalue(), unit


def _each(iterator: Any) -> Any:
    while iterator.MoveNext():
        yield iterator.GetCurrent()


def _metadata(entry: Any) -> dict[str, str]:
    """An object's metadata in our namespace."""
    group = entry.GetMetaDataGroup()
    rows = map(group.GetMetaData, range(group.GetMetaDataCount()))
    return {row.GetName(): row.GetValue() for row in rows if row.GetNameSpace() == ADVICE}


def _objects(model: Any) -> tuple[dict[int, str], dict[str, Mesh]]:
    """The names of a model's objects by number, and their meshes by name."""
    names: dict[int, str] = {}
    meshes: dict[str, Mesh] = {}
    for entry in _each(model.GetObjects()):
        name = entry.GetName()
        if not entry.IsMeshObject():
            raise ThreeMFError(f"object {name!r} is not a mesh")
        if name in meshes:
            raise ThreeMFError(f"two objects are called {name!r}")
        mesh = model.GetMeshObjectByID(entry.GetResourceID())
        vertices = _table(mesh.GetVertices(), np.float32).astype(np.float64)
        triangles = _table(mesh.GetTriangleIndices(), np.uint32).astype(np.int64)
        if not len(triangles):
            raise ThreeMFError(f"object {name!r} has no triangles")
        if not np.isfinite(vertices).all():
            raise ThreeMFError(f"object {name!r}: a coordinate is not a number")
        if triangles.max() >= len(vertices):
            raise ThreeMFError(f"object {name!r}: a triangle's corner is not there")
        names[entry.GetResourceID()], meshes[name] = name, Mesh(vertices, triangles)
    return names, meshes


def _table(rows: list[Any], kind: type) -> NDArray[Any]:
    """Rows of three numbers, as lib3mf hands them out, as an array (n, 3)."""
    return np.frombuffer(b"".join(map(bytes, rows)), kind).reshape(-1, 3)


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
