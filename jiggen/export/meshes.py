"""Printed parts as meshes: an STL of each, and a 3MF package per bed; equal bytes every run."""

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from jiggen.design.settings import Bed
from jiggen.export.packing import Room, pack
from jiggen.record.entries import LaidPiece, PrintAdvice, PrintBed

GAP = 5.0  # mm between pieces on a bed: room for a brim, common practice, no source
MODEL = "3D/3dmodel.model"
# 3MF core specification 1.2, metadata: a name that is not one of its own needs a namespace, and
# for that any URI will do.  This one is a random UUID (RFC 9562): nobody else's, on no server.
NAMESPACE = "urn:uuid:0f7c6c1e-7a55-4c0b-9d4e-5b8f1f6c2a93"
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


@dataclass(frozen=True, eq=False)
class PartMesh:
    """One part in print position: vertices (n, 3) mm, triangles (m, 3), how many to print."""

    name: str
    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]
    count: int


def stl_bytes(mesh: PartMesh) -> bytes:
    """Binary STL (80-byte header, count, 50 bytes per facet; loc.gov fdd000505), in mm."""
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    corners = mesh.vertices[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners), dtype=facet)
    facets["normal"] = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    facets["corners"] = corners
    header = f"jiggen part, millimetres: {mesh.name}".encode("ascii", "replace")[:80].ljust(80)
    return header + np.uint32(len(facets)).tobytes() + facets.tobytes()


def lay_out(
    meshes: Mapping[str, PartMesh],
    pieces: Mapping[str, Sequence[str]],
    bed: Bed,
    advice: Mapping[str, PrintAdvice | None],
) -> tuple[PrintBed, ...]:
    """Every piece on one of as few beds as :func:`jiggen.export.packing.pack` finds.

    `meshes` are taken as they are, by part name; `pieces` are the names of each part's pieces,
    all of which are printed.  Only parts of the same
    `advice` share a bed: a slicing program has one set of values for all that is on it.
    """
    room = Room(bed.rim, bed.rim, bed.x - bed.rim, bed.y - bed.rim)
    beds: list[PrintBed] = []
    for how in dict.fromkeys(advice[part] for part in pieces):
        named = [(n, part) for part, names in pieces.items() if advice[part] == how for n in names]
        outlines = [meshes[part].vertices[:, :2] for _, part in named]
        for spots in pack(outlines, room, GAP):
            laid = [(*named[spot.index], spot.x, spot.y) for spot in spots]
            on_it = tuple(LaidPiece(name=name, part=part, x=x, y=y) for name, part, x, y in laid)
            beds.append(PrintBed(file=f"bed-{len(beds) + 1}.3mf", pieces=on_it, advice=how))
    return tuple(beds)


def threemf_bytes(meshes: Mapping[str, PartMesh], bed: PrintBed) -> bytes:
    """A 3MF core document (unit millimetre): one object per part, one item per piece.

    An object bears its part's name, and as metadata how it is best printed; an item the piece's
    name, as its part number.
    """
    laid, metadata = bed.pieces, _metadata(bed.advice)
    numbers = {part: n for n, part in enumerate(dict.fromkeys(p.part for p in laid), start=1)}
    objects = "".join(_object(number, meshes[part], metadata) for part, number in numbers.items())
    items = "".join(
        f'<item objectid="{numbers[piece.part]}" partnumber={quoteattr(piece.name)} '
        f'transform="1 0 0 0 1 0 0 0 1 {piece.x:.10g} {piece.y:.10g} 0"/>\n'
        for piece in laid
    )
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en-GB" xmlns:jiggen="{NAMESPACE}" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n'
        f"<resources>\n{objects}</resources>\n<build>\n{items}</build>\n</model>\n"
    )
    members = {"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": RELATIONS, MODEL: model}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for name, text in members.items():
            member = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            member.compress_type = zipfile.ZIP_DEFLATED
            member.external_attr = 0o644 << 16
            package.writestr(member, text.encode())
    return buffer.getvalue()


def _metadata(advice: PrintAdvice | None) -> str:
    """The group that an object begins with, one string for each value; empty without any."""
    if advice is None:
        return ""
    values = {
        "material": advice.material,
        "layer": f"{advice.layer:g} mm",
        "walls": f"{advice.walls}",
        "skins": f"{advice.skins}",
        "infill": f"{advice.infill} %",
    }
    rows = (
        f'<metadata name="jiggen:{name}" type="xs:string" preserve="1">{escape(value)}</metadata>'
        for name, value in values.items()
    )
    return f"<metadatagroup>{''.join(rows)}</metadatagroup>"


def _object(number: int, mesh: PartMesh, metadata: str) -> str:
    # Six decimals hold all that the STL's single precision does, so both files are one mesh.
    vertices = "".join(
        f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in mesh.vertices.tolist()
    )
    triangles = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles.tolist()
    )
    return (
        f'<object id="{number}" name={quoteattr(mesh.name)} type="model">{metadata}<mesh>\n'
        f"<vertices>{vertices}</vertices>\n<triangles>{triangles}</triangles>\n"
        "</mesh></object>\n"
    )
