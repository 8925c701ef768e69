"""Small jig folders made to be verified: drawn by the kernel, written without jiggen's export.

The jig: one body (plate, three stepped guides with lead-in, a turned opening, a hexagonal
pocket, a window) and a rail placed twice.  The body is printed top down and turned, and its
STEP frame is not the ski frame, so that every transform on the way counts.
"""

from __future__ import annotations

import atexit
import hashlib
import json
import shutil
import tempfile
import zipfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import cadquery as cq
import numpy as np
from numpy.typing import NDArray

from jiggen.inputs.document import toml_text
from jiggen.marks import jig_mark

Matrix = NDArray[np.float64]

TOP = 14.0
BORE, THROAT, DRILL = 8.1, 5.1, 4.1
SEAT, BRIDGE, NECK = 2.0, 1.7, 1.4  # between them slot and square: bridges when printed top down
LEAD = 0.5
HOLES = {"toe-1": (41.25, 20.5), "toe-2": (41.25, -20.5), "heel-1": (-33.125, 7.75)}
OPENING = (5.0, -2.0, 12.0)
SAGITTA, ANGLE = 0.004, 0.35


def moved(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Matrix:
    matrix = np.eye(4)
    matrix[:3, 3] = (x, y, z)
    return matrix


def turned(degrees: float) -> Matrix:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    matrix = np.eye(4)
    matrix[:2, :2] = ((c, -s), (s, c))
    return matrix


OVER = np.diag((1.0, -1.0, -1.0, 1.0))
BODY_POSE = moved(10.0, -4.0) @ turned(90.0)  # of the body's STEP frame in the ski frame
RAIL_POSES = {
    "rail left": moved(0.0, 45.0),
    "rail right": turned(180.0) @ moved(0.0, 45.0),
}


def location(matrix: Matrix) -> cq.Location:
    from OCP.gp import gp_Trsf

    trsf = gp_Trsf()
    trsf.SetValues(*(float(value) for value in matrix[:3].ravel()))
    return cq.Location(trsf)


def body_in_ski_frame() -> cq.Shape:
    plate = (
        cq.Workplane()
        .polyline([(-60, -32), (60, -32), (60, 32), (-45, 32), (-60, 15)])
        .close()
        .extrude(TOP)
    )
    for x, y in HOLES.values():
        r, t = BORE / 2, THROAT / 2
        guide = (
            cq.Workplane("XZ")
            .polyline(
                [
                    (0, -1),
                    (t, -1),
                    (t, SEAT),
                    (r, SEAT),
                    (r, TOP - LEAD),
                    (r + LEAD, TOP),
                    (r + LEAD, TOP + 1),
                    (0, TOP + 1),
                ]
            )
            .close()
            .revolve(360, (0, 0), (0, 1))
        )
        square = cq.Workplane().rect(2 * t, 2 * t).extrude(BRIDGE - NECK)
        strip = cq.Workplane().rect(2 * t, 2 * r).extrude(SEAT - BRIDGE)
        slot = strip.intersect(cq.Workplane().circle(r - 0.05).extrude(SEAT - BRIDGE))
        burr = cq.Workplane().rect(*[DRILL + 3.0] * 2).extrude(0.4)  # clear of what a drill raises
        plate = plate.cut(burr.translate((x, y, 0))).cut(guide.translate((x, y, 0)))
        plate = plate.cut(square.translate((x, y, NECK))).cut(slot.translate((x, y, BRIDGE)))
    x, y, d = OPENING
    flank = [(0, 0), (d / 2 - 1, 0), (d / 2, TOP), (0, TOP)]
    seat = cq.Workplane("XZ").polyline(flank).close().revolve(360, (0, 0), (0, 1))
    plate = plate.cut(seat.translate((x, y, 0)))
    plate = plate.cut(cq.Workplane().polygon(6, 9.0).extrude(6).translate((-15, -20, 0)))
    plate = plate.cut(cq.Workplane().rect(8, 5).extrude(TOP).translate((-10, 22, 0)))
    solid: cq.Shape = plate.val()
    return solid


def rail() -> cq.Shape:
    bar = cq.Workplane().box(30, 8, 10, centered=(False, True, False))
    solid: cq.Shape = bar.faces(">Z").workplane(origin=(21, 0, 10)).hole(5.5).val()
    return solid


def on_bed(shape: cq.Shape, to_bed: Matrix) -> tuple[cq.Shape, Matrix]:
    """The shape in print position, and the whole pose that took it there."""
    box = shape.moved(location(to_bed)).BoundingBox(1e-6)
    pose = moved(-box.xmin, -box.ymin, -box.zmin) @ to_bed
    return shape.moved(location(pose)), pose


@cache
def good_sample() -> Path:
    """The sample, made once a test session and never written to again: copy it."""
    place = tempfile.mkdtemp(prefix="jiggen-sample-")
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return make_sample(Path(place) / "sample")


def make_sample(folder: Path) -> Path:
    """Write the whole folder, manifest and hashes included but without a verification."""
    (folder / "parts").mkdir(parents=True)
    body, bar = body_in_ski_frame(), rail()
    flat_body, body_to_bed = on_bed(body, turned(30.0) @ OVER)
    flat_rail, rail_to_bed = on_bed(bar, turned(-20.0))
    for name, shape in (("body", flat_body), ("rail", flat_rail)):
        shape.exportStl(str(folder / f"parts/{name}.stl"), SAGITTA, ANGLE, relative=False)
    _write_step(folder / "jig.step", body, bar)
    beds = write_3mf(folder)
    (folder / "preview.png").write_bytes(b"a picture\n")
    manifest = {
        "manifest": 2,
        "versions": {"jiggen": "sample"},
        **ask(folder, HOLES),
        "holes": [
            {"id": i, "group": i[:-2], "x": x, "y": y, "diameter": DRILL, "depth": 9.5}
            for i, (x, y) in HOLES.items()
        ],
        "guides": [
            {
                "id": i,
                "part": "body",
                "bore": BORE,
                "bore_z": [SEAT, TOP - LEAD],
                "throat": THROAT,
                "throat_z": [0.0, NECK],
            }
            for i in HOLES
        ],
        "openings": [
            {
                "name": "seat",
                "part": "body",
                "x": OPENING[0],
                "y": OPENING[1],
                "diameter": OPENING[2],
            }
        ],
        "joint": None,
        "parts": [
            _part("body", body, {"body": np.eye(4)}, body_to_bed),
            _part("rail", bar, RAIL_POSES, rail_to_bed),
        ],
        "hardware": [],
        "beds": beds,
        "verification": None,
        "files": {},
    }
    write_manifest(folder, manifest)
    rehash(folder)
    return folder


PATTERN = """\
format = 1
name = "Sample"
drill = { diameter = { plain = 4.1, metal = 4.1 }, depth = 9.5 }
"""
GROUP = """
[[group]]
name = "{name}"
datum = "boot-centre"
shift = 0
hole = [{holes}]
"""
JOB = {"job": 1, "kind": "trial", "pattern": "pattern.toml", "boots": [305.0, 305.0], "shift": 0.0}


def ask(folder: Path, holes: dict[str, tuple[float, float]]) -> dict[str, Any]:
    """Write what was asked for, a trial plate with `holes`; what the manifest says of it."""
    groups: dict[str, list[str]] = {}
    for name, at in holes.items():
        groups.setdefault(name.rpartition("-")[0], []).append(f"{{ at = {list(at)} }}")
    text = "".join(GROUP.format(name=n, holes=", ".join(found)) for n, found in groups.items())
    (folder / "pattern.toml").write_text(PATTERN + text, encoding="utf-8")
    bed = {"x": 220.0, "y": 220.0, "z": 250.0}
    say_job(folder, JOB | {"core": "plain", "side": "left", "bed": bed})
    how = {"boot": 305.0, "shift": 0.0, "core": "plain", "side": "left", "pair": "same"}
    how["mark"] = "boot-centre"
    files = {"job": "job.toml", "pattern": "pattern.toml", "printer": None}
    inputs = {"pattern": "Sample", **how, "bed": bed, "hole_fit": 0.0, "printer": None}
    return {"kind": "trial", "jig_mark": mark_in(folder), "asked": files, "inputs": inputs}


def mark_in(folder: Path) -> str:
    """The jig mark of what was asked for."""
    names = ("job.toml", "pattern.toml", "printer.toml")
    files = (folder / name for name in names)
    return jig_mark({f.name: f.read_text(encoding="utf-8") for f in files if f.exists()})


def say_job(folder: Path, job: dict[str, Any]) -> None:
    (folder / "job.toml").write_text(toml_text(job), encoding="utf-8")


def _part(name: str, shape: cq.Shape, poses: dict[str, Matrix], to_bed: Matrix) -> dict[str, Any]:
    placed = [
        {"name": piece, "to_ski": (pose @ np.linalg.inv(to_bed)).tolist()}
        for piece, pose in poses.items()
    ]
    return {
        "name": name,
        "kind": "body" if name == "body" else "rail",
        "file": f"parts/{name}.stl",
        "count": len(placed),
        "printed": True,
        "volume": shape.Volume(),
        "to_ski": placed[0]["to_ski"],
        "placed": placed,
    }


def _write_step(path: Path, body: cq.Shape, bar: cq.Shape) -> None:
    assembly = cq.Assembly(name="jig")
    own = body.moved(location(np.linalg.inv(BODY_POSE)))
    assembly.add(own, name="body", loc=location(BODY_POSE))
    for name, pose in RAIL_POSES.items():
        assembly.add(bar, name=name, loc=location(pose))
    assembly.export(str(path))
    # The kernel calls a shared product by its first piece.
    text = path.read_text().replace("PRODUCT('rail left','rail left'", "PRODUCT('rail','rail'")
    path.write_text(text)


FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def read_facets(path: Path) -> NDArray[np.float64]:
    """Corners (m, 3, 3) of a binary STL (80-byte header, count, 50 bytes a facet)."""
    return np.frombuffer(path.read_bytes()[84:], dtype=FACET)["corners"].astype(float)


def write_facets(path: Path, corners: NDArray[np.float64]) -> None:
    facets = np.zeros(len(corners), dtype=FACET)
    facets["corners"] = corners
    path.write_bytes(b"sample".ljust(80) + np.uint32(len(facets)).tobytes() + facets.tobytes())


BED = "bed-1.3mf"
MODEL = "3D/3dmodel.model"
RELATIONSHIPS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Id="r" Target="/{MODEL}" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)


