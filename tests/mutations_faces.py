"""Mutations of surfaces: what the STL has that the STEP lacks, and STEP solids that are none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import step_faults
import trimesh
from faults import box_of, edit_mesh, edit_text
from mutation import Mutation
from verify_samples import FACET, read_manifest_data, write_facets, write_manifest

OFF = (
    "verify.surface",
    "verify.surface-extra",
    "verify.pad",
    "verify.outline",
    "verify.extra",
    "verify.engraving-extra",
    "verify.run-free",
    "verify.teeth",
)
EDGE, OPEN, FACE = "verify.step-edge", "verify.step-open", "verify.step-face"
ROUND = step_faults.is_kind("CYLINDRICAL_SURFACE")


def _file(folder: Path, name: str) -> Path:
    (part,) = (one for one in read_manifest_data(folder)["parts"] if one["name"] == name)
    return folder / str(part["file"])


def _on_face(folder: Path, part: str, size: float, height: float, down: bool = False) -> None:
    """A boss (or, of less height than 0, a pit) in the middle of a part's largest level triangle
    of its upper or lower faces, in its file.
    """
    path = _file(folder, part)
    body = trimesh.load_mesh(path)
    facing = body.face_normals[:, 2] * (-1 if down else 1) > 0.999
    largest = int(np.argmax(np.where(facing, body.area_faces, 0.0)))
    x, y, z = body.triangles_center[largest]
    out = -1.0 if down else 1.0
    # A bump begins a little inside the part, what cuts a pit well outside.
    ends = sorted((z + out * height, z - out * (0.05 if height > 0 else -0.5)))
    tool = box_of((x - size / 2, x + size / 2), (y - size / 2, y + size / 2), (ends[0], ends[1]))
    combine = trimesh.boolean.union if height > 0 else trimesh.boolean.difference
    write_facets(path, np.asarray(combine([body, tool], engine="manifold").triangles))


def _normals(folder: Path, part: str, change: Callable[[np.ndarray], np.ndarray]) -> None:
    """Change the normals stored in a part's STL, its winding left right."""
    path = _file(folder, part)
    data = path.read_bytes()
    facets = np.frombuffer(data[84:], dtype=FACET).copy()
    facets["normal"] = change(facets["normal"].copy())
    path.write_bytes(data[:84] + facets.tobytes())


