"""3MF packages read as data (3MF core specification): unit, named meshes, build items.

Nearly all of a model are the rows of its tables, vertices and triangles.  In the one form that
jiggen writes them they are taken out of the text before it is parsed as XML, a table at once; any
other form is parsed whole.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.frames import Array
from jiggen.verify.mesh import Mesh

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
RELATIONSHIP = "{http://schemas.openxmlformats.org/package/2006/relationships}Relationship"
MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
NOT_A_PACKAGE = (
    zipfile.BadZipFile,
    zlib.error,
    KeyError,
    EOFError,
    NotImplementedError,
    RuntimeError,
)
# A jig's model is 2 MB unpacked, of 45 000 tags; what claims many times more is refused, so that
# a small package never unpacks to more than the memory holds.
LARGEST = 32 * 2**20  # bytes
MOST_TAGS = 500_000
MOST_ITEMS = 500  # to print: every two are compared

COORDINATE = r'"-?[0-9]++(?:\.[0-9]++)?"'
CORNER = r'"[0-9]{1,9}+"'
PLAIN_TABLE = re.compile(
    rf"<(vertices)>((?:<vertex x={COORDINATE} y={COORDINATE} z={COORDINATE}/>)++)</vertices>"
    rf"|<(triangles)>((?:<triangle v1={CORNER} v2={CORNER} v3={CORNER}/>)++)</triangles>"
)
MARK = "jiggen-table"  # attribute of a table whose rows were taken out: its number


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
    """A package's unit of length, its meshes by object name, and what is to be printed."""

    unit: str
    meshes: dict[str, Mesh]
    items: tuple[Item, ...]


def read_3mf(path: Path) -> ThreeMF:
    """Read a 3MF file; coordinates as written, not converted.

    Raises ThreeMFError when it is no package of named meshes; OSError when it cannot be read.
    """
    try:
        with zipfile.ZipFile(path) as package:
            name = _model_name(package)
            text, tables = _without_tables(_text(package, name))
    except NOT_A_PACKAGE as error:
        raise ThreeMFError(f"not a 3MF package: {error}") from None
    model = _xml(text, name)
    if model.tag != f"{CORE}model":
        raise ThreeMFError(f"its model is a {model.tag}")
    names: dict[str, str] = {}
    meshes: dict[str, Mesh] = {}
    for number, name, mesh in (_object(entry, tables) for entry in model.iter(f"{CORE}object")):
        if number in names or name in meshes:
            raise ThreeMFError(f"two objects are called {name!r} or numbered {number}")
        names[number], meshes[name] = name, mesh
    items = tuple(
        Item(_named(names, entry), entry.get("partnumber", ""), _place(entry.get("transform")))
        for entry in model.iterfind(f"{CORE}build/{CORE}item")
    )
    if len(items) > MOST_ITEMS:
        raise ThreeMFError(f"more than {MOST_ITEMS} pieces to print")
    return ThreeMF(model.get("unit", "millimeter"), meshes, items)


def _text(package: zipfile.ZipFile, name: str) -> str:
    if package.getinfo(name).file_size > LARGEST:
        raise ThreeMFError(f"{name} unpacks to more than {LARGEST} bytes")
    try:
        text = package.read(name).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ThreeMFError(f"{name} is not in UTF-8") from None
    if text.count("<") > MOST_TAGS:
        raise ThreeMFError(f"{name} holds more than {MOST_TAGS} tags")
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise ThreeMFError(f"{name} holds a document type, which 3MF forbids")
    return text


def _without_tables(text: str) -> tuple[str, list[Array]]:
    """A model's text with its plain tables empty and marked, and their rows (n, 3)."""
    tables: list[Array] = []

    def taken(match: re.Match[str]) -> str:
        tag, rows = match[1] or match[3], match[2] or match[4]
        numbers = [float(number) for number in rows.split('"')[1::2]]
        tables.append(np.array(numbers).reshape(-1, 3))
        return f'<{tag} {MARK}="{len(tables) - 1}"/>'

    return (text if MARK in text else PLAIN_TABLE.sub(taken, text)), tables


def _xml(text: str, name: str) -> ET.Element:
    try:
        return ET.fromstring(text)
    except ET.ParseError as error:
        raise ThreeMFError(f"{name} is not well formed: {error}") from None


def _model_name(package: zipfile.ZipFile) -> str:
    name = "_rels/.rels"
    for entry in _xml(_text(package, name), name).iter(RELATIONSHIP):
        if entry.get("Type") == MODEL_TYPE:
            return entry.get("Target", "").lstrip("/")
    raise ThreeMFError("no 3D model in the package")


def _object(entry: ET.Element, tables: list[Array]) -> tuple[str, str, Mesh]:
    number, name = entry.get("id", ""), entry.get("name", "")
    mesh = entry.find(f"{CORE}mesh")
    if mesh is None:
        raise ThreeMFError(f"object {name!r} is not a mesh")
    vertices = _table(mesh, "vertices", ("x", "y", "z"), float, tables)
    triangles = _table(mesh, "triangles", ("v1", "v2", "v3"), int, tables)
    if not len(triangles):
        raise ThreeMFError(f"object {name!r} has no triangles")
    if not np.isfinite(vertices).all():
        raise ThreeMFError(f"object {name!r}: a coordinate is not a number")
    corners = triangles.astype(np.int64)
    if corners.min() < 0 or corners.max() >= len(vertices):
        raise ThreeMFError(f"object {name!r}: a triangle's corner is not there")
    return number, name, Mesh(vertices, corners)


def _table(
    mesh: ET.Element, tag: str, keys: tuple[str, ...], kind: type, tables: list[Array]
) -> Array:
    rows = mesh.find(f"{CORE}{tag}")
    if rows is None:
        raise ThreeMFError(f"a mesh without {tag}")
    if tables and MARK in rows.attrib:
        return tables[int(rows.attrib[MARK])]
    try:
        values = [float(kind(row.attrib[key])) for row in rows for key in keys]
    except (KeyError, ValueError, OverflowError) as error:
        raise ThreeMFError(f"{tag}: {error}") from None
    return np.array(values).reshape(-1, len(keys))


def _named(names: dict[str, str], entry: ET.Element) -> str:
    number = entry.get("objectid", "")
    if number not in names:
        raise ThreeMFError(f"the build names object {number!r}, which is not there")
    return names[number]


def _place(text: str | None) -> Array:
    """A transform attribute: 12 numbers, four rows of three that act on row vectors."""
    place = np.eye(4)
    if text is None:
        return place
    try:
        numbers = [float(word) for word in text.split()]
    except ValueError:
        numbers = []
    if len(numbers) != 12 or not all(math.isfinite(number) for number in numbers):
        raise ThreeMFError(f"a transform that is not twelve numbers: {text[:60]!r}")
    place[:3] = np.array(numbers).reshape(4, 3).T
    return place


def difference(one: Mesh, other: Mesh, limit: float) -> str:
    """How two meshes of one part differ; empty when only order and rounding do.

    Corners are matched to the nearest within `limit` mm, then the triangles, with their sense.
    """
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
    """Triangles in one order, each from its lowest corner on, sense kept."""
    first = triangles.argmin(axis=1)
    turned = np.take_along_axis(triangles, (first[:, None] + np.arange(3)) % 3, axis=1)
    return turned[np.lexsort(turned.T)]