BOTH = (("body", ("body",)), ("rail", tuple(RAIL_POSES)))


def mesh_xml(corners: NDArray[np.float64]) -> str:
    """Vertices and triangles of a 3MF's mesh with `corners` (m, 3, 3)."""
    points, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    vertices = "".join(f'<vertex x="{a:.6f}" y="{b:.6f}" z="{c:.6f}"/>' for a, b, c in points)
    triangles = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in index.reshape(-1, 3)
    )
    return f"<vertices>{vertices}</vertices><triangles>{triangles}</triangles>"


def write_3mf(
    folder: Path, parts: Sequence[tuple[str, Sequence[str]]] = BOTH
) -> list[dict[str, Any]]:
    """The one bed of the folder's STL files, each part's pieces side by side; its rows."""
    objects, items, x = "", "", 3.0
    rows: list[dict[str, Any]] = []
    for number, (name, pieces) in enumerate(parts, start=1):
        corners = read_facets(folder / f"parts/{name}.stl")
        points = corners.reshape(-1, 3)
        objects += (
            f'<object id="{number}" name="{name}" type="model"><mesh>{mesh_xml(corners)}'
            "</mesh></object>"
        )
        low = points[:, :2].min(axis=0)
        for piece in pieces:
            at = [round(float(value), 3) for value in (x - low[0], 3.0 - low[1])]
            items += (
                f'<item objectid="{number}" partnumber="{piece}" '
                f'transform="1 0 0 0 1 0 0 0 1 {at[0]} {at[1]} 0"/>'
            )
            rows.append({"name": piece, "part": name, "x": at[0], "y": at[1]})
            x += float(np.ceil(np.ptp(points[:, 0]))) + 5.0
    model = (
        '<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f"<resources>{objects}</resources><build>{items}</build></model>"
    )
    write_package(folder / BED, model)
    return [{"file": BED, "pieces": rows}]