def _one_turned(normals: np.ndarray) -> np.ndarray:
    normals[len(normals) // 2] *= -1
    return normals


def _step(change: Callable[[str], str]) -> Callable[[Path], None]:
    return lambda folder: edit_text(folder, "jig.step", change)


def _without_one(text: str, product: str, chosen: Callable[..., bool]) -> str:
    taken: list[int] = []

    def first(found: step_faults.Statements, face: int) -> bool:
        if not taken and chosen(found, face):
            taken.append(face)
        return taken == [face]

    return step_faults.without_faces(text, product, first)


def _other_rails_place(folder: Path) -> None:
    data = read_manifest_data(folder)
    (rail,) = (part for part in data["parts"] if part["name"] == "rail")
    rail["to_ski"] = rail["placed"][1]["to_ski"]
    write_manifest(folder, data)


def _coarse(folder: Path) -> None:
    """Every other corner round the knob pulled in, as if its facets were far larger."""

    def pulled(points: np.ndarray) -> np.ndarray:
        points = points.copy()
        axis = (points.min(axis=0) + points.max(axis=0))[:2] / 2
        away = points[:, :2] - axis
        odd = np.floor(np.degrees(np.arctan2(away[:, 1], away[:, 0])) / 2).astype(int) % 2 == 1
        points[odd, :2] -= 0.1 * away[odd] / np.linalg.norm(away[odd], axis=1, keepdims=True)
        return points

    edit_mesh(folder, "knob", pulled)


MUTATIONS = [
    Mutation(
        "one level face taken out of a body's shell",
        "STEP",
        _step(lambda text: _without_one(text, "body-toe", step_faults.is_level)),
        (OPEN,),
    ),
    Mutation(
        "one round face taken out of the knob's shell",
        "STEP",
        _step(lambda text: _without_one(text, "knob", ROUND)),
        (OPEN,),
    ),
    Mutation(
        "all side faces taken out of a body's shell",
        "STEP",
        _step(lambda text: step_faults.without_faces(text, "body-heel", step_faults.is_side)),
        (OPEN,),
    ),
    *(
        Mutation(
            f"a level plane of {product} moved {by:g} mm under its edges",
            "STEP",
            _step(
                lambda text, product=product, by=by: step_faults.moved_surface(
                    text, product, step_faults.is_level, (0, 0, by)
                )
            ),
            (EDGE,),
        )
        for product, by in (("body-toe", 2.0), ("body-heel", 0.01), ("rail", -0.05))
    ),
    Mutation(
        "an upright plane of the rail moved 0.1 mm under its edges",
        "STEP",
        _step(
            lambda text: step_faults.moved_surface(text, "rail", step_faults.is_side, (0.1, 0.1, 0))
        ),
        (EDGE,),
    ),
    *(
        Mutation(
            f"splines of the knob bent {by:g} mm between their ends",
            "STEP",
            _step(lambda text, by=by: step_faults.bent_splines(text, "knob", by)),
            (EDGE,),
        )
        for by in (0.4, 0.02)
    ),
    *(
        Mutation(
            f"a {keyword.split('_')[0].lower()} of {product} 0.05 mm wider than its neighbours",
            "STEP",
            _step(
                lambda text, product=product, keyword=keyword: step_faults.widened(
                    text, product, keyword, 0.05
                )
            ),
            (EDGE,),
        )
        for product, keyword in (("knob", "CYLINDRICAL_SURFACE"), ("knob", "CIRCLE"))
    ),
    *(
        Mutation(
            f"the sense of a {name} face of {product} turned",
            "STEP",
            _step(
                lambda text, product=product, chosen=chosen: step_faults.turned_face(
                    text, product, chosen
                )
            ),
            (FACE,),
        )
        for product, name, chosen in (
            ("body-toe", "flat", step_faults.is_level),
            ("knob", "round", ROUND),
        )
    ),
    Mutation(
        "an edge run through the wrong way by one face",
        "STEP",
        _step(lambda text: step_faults.turned_edge(text, "rail")),
        (OPEN, "verify.step-loop"),
    ),
    Mutation(
        "a surface of a kind that is not understood",
        "STEP",
        _step(lambda text: text.replace("CONICAL_SURFACE(", "SURFACE_OF_REVOLUTION(", 1)),
        ("verify.step-strange",),
    ),
    *(
        Mutation(
            f"a {'bump' if height > 0 else 'pit'} of {abs(height):g} mm on {part}'s "
            f"{'lower' if down else 'upper'} face",
            "STL",
            lambda folder, part=part, height=height, down=down: _on_face(
                folder, part, 0.8, height, down
            ),
            OFF,
        )
        for part, height, down in (
            ("body-toe", 0.3, False),
            ("body-toe", 1.5, True),
            ("body-heel", -0.1, False),
            ("body-heel", -0.03, True),
            ("rail", 0.5, False),
            ("rail", -0.1, True),
            ("knob", 0.3, False),
            ("pinion", 0.1, False),
        )
    ),
    Mutation(
        "the knob drawn with corners pulled in by 0.1 mm",
        "STL",
        _coarse,
        (*OFF, "verify.coarse", "verify.shape"),
    ),
    Mutation(
        "the sides' places exchanged in the record of a rail",
        "record",
        _other_rails_place,
        ("verify.pose",),
    ),
    Mutation(
        "stored normals reversed",
        "STL",
        lambda folder: _normals(folder, "body-toe", lambda normals: -normals),
        ("verify.normals",),
    ),
    Mutation(
        "one stored normal reversed",
        "STL",
        lambda folder: _normals(folder, "rail", _one_turned),
        ("verify.normals",),
    ),
    Mutation(
        "stored normals with their coordinates exchanged",
        "STL",
        lambda folder: _normals(folder, "knob", lambda normals: normals[:, ::-1]),
        ("verify.normals",),
    ),
]
