"""Mutations of whole parts: STEP text, meshes, pieces exchanged, the folder's files."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import faults
import numpy as np
import trimesh
from mutation import Mutation
from verify_samples import read_facets, read_manifest_data, write_facets

BODY = "body-toe"
SHAPE, MISSING, EXTRA = "verify.shape", "verify.missing", "verify.extra"
UNREADABLE = "verify.unreadable"


def _step(change: Callable[[str], str]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        text = (folder / "jig.step").read_text(encoding="utf-8")
        changed = change(text)
        assert changed != text, "nothing was changed"
        (folder / "jig.step").write_text(changed, encoding="utf-8")

    return apply


def _unit(text: str) -> str:
    return text.replace("SI_UNIT(.MILLI.,.METRE.)", "SI_UNIT($,.METRE.)")


def _duplicate(text: str) -> str:
    first = re.search(r"#(\d+) ?= ?CARTESIAN_POINT\([^;]*;", text)
    assert first
    return text.replace(
        "ENDSEC;\nEND-ISO", f"#{first[1]}=CARTESIAN_POINT('',(1.,2.,3.));\nENDSEC;\nEND-ISO"
    )


def _second_data(text: str) -> str:
    return text.replace("END-ISO-10303-21;", "DATA;\nENDSEC;\nEND-ISO-10303-21;")


def _exchanged(one: str, other: str) -> Callable[[str], str]:
    """Exchange the names of two placed pieces, so that each has the other's place."""

    def change(text: str) -> str:
        usage = "NEXT_ASSEMBLY_USAGE_OCCURRENCE"
        first, second = (re.compile(rf"({usage}\('[^']*','){name}(')") for name in (one, other))
        text = first.sub(r"\g<1>\0aside\g<2>", text)
        text = second.sub(rf"\g<1>{one}\g<2>", text)
        return text.replace("\0aside", other)

    return change


def _onto_the_rim(folder: Path) -> None:
    """Move a body 4 mm to the left, in the 3MF and in the record."""
    piece = read_manifest_data(folder)["beds"][0]["pieces"][0]
    faults.edit_3mf(
        folder,
        lambda text: re.sub(
            rf'(partnumber="{piece["name"]}" transform="1 0 0 0 1 0 0 0 1) \S+',
            rf"\g<1> {piece['x'] - 4.0:.10g}",
            text,
        ),
    )
    faults.edit_manifest(
        folder, lambda data: data["beds"][0]["pieces"][0].update(x=piece["x"] - 4.0)
    )


def _mesh(part: str, change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Path], None]:
    return lambda folder: faults.edit_mesh(folder, part, change)