def write_package(path: Path, model: str) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("[Content_Types].xml", TYPES)
        package.writestr("_rels/.rels", RELATIONSHIPS)
        package.writestr(MODEL, model)


def read_manifest_data(folder: Path) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    return data


def write_manifest(folder: Path, manifest: dict[str, Any]) -> None:
    (folder / "manifest.json").write_text(json.dumps(manifest, indent=1), encoding="utf-8")


def rehash(folder: Path) -> None:
    """Write every file's size and SHA-256 into the manifest anew."""
    manifest = read_manifest_data(folder)
    manifest["files"] = {
        path.relative_to(folder).as_posix(): {
            "bytes": path.stat().st_size,
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        }
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "manifest.json"
    }
    write_manifest(folder, manifest)


def make_small(folder: Path) -> Path:
    """Write the smallest folder that verifies: a plate with one stepped guide, drawn as it lies."""
    (folder / "parts").mkdir(parents=True)
    x, y = 3.0, -2.0
    plate = cq.Workplane().box(24, 18, TOP, centered=(True, True, False)).translate((x, y, 0))
    plate = plate.cut(cq.Workplane().circle(THROAT / 2).extrude(TOP).translate((x, y, 0)))
    plate = plate.cut(cq.Workplane().circle(BORE / 2).extrude(TOP).translate((x, y, SEAT)))
    burr = cq.Solid.makeCone(THROAT / 2 + 1.5, THROAT / 2, 1.5)  # clear of what a drill raises
    plate = plate.cut(burr.translate(cq.Vector(x, y, 0)))
    body: cq.Shape = plate.val()
    body.exportStl(str(folder / "parts/body.stl"), SAGITTA, ANGLE, relative=False)
    cq.Assembly(name="jig").add(body, name="body").export(str(folder / "jig.step"))
    beds = write_3mf(folder, (("body", ("body",)),))
    hole = {"id": "toe-1", "x": x, "y": y}
    (folder / "preview.png").write_text("a picture\n")
    manifest = {
        "manifest": 2,
        **ask(folder, {"toe-1": (x, y)}),
        "beds": beds,
        "holes": [{**hole, "group": "toe", "diameter": DRILL, "depth": 9.5}],
        "guides": [
            {
                "id": "toe-1",
                "part": "body",
                "bore": BORE,
                "bore_z": [SEAT, TOP],
                "throat": THROAT,
                "throat_z": [1.5, SEAT],
            }
        ],
        "parts": [_part("body", body, {"body": np.eye(4)}, np.eye(4))],
        "verification": {"passed": True},
        "files": {},
    }
    write_manifest(folder, manifest)
    rehash(folder)
    return folder
