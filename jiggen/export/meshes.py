"""Printed parts as meshes: binary STL and the whole job as one 3MF; equal bytes every run."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

GAP = 5.0  # mm between parts on the bed


@dataclass(frozen=True, eq=False)
class PartMesh:
    """One part in print position: vertices (n, 3) mm, triangles (m, 3), how many to print."""

    name: str
    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]
    count: int


def stl_bytes(mesh: PartMesh) -> bytes:
    """Binary STL (80-byte header, count, 50 bytes a facet; loc.gov fdd000505), in mm."""
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    corners = mesh.vertices[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners), dtype=facet)
    facets["normal"] = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    facets["corners"] = corners
    header = f"jiggen part, millimetres: {mesh.name}".encode("ascii", "replace")[:80].ljust(80)
    return header + np.uint32(len(facets)).tobytes() + facets.tobytes()


def threemf_bytes(meshes: Sequence[PartMesh], bed_x: float) -> bytes:
    """A 3MF core document (unit millimetre) with every piece laid out in rows `bed_x` wide."""
    objects, items = [], []
    places = iter(_rows(meshes, bed_x))
    for number, mesh in enumerate(meshes, start=1):
        objects.append(_object(number, mesh))
        for _ in range(mesh.count):
            x, y = next(places)
            items.append(f'<item objectid="{number}" transform="1 0 0 0 1 0 0 0 1 {x:g} {y:g} 0"/>')
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<model unit="millimeter" xml:lang="en-GB" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n'
        f"<resources>\n{''.join(objects)}</resources>\n<build>\n{''.join(items)}\n</build>\n"
        "</model>\n"
    )
    return _package({"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": RELATIONS, MODEL: model})


MODEL = "3D/3dmodel.model"
CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Id="rel0" Target="/{MODEL}" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)


def _object(number: int, mesh: PartMesh) -> str:
    # Six decimals hold all that the STL's single precision does, so both files are one mesh.
    vertices = "".join(
        f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in mesh.vertices.tolist()
    )
    triangles = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles.tolist()
    )
    return (
        f'<object id="{number}" name={quoteattr(mesh.name)} type="model"><mesh>\n'
        f"<vertices>{vertices}</vertices>\n<triangles>{triangles}</triangles>\n"
        "</mesh></object>\n"
    )


def _rows(meshes: Sequence[PartMesh], bed_x: float) -> list[tuple[float, float]]:
    """A place (x, y in mm) a piece, in order: rows as wide as the bed, GAP apart."""
    places = []
    x = y = depth = 0.0
    for mesh in meshes:
        wide, deep = np.ceil(np.ptp(mesh.vertices[:, :2], axis=0))
        for _ in range(mesh.count):
            if x and x + wide > bed_x:
                x, y, depth = 0.0, y + depth + GAP, 0.0
            places.append((x, y))
            x, depth = x + float(wide) + GAP, max(depth, float(deep))
    return places


def _package(members: dict[str, str]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for name, text in members.items():
            member = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            member.compress_type = zipfile.ZIP_DEFLATED
            member.external_attr = 0o644 << 16
            package.writestr(member, text.encode())
    return buffer.getvalue()
