"""3MF packages, read by lib3mf, the 3MF consortium's own reader of the specification.

What one unpacks to is limited before lib3mf sees it, and it sees nothing but what was looked at:
the package is packed again of these members.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.mesh import Mesh

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
