"""3MF packages, read twice: strictly, for what jiggen writes into one and nothing else, and by
lib3mf, the 3MF consortium's own reader of the specification.

What two readers could read differently is refused: another file in the package, another
relationship, an extension, an attribute that a slicing program may follow and another not.
"""

from __future__ import annotations

import re
from array import array
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.archive import ArchiveError, read_archive
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.strict_xml import LANGUAGE, ForeignError, Form, XMLError, read_strictly

# A jig's model is 2 to 4 MB unpacked; what is many times more is refused, so that a small package
# never unpacks to more than the memory holds.
LARGEST = 16 * 2**20  # bytes, of all members
MOST_ITEMS = 500  # to print: every two are compared
MANY = 10**9  # as many as there may be elements
LONGEST = 500  # characters of an attribute
SAME = 1e-4  # mm between the two readings: single precision

# Open Packaging Conventions (ECMA-376-2), 3MF core specification 1.2: the three members of a
# package without a picture or a signature, and all that the first two must say.
TYPES, RELATIONS, MODEL = "[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"
TYPES_SPACE = "http://schemas.openxmlformats.org/package/2006/content-types"
TYPES_FORMS = {
    "": Form(inside={"Types": (1, 1)}),
    "Types": Form(inside={"Default": (2, 2)}),
    "Default": Form({"Extension", "ContentType"}),
}
CONTENT_TYPES = {
    "rels": "application/vnd.openxmlformats-package.relationships+xml",
    "model": "application/vnd.ms-package.3dmanufacturing-3dmodel+xml",
}
RELATIONS_SPACE = "http://schemas.openxmlformats.org/package/2006/relationships"
RELATIONS_FORMS = {
    "": Form(inside={"Relationships": (1, 1)}),
    "Relationships": Form(inside={"Relationship": (1, 1)}),
    "Relationship": Form({"Id", "Target", "Type"}),
}
RELATION = {
    "Target": f"/{MODEL}",
    "Type": "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel",
}
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
ADVICE = "urn:uuid:0f7c6c1e-7a55-4c0b-9d4e-5b8f1f6c2a93"  # namespace of our objects' metadata
ADVICE_PREFIX = "jiggen"
ROWS = "plain-rows"  # an attribute that no file has: number of a table that was read already
MODEL_FORMS = {
    "": Form(inside={"model": (1, 1)}),
    "model": Form(others={"unit", LANGUAGE}, inside={"resources": (1, 1), "build": (1, 1)}),
    "resources": Form(inside={"object": (0, MANY)}),
    "object": Form({"id", "name"}, {"type"}, {"metadatagroup": (0, 1), "mesh": (1, 1)}),
    "metadatagroup": Form(inside={"metadata": (0, 20)}),
    "metadata": Form({"name", "type", "preserve"}, words=True),
    "mesh": Form(inside={"vertices": (1, 1), "triangles": (1, 1)}),
    "vertices": Form(others={ROWS}, inside={"vertex": (0, MANY)}),
    "vertex": Form({"x", "y", "z"}),
    "triangles": Form(others={ROWS}, inside={"triangle": (0, MANY)}),
    "triangle": Form({"v1", "v2", "v3"}),
    "build": Form(inside={"item": (0, MOST_ITEMS)}),
    "item": Form({"objectid", "partnumber", "transform"}),
}
UNITS = {  # mm in one (core specification)
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
UNIT_NOT_KNOWN = 0x801E  # lib3mf's warning of it
_REAL = r"[-+]?[0-9]{1,12}(?:\.[0-9]{1,12})?(?:[eE][-+]?[0-9]{1,3})?"
POINT = re.compile(rf"{_REAL} {_REAL} {_REAL}")
CORNERS = re.compile(r"[0-9]{1,9} [0-9]{1,9} [0-9]{1,9}")
PLACE = re.compile(rf"{_REAL}(?: {_REAL}){{11}}")
NUMBER = re.compile(r"[1-9][0-9]{0,8}")
# Rows of the form that jiggen writes are read by one pattern, and not each by the reader of XML.
_SIX = rb"(-?[0-9]{1,9}\.[0-9]{1,9})"
PLAIN_ROWS = {
    b"vertices": (re.compile(rb'<vertex x="%b" y="%b" z="%b"/>' % (_SIX, _SIX, _SIX)), float),
    b"triangles": (
        re.compile(rb'<triangle v1="([0-9]{1,9})" v2="([0-9]{1,9})" v3="([0-9]{1,9})"/>'),
        int,
    ),
}


class ThreeMFError(ValueError):
    """A 3MF file that is not one, or cannot be understood."""


class ForeignPartError(ThreeMFError):
    """A 3MF file that holds what jiggen never writes into one."""


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
    """Read a 3MF file; coordinates as written, not converted.

    Raises ThreeMFError when it is not a package of named meshes, ForeignPartError when it holds
    more than that, or the two readers differ; OSError when it cannot be read.
    """
    data = path.read_bytes()
    try:
        members = read_archive(data, LARGEST)
    except ArchiveError as error:
        raise ThreeMFError(f"not a 3MF package: {error}") from None
    wanted = (TYPES, RELATIONS, MODEL)
    if others := sorted(members.keys() - set(wanted)):
        raise ForeignPartError(f"a file {others[0][:LONGEST]!r}")
    if lacking := [name for name in wanted if name not in members]:
        raise ThreeMFError(f"not a 3MF package: {lacking[0]!r} is not in it")
    name = ""
    try:
        for name in wanted[:2]:
            _check_package(name, members[name])
        name = MODEL
        found = _Model(members[MODEL]).read()
    except ForeignError as error:
        raise ForeignPartError(f"{error} in {name}") from None
    except XMLError as error:
        raise ThreeMFError(f"{name}: {error}") from None
    _compare(found, data)
    return found


def _check_package(name: str, data: bytes) -> None:
    """The content types must be ours, and the one relationship that to the one model."""
    rows: list[dict[str, str]] = []
    types = name == TYPES
    space, forms = (TYPES_SPACE, TYPES_FORMS) if types else (RELATIONS_SPACE, RELATIONS_FORMS)
    read_strictly(data, {None: space}, forms, lambda _, given: rows.append(given))
    if types and {row["Extension"]: row["ContentType"] for row in rows[1:]} != CONTENT_TYPES:
        raise ForeignError("other content types than those of a model")
    if not types and {key: rows[-1][key] for key in RELATION} != RELATION:
        target, kind = rows[-1]["Target"][:LONGEST], rows[-1]["Type"][:LONGEST]
        raise ForeignError(f"a relationship to {target!r} of the type {kind!r}")


class _Model:
    """One reading of the model's XML."""

    def __init__(self, data: bytes) -> None:
        self._data, self._plain = _without_plain_rows(data)
        self._unit = "millimeter"  # core specification: if none is given
        self._names: dict[str, str] = {}  # of objects, by number
        self._points: dict[str, array[Any]] = {}
        self._corners: dict[str, array[Any]] = {}
        self._advice: dict[str, dict[str, str]] = {}
        self._items: list[Item] = []
        self._name = self._key = ""  # of the object and the metadata that is being read

    def read(self) -> ThreeMF:
        """Raises XMLError, ForeignError."""
        spaces = {None: CORE, ADVICE_PREFIX: ADVICE}
        read_strictly(self._data, spaces, MODEL_FORMS, self._begin, self._words)
        meshes = {name: self._mesh(name) for name in self._points}
        unit = self._unit
        return ThreeMF(unit, UNITS.get(unit), meshes, tuple(self._items), self._advice)

    def _mesh(self, name: str) -> Mesh:
        vertices = np.array(self._points[name], np.float64).reshape(-1, 3)
        triangles = np.array(self._corners[name], np.int64).reshape(-1, 3)
        if not len(triangles):
            raise XMLError(f"object {name!r} has no triangles")
        if not np.isfinite(vertices).all():
            raise XMLError(f"object {name!r}: a coordinate is too large")
        if triangles.max() >= len(vertices):
            raise XMLError(f"object {name!r}: a triangle's corner is not there")
        return Mesh(vertices, triangles)

    def _begin(self, tag: str, given: dict[str, str]) -> None:
        if tag == "vertex":
            words = _form(POINT, " ".join((given["x"], given["y"], given["z"])), "vertex")
            self._points[self._name].extend(map(float, words))
        elif tag == "triangle":
            words = _form(CORNERS, " ".join((given["v1"], given["v2"], given["v3"])), "triangle")
            self._corners[self._name].extend(map(int, words))
        elif tag in ("vertices", "triangles"):
            if rows := given.get(ROWS):
                table = self._points if tag == "vertices" else self._corners
                table[self._name] = self._plain[int(rows)]
        elif tag == "model":
            self._unit = _text(given.get("unit", self._unit))
        elif tag == "object":
            self._object(given)
        elif tag == "metadata":
            space, _, self._key = _text(given["name"]).partition(":")
            kind = (space, given["type"], given["preserve"])
            if kind != (ADVICE_PREFIX, "xs:string", "1") or self._key in self._advice[self._name]:
                raise ForeignError(f"metadata {given['name']!r}")
            self._advice[self._name][self._key] = ""
        elif tag == "item":
            number = given["objectid"][:LONGEST]
            if number not in self._names:
                raise XMLError(f"there is no object {number!r} to print")
            place = np.eye(4)
            numbers = _form(PLACE, given["transform"], "transform")
            place[:3] = np.array(numbers, np.float64).reshape(4, 3).T
            if not np.isfinite(place).all():
                raise XMLError("a transform that is not twelve numbers")
            self._items.append(Item(self._names[number], _text(given["partnumber"]), place))

    def _object(self, given: dict[str, str]) -> None:
        number, self._name = given["id"][:LONGEST], _text(given["name"])
        if not NUMBER.fullmatch(number):
            raise XMLError(f"an object of number {number!r}")
        if number in self._names or self._name in self._points:
            raise XMLError(f"two objects are called {self._name!r}, or are number {number}")
        if (kind := given.get("type", "model")) != "model":
            raise ForeignError(f"an object {self._name!r} of the type {kind[:LONGEST]!r}")
        self._names[number] = self._name
        self._points[self._name], self._corners[self._name] = array("d"), array("q")
        self._advice[self._name] = {}

    def _words(self, found: str) -> None:
        values = self._advice[self._name]
        values[self._key] = _text(values[self._key] + found)


def _without_plain_rows(data: bytes) -> tuple[bytes, list[array[Any]]]:
    """The text without the rows of its plain tables, which it names by number; their numbers."""
    tables: list[array[Any]] = []
    pieces: list[bytes] = []
    if ROWS.encode() in data:  # the name is ours
        raise ForeignError(f"an attribute {ROWS!r}")
    for piece in data.split(b"</"):  # each ends with what its next end tag closes
        before, opening, rows = piece.rpartition(b"s>")
        name = before[before.rfind(b"<") + 1 :] + b"s"
        numbers = _plain_numbers(name, rows) if opening and rows else None
        if numbers is not None:
            pieces.append(b'%bs %b="%d">' % (before, ROWS.encode(), len(tables)))
            tables.append(numbers)
        else:
            pieces.append(piece)
    return b"</".join(pieces), tables


def _plain_numbers(name: bytes, rows: bytes) -> array[Any] | None:
    """The numbers of a table if all its rows are of the plain form."""
    if name not in PLAIN_ROWS:
        return None
    row, number = PLAIN_ROWS[name]
    found = row.split(rows)  # what stands before a row, three numbers, what stands before …
    if any(found[::4]):
        return None
    del found[::4]
    return array("d" if number is float else "q", map(number, found))


def _form(pattern: re.Pattern[str], text: str, what: str) -> list[str]:
    if not pattern.fullmatch(text):
        raise XMLError(f"a {what} of {text[:60]!r}")
    return text.split(" ")


def _text(words: str) -> str:
    if len(words) > LONGEST or not words.isprintable():
        raise XMLError(f"a name of {words[:60]!r}")
    return words


def _compare(found: ThreeMF, data: bytes) -> None:
    """lib3mf must find the same.  Raises ThreeMFError, ForeignPartError."""
    import lib3mf

    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    try:
        reader.ReadFromBuffer(data)
        warnings = dict(reader.GetWarning(n) for n in range(reader.GetWarningCount()))
        unit = lib3mf.ModelUnit(model.GetUnit()).name.lower()
        unit = {"micrometer": "micron"}.get(unit, unit)  # the specification's name of it
        if warnings.pop(UNIT_NOT_KNOWN, None) is not None:
            unit = found.unit if found.millimetres is None else ""
        if warnings:
            raise ThreeMFError("; ".join(warnings.values()))
        other = _read_by_lib3mf(model, unit)
    except lib3mf.ELib3MFException as error:
        raise ThreeMFError(str(error)) from None
    same = (
        (found.unit, found.advice, [(item.name, item.piece) for item in found.items])
        == (other.unit, other.advice, [(item.name, item.piece) for item in other.items])
        and found.meshes.keys() == other.meshes.keys()
        and all(
            _near(one.place, two.place) for one, two in zip(found.items, other.items, strict=True)
        )
        and all(_same_mesh(found.meshes[name], mesh) for name, mesh in other.meshes.items())
    )
    if not same:
        raise ForeignPartError("two readers of 3MF read it differently")


def _same_mesh(one: Mesh, other: Mesh) -> bool:
    return np.array_equal(one.triangles, other.triangles) and _near(one.vertices, other.vertices)


def _near(one: Array, other: Array) -> bool:
    return one.shape == other.shape and bool(np.allclose(one, other, rtol=1e-6, atol=SAME))


def _read_by_lib3mf(model: Any, unit: str) -> ThreeMF:
    names: dict[int, str] = {}
    meshes: dict[str, Mesh] = {}
    advice: dict[str, dict[str, str]] = {}
    for entry in _each(model.GetObjects()):
        name, number = entry.GetName(), entry.GetResourceID()
        mesh = model.GetMeshObjectByID(number)
        vertices = _table(mesh.GetVertices(), np.float32).astype(np.float64)
        triangles = _table(mesh.GetTriangleIndices(), np.uint32).astype(np.int64)
        names[number], meshes[name], advice[name] = name, Mesh(vertices, triangles), {}
        group = entry.GetMetaDataGroup()
        for row in map(group.GetMetaData, range(group.GetMetaDataCount())):
            if row.GetNameSpace() == ADVICE:
                advice[name][row.GetName()] = row.GetValue()
    items = []
    for item in _each(model.GetBuildItems()):
        place = np.eye(4)
        if item.HasObjectTransform():
            place[:3] = np.array([list(row) for row in item.GetObjectTransform().Fields]).T
        items.append(Item(names[item.GetObjectResourceID()], item.GetPartNumber(), place))
    return ThreeMF(unit, None, meshes, tuple(items), advice)


def _each(iterator: Any) -> Any:
    while iterator.MoveNext():
        yield iterator.GetCurrent()


def _table(rows: list[Any], kind: type) -> NDArray[Any]:
    """Rows of three numbers, as lib3mf hands them out, as an array (n, 3)."""
    return np.frombuffer(b"".join(map(bytes, rows)), kind).reshape(-1, 3)