def _facets(part: str, change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        path = folder / f"parts/{part}.stl"
        write_facets(path, change(read_facets(path)))

    return apply


def _flip_one(corners: np.ndarray) -> np.ndarray:
    corners = corners.copy()
    corners[0] = corners[0, ::-1]
    return corners


def _with(
    part: str, solid: Callable[[], trimesh.Trimesh], inside: bool = False
) -> Callable[[Path], None]:
    """Facets of a solid in the frame of the part's file put beside its own."""

    def change(corners: np.ndarray) -> np.ndarray:
        more = np.asarray(solid().triangles)
        return np.concatenate([corners, more[:, ::-1] if inside else more])

    return _facets(part, change)


def _cube(at: tuple[float, float, float], size: float) -> trimesh.Trimesh:
    box = trimesh.creation.box((size, size, size))
    box.apply_translation(at)
    return box


def _ascii(folder: Path) -> None:
    path = folder / f"parts/{BODY}.stl"
    path.write_text(str(trimesh.exchange.stl.export_stl_ascii(trimesh.load_mesh(path))))


def _banana(points: np.ndarray) -> np.ndarray:
    points = points.copy()
    x = points[:, 0] - points[:, 0].mean()
    points[:, 2] += (x / np.abs(x).max()) ** 2
    return points


def _shorter(points: np.ndarray) -> np.ndarray:
    points = points.copy()
    far = points[:, 1] > points[:, 1].max() - 1.0
    points[far, 1] -= 0.3
    return points


def _cut(part: str, *bounds: tuple[float, float]) -> Callable[[Path], None]:
    return lambda folder: faults.boolean(folder, part, faults.box_of(*bounds), "drill", True)


def _hole_at_foot(folder: Path) -> None:
    entry = next(one for one in read_manifest_data(folder)["guides"] if one["id"] == "toe-1")
    top = entry["throat_z"][1]

    def change(points: np.ndarray) -> np.ndarray:
        (hole,) = (one for one in read_manifest_data(folder)["holes"] if one["id"] == "toe-1")
        points = points.copy()
        away = np.linalg.norm(points[:, :2] - (hole["x"], hole["y"]), axis=1)
        points[(away < entry["bore"] / 2 + 0.7) & (points[:, 2] < top - 0.01), 0] += 0.15
        return points

    faults.edit_mesh(folder, BODY, change)


def _link(folder: Path) -> None:
    (folder / "parts").rename(folder.parent / "elsewhere")
    (folder / "parts").symlink_to(folder.parent / "elsewhere")


def _copy(target: str) -> Callable[[Path], None]:
    return lambda folder: shutil.copy(folder / f"parts/{BODY}.stl", folder / target) and None


def _manifest(change: Callable[[dict], None]) -> Callable[[Path], None]:
    return lambda folder: faults.edit_manifest(folder, change)


def _forget_hole(data: dict) -> None:
    for kind in ("holes", "guides"):
        data[kind] = [one for one in data[kind] if one["id"] != "toe-5"]


def _row(data: dict, kind: str, name: str) -> dict:
    (row,) = (one for one in data[kind] if one["id"] == name)
    return row


MUTATIONS = [
    # -- STEP
    Mutation("unit metre", "STEP", _step(_unit), ("verify.unit", UNREADABLE)),
    Mutation("an entity's number twice", "STEP", _step(_duplicate), (UNREADABLE,)),
    Mutation("a second DATA section", "STEP", _step(_second_data), (UNREADABLE,)),
    Mutation("cut short", "STEP", _step(lambda text: text[: len(text) // 2]), (UNREADABLE,)),
    Mutation(
        "rails of a station exchanged",
        "STEP",
        _step(_exchanged("rail toe left", "rail toe right")),
        (SHAPE, "verify.piece-missing"),
    ),
    Mutation(
        "bodies exchanged",
        "STEP",
        _step(_exchanged("body-toe", "body-heel")),
        ("verify.swapped", SHAPE, MISSING),
    ),
    Mutation(
        "a hole moved 0.3 mm",
        "STEP",
        lambda folder: faults.move_hole_in_step(folder, "toe-1", 0.3, 0.0, np.eye(4)),
        ("verify.moved",),
    ),
    Mutation(
        "bores 0.1 mm narrower",
        "STEP",
        lambda folder: faults.shrink_bores_in_step(
            folder, BODY, read_manifest_data(folder)["guides"][0]["bore"], 0.1
        ),
        ("verify.diameter",),
    ),
    # -- STL
    Mutation("text instead of binary", "STL", _ascii, (UNREADABLE,)),
    Mutation("inside out", "STL", _facets(BODY, lambda c: c[:, ::-1]), ("verify.winding",)),
    Mutation("one triangle turned", "STL", _facets(BODY, _flip_one), ("verify.winding",)),
    Mutation("a triangle left out", "STL", _facets(BODY, lambda c: c[1:]), ("verify.open-mesh",)),
    Mutation(
        "its shell twice",
        "STL",
        _facets(BODY, lambda c: np.concatenate([c, c])),
        ("verify.open-mesh", "verify.volume"),
    ),
    Mutation(
        "an island of 0.5 mm in the air",
        "STL",
        _with(BODY, lambda: _cube((-5.0, -5.0, 5.0), 0.5)),
        ("verify.bodies",),
    ),
    Mutation(
        "a closed hollow of 4 mm",
        "STL",
        _with(BODY, lambda: _cube((60.0, 34.0, 7.0), 4.0), inside=True),
        ("verify.bodies", "verify.volume", "verify.surface"),
    ),
    Mutation(
        "moved 5 mm in its file",
        "STL",
        _facets(BODY, lambda c: c + np.array((5.0, 0.0, 0.0))),
        (MISSING, "verify.moved", SHAPE),
    ),
    Mutation("a rail 0.3 mm shorter", "STL", _mesh("rail", _shorter), (SHAPE,)),
    Mutation("bent like a banana by 1 mm", "STL", _mesh(BODY, _banana), (SHAPE,)),
    Mutation(
        "body 1 mm higher on the bed",
        "STL",
        _facets(BODY, lambda c: c + np.array((0.0, 0.0, 1.0))),
        ("verify.base", "verify.print-first-layer", SHAPE),
    ),
    Mutation(
        "upside down",
        "STL",
        lambda folder: faults.turn_over(folder, BODY),
        ("verify.print-overhang", "verify.print-first-layer", SHAPE),
    ),
    Mutation(
        "two parts exchanged",
        "STL",
        lambda folder: faults.swap_parts(folder, "body-toe", "body-heel"),
        ("verify.swapped",),
    ),
    Mutation("a hole filled", "STL", lambda folder: faults.fill_hole(folder, "toe-1"), (MISSING,)),
    Mutation(
        "a hole's throat filled",
        "STL",
        lambda folder: faults.fill_hole(folder, "toe-1", (0.0, 2.0)),
        ("verify.blocked", MISSING, "verify.height"),
    ),
    Mutation(
        "a round hole more",
        "STL",
        lambda folder: faults.drill_extra(folder, BODY, 137.0, 5.0, 3.6),
        (EXTRA,),
    ),
    Mutation("a hole's foot 0.15 mm off", "STL", _hole_at_foot, ("verify.moved",)),
    Mutation(
        "a bore 0.1 mm narrower",
        "STL",
        lambda folder: faults.shrink_bore(folder, "toe-1", 0.1),
        ("verify.diameter",),
    ),
    Mutation(
        "a slot through the body's edge",
        "STL",
        _cut(BODY, (137.0, 140.0), (25.0, 50.0), (-1.0, 20.0)),
        ("verify.volume", "verify.surface", SHAPE),
    ),
    # -- record
    Mutation(
        "all holes 1 mm on",
        "record",
        _manifest(lambda d: [one.update(x=one["x"] + 1.0) for one in d["holes"]] and None),
        ("verify.moved",),
    ),
    Mutation("a hole forgotten", "record", _manifest(_forget_hole), (EXTRA,)),
    Mutation(
        "drill wider than its guide",
        "record",
        _manifest(lambda d: _row(d, "holes", "toe-1").update(diameter=8.0)),
        ("verify.narrow",),
    ),
    Mutation(
        "another format", "record", _manifest(lambda d: d.update(manifest=1)), ("verify.manifest",)
    ),
    Mutation(
        "a part's place sheared",
        "record",
        lambda folder: faults.set_to_ski(
            folder, BODY, lambda m: m + 1e-4 * np.eye(4, k=1) * [[1], [0], [0], [0]]
        ),
        ("verify.not-rigid",),
    ),
    Mutation(
        "a volume 1 % larger",
        "record",
        _manifest(lambda d: d["parts"][0].update(volume=d["parts"][0]["volume"] * 1.01)),
        ("verify.volume",),
    ),
    Mutation(
        "a piece of a bed elsewhere",
        "record",
        _manifest(lambda d: d["beds"][0]["pieces"][0].update(x=d["beds"][0]["pieces"][0]["x"] + 1)),
        ("verify.place",),
    ),
    Mutation("a piece moved onto the bed's rim", "3MF", _onto_the_rim, ("verify.rim",)),
    Mutation(
        "a smaller printer",
        "record",
        _manifest(lambda d: d["inputs"]["bed"].update(x=120.0)),
        ("verify.off-bed", "verify.print-size"),
    ),
    # -- folder
    Mutation(
        "one more STL", "folder", _copy("parts/body (1).stl"), ("verify.unlisted",), hashes=False
    ),
    Mutation("parts are a link to another place", "folder", _link, (UNREADABLE,), hashes=False),
    Mutation(
        "an STL deleted",
        "folder",
        lambda folder: (folder / f"parts/{BODY}.stl").unlink(),
        ("verify.file-missing",),
        hashes=False,
    ),
    Mutation(
        "a bed deleted",
        "folder",
        lambda folder: (folder / "bed-1.3mf").unlink(),
        ("verify.file-missing",),
        hashes=False,
    ),
    Mutation(
        "a byte of a file changed",
        "folder",
        lambda folder: (
            (folder / "layout.svg").write_bytes((folder / "layout.svg").read_bytes() + b" ")
            and None
        ),
        ("verify.hash",),
        hashes=False,
    ),
]
