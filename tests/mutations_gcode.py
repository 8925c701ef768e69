"""Mutations of G-code: what was done wrong between a good folder and the printer.

Written as slicing programs do, by ``gcode_writing``, without one; on what one writes:
``python tests/bench/toolpath.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from gcode_writing import written
from mutation import TOOLPATHS, Kind, Mutation
from mutations_engraving import rewritten
from verify_samples import read_manifest_data

from jiggen.verify.reading.mesh import Mesh, read_stl

Way = Callable[[Path], object]
PLACE = (2.0, 60.0)  # of the body's corner on the bed, mm
QUARTER = np.array([[0.0, -1.0], [1.0, 0.0]])
CATCH = 4.5  # mm from a hole's axis: its wall, and nothing else


def mesh_of(folder: Path, part: str = "body-toe") -> Mesh:
    return read_stl(folder / f"parts/{part}.stl")


def sliced(
    change: Callable[[Path], object] = lambda folder: None,
    *,
    part: str = "body-toe",
    named: str = "part",
    mesh: Callable[[Path], Mesh] | None = None,
    edit: Callable[[str], str] = str,
    place: tuple[float, float] = PLACE,
    **how: object,
) -> Way:
    """Write the G-code of a part, after a `change` of the folder, or of another `mesh`."""

    def write(folder: Path) -> None:
        change(folder)
        used = mesh(folder) if mesh else mesh_of(folder, part)
        (folder / TOOLPATHS).mkdir()
        text = edit(written([(part, used, place)], **how))
        (folder / TOOLPATHS / f"{named}.gcode").write_text(text)

    return write


def by_hole(hole: str, change: Callable[[Mesh, np.ndarray], Mesh]) -> Callable[[Path], Mesh]:
    """The toe's body, changed around the axis of a hole, given in the part's own file."""

    def make(folder: Path) -> Mesh:
        data, mesh = read_manifest_data(folder), mesh_of(folder)
        at = next(entry for entry in data["holes"] if entry["id"] == hole)
        to_ski = next(part["to_ski"] for part in data["parts"] if part["name"] == "body-toe")
        axis = (np.linalg.inv(to_ski) @ (at["x"], at["y"], 0.0, 1.0))[:2]
        return change(mesh, axis)

    return make


def moved(mesh: Mesh, axis: np.ndarray) -> Mesh:
    """The walls around an axis 0.05 mm aside."""
    vertices = mesh.vertices.copy()
    vertices[np.hypot(*(vertices[:, :2] - axis).T) < CATCH, 0] += 0.05
    return Mesh(vertices, mesh.triangles)


def filled(mesh: Mesh, axis: np.ndarray) -> Mesh:
    """The hole's wall shrunk to a wire, that no slicing program lays."""
    vertices = mesh.vertices.copy()
    near = np.hypot(*(vertices[:, :2] - axis).T) < CATCH
    vertices[near, :2] = axis + (vertices[near, :2] - axis) * 0.01
    return Mesh(vertices, mesh.triangles)


def stretched(folder: Path) -> Mesh:
    """The body of another jig: 10 mm longer from its middle on, as for another boot."""
    mesh = mesh_of(folder)
    vertices = mesh.vertices.copy()
    vertices[vertices[:, 0] > vertices[:, 0].mean(), 0] += 10.0
    return Mesh(vertices, mesh.triangles)


def another_label(folder: Path) -> Mesh:
    """The body with another boot's label; the folder keeps its own."""
    kept = (folder / "parts/body-toe.stl").read_bytes()
    rewritten(folder, "BOOT 295")
    mesh = mesh_of(folder)
    (folder / "parts/body-toe.stl").write_bytes(kept)
    return mesh


def knob_thrice(folder: Path) -> None:
    sliced(part="knob")(folder)
    text = (folder / TOOLPATHS / "part.gcode").read_text()
    for number in range(2):
        (folder / TOOLPATHS / f"again-{number}.gcode").write_text(text)


def bed_lacks_a_piece(folder: Path) -> None:
    """A file named after the second bed, with one pinion of two left out."""
    data = read_manifest_data(folder)
    bed = data["beds"][1]
    (folder / TOOLPATHS).mkdir()
    pieces = [
        (piece["part"], mesh_of(folder, piece["part"]), (piece["x"], piece["y"]))
        for piece in bed["pieces"]
    ][:-1]
    text = written(pieces).replace("30%", "100%")
    (folder / TOOLPATHS / f"{Path(bed['file']).stem}.gcode").write_text(text)


def without_layers(text: str) -> str:
    """The G-code of a print that ends ten layers too early."""
    kept = text.rsplit(";LAYER_CHANGE", 10)
    return kept[0]


def _row(name: str, apply: Way, *codes: str, product: Kind = "jig") -> Mutation:
    caught_by = tuple(f"verify.gcode-{code}" for code in codes)
    return Mutation(name, "gcode", apply, caught_by, product, hashes=False)


MUTATIONS = [
    _row("scaled by 0.5 %", sliced(made=1.005 * np.eye(2)), "scale"),
    _row("0.3 % longer in x", sliced(made=np.diag([1.003, 1.0])), "scale"),
    _row("mirrored", sliced(made=np.diag([1.0, -1.0]), place=(2.0, 140.0)), "mirrored"),
    _row(
        "turned, made for a printer",
        sliced(made=QUARTER, place=(140.0, 5.0)),
        "turned",
        product="printer",
    ),
    _row("off the bed", sliced(place=(30.0, 60.0)), "off-bed"),
    _row("a part named after a bed", sliced(part="knob", named="bed-2"), "other-bed"),
    _row("a bed without one piece", bed_lacks_a_piece, "other-bed"),
    _row("more knobs than are needed", knob_thrice, "count"),
    _row("10 mm longer, of another jig", sliced(mesh=stretched), "part", "outline"),
    _row("another label, of another jig", sliced(mesh=another_label), "outline"),
    _row("size compensation -0.1 mm", sliced(grown=-0.1), "diameter"),
    _row("size compensation -0.1 mm, no holes", sliced(part="knob", grown=-0.1), "offset"),
    _row("hole toe-3 moved 0.05 mm", sliced(mesh=by_hole("toe-3", moved)), "hole"),
    _row("hole toe-3 filled", sliced(mesh=by_hole("toe-3", filled)), "hole-missing"),
    _row("ten layers too few", sliced(part="knob", edit=without_layers), "height"),
    _row("layers of 0.3 mm", sliced(part="knob", layer=0.3), "layer"),
    *(
        _row(
            name,
            sliced(part="knob", edit=lambda text, old=old, new=new: text.replace(old, new)),
            code,
        )
        for name, old, new, code in (
            ("two walls", "perimeters = 4", "perimeters = 2", "walls"),
            ("infill of 10 %", "30%", "10%", "infill"),
            ("three skins", "_layers = 5", "_layers = 3", "skins"),
            ("sliced for PLA", "PETG", "PLA", "material"),
            ("compensation stated", "compensation = 0", "compensation = -0.1", "compensation"),
            ("support", ";TYPE:Perimeter", ";TYPE:Support material", "support"),
        )
    ),
]
