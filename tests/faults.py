"""Faults seeded into a built folder by editing its written files, never the model.

Each takes the folder, and rewrites the hashes in its manifest unless told not to, so that it is
the geometry that fails.  Positions and diameters in the ski frame, mm.
"""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray
from verify_samples import (
    BED,
    MODEL,
    read_facets,
    read_manifest_data,
    rehash,
    write_facets,
    write_manifest,
)

Array = NDArray[np.float64]
AROUND = 0.7  # mm beyond a bore that its lead-in reaches
NEAR = 0.02  # mm: vertices this near a bore's wall are the bore's


def _guide(folder: Path, hole: str) -> tuple[dict[str, Any], dict[str, Any]]:
    manifest = read_manifest_data(folder)
    (place,) = (entry for entry in manifest["holes"] if entry["id"] == hole)
    (guide,) = (entry for entry in manifest["guides"] if entry["id"] == hole)
    return place, guide


def _part(folder: Path, name: str) -> dict[str, Any]:
    (part,) = (entry for entry in read_manifest_data(folder)["parts"] if entry["name"] == name)
    return dict(part)


def edit_mesh(
    folder: Path, part: str, change: Callable[[Array], Array], *, hashes: bool = True
) -> None:
    """Replace a part's STL by `change` of its corners (n, 3) in the ski frame."""
    entry = _part(folder, part)
    path = folder / entry["file"]
    matrix = np.array(entry["to_ski"])
    back = np.linalg.inv(matrix)
    corners = read_facets(path).reshape(-1, 3)
    moved = change(corners @ matrix[:3, :3].T + matrix[:3, 3])
    # Only what was changed: the rest keeps its bytes.
    changed = np.abs(moved - (corners @ matrix[:3, :3].T + matrix[:3, 3])).max(axis=1) > 0
    corners[changed] = moved[changed] @ back[:3, :3].T + back[:3, 3]
    write_facets(path, corners.reshape(-1, 3, 3))
    _done(folder, hashes)


def _done(folder: Path, hashes: bool) -> None:
    if hashes:
        rehash(folder)


def move_hole(
    folder: Path, hole: str, dx: float, dy: float = 0.0, *, lean: float = 0.0, hashes: bool = True
) -> None:
    """Shift a hole in its STL by (dx, dy); with `lean`, also along x by that per mm of height."""
    place, guide = _guide(folder, hole)
    reach = guide["bore"] / 2 + AROUND

    def change(points: Array) -> Array:
        near = np.hypot(points[:, 0] - place["x"], points[:, 1] - place["y"]) <= reach
        points = points.copy()
        points[near, 0] += dx + lean * points[near, 2]
        points[near, 1] += dy
        return points

    edit_mesh(folder, guide["part"], change, hashes=hashes)


def shrink_bore(folder: Path, hole: str, less: float, *, hashes: bool = True) -> None:
    """Make a hole's bore `less` mm narrower in diameter in its STL."""
    place, guide = _guide(folder, hole)
    radius, (low, high) = guide["bore"] / 2, guide["bore_z"]

    def change(points: Array) -> Array:
        away = points[:, :2] - (place["x"], place["y"])
        wall = np.abs(np.linalg.norm(away, axis=1) - radius) <= NEAR
        wall &= (points[:, 2] >= low - NEAR) & (points[:, 2] <= high + NEAR)
        points = points.copy()
        points[wall, :2] -= away[wall] * (less / 2 / radius)
        return points

    edit_mesh(folder, guide["part"], change, hashes=hashes)


def mirror_part(folder: Path, part: str, axis: int = 0, *, hashes: bool = True) -> None:
    """Mirror a part's STL within its own box, still wound outwards."""
    path = folder / _part(folder, part)["file"]
    corners = read_facets(path)
    low, high = corners[..., axis].min(), corners[..., axis].max()
    corners[..., axis] = low + high - corners[..., axis]
    write_facets(path, corners[:, ::-1])
    _done(folder, hashes)


def scale_part(folder: Path, part: str, factor: float, *, hashes: bool = True) -> None:
    """Scale a part's STL about its file's origin."""
    path = folder / _part(folder, part)["file"]
    write_facets(path, read_facets(path) * factor)
    _done(folder, hashes)


def open_mesh(folder: Path, part: str, *, hashes: bool = True) -> None:
    """Leave one triangle out of a part's STL."""
    path = folder / _part(folder, part)["file"]
    write_facets(path, read_facets(path)[1:])
    _done(folder, hashes)


def swap_parts(folder: Path, one: str, other: str, *, hashes: bool = True) -> None:
    """Exchange the STL files of two parts."""
    first, second = (folder / _part(folder, name)["file"] for name in (one, other))
    aside = first.with_suffix(".aside")
    shutil.move(first, aside)
    shutil.move(second, first)
    shutil.move(aside, second)
    _done(folder, hashes)


def boolean(folder: Path, part: str, tool: trimesh.Trimesh, how: str, hashes: bool) -> None:
    entry = _part(folder, part)
    path = folder / entry["file"]
    body = trimesh.load_mesh(path)
    tool.apply_transform(np.linalg.inv(entry["to_ski"]))
    combine = {"fill": trimesh.boolean.union, "drill": trimesh.boolean.difference}[how]
    write_facets(path, np.asarray(combine([body, tool], engine="manifold").triangles))
    _done(folder, hashes)


def turn_over(folder: Path, part: str, *, hashes: bool = True) -> None:
    """Lay a part on its other side, upside down, in use where it was."""
    path = folder / _part(folder, part)["file"]
    corners = read_facets(path)
    over = np.diag((1.0, -1.0, -1.0, 1.0))
    over[1:3, 3] = corners[..., 1:].max(axis=(0, 1))
    write_facets(path, corners @ over[:3, :3].T + over[:3, 3])

    def edit(manifest: dict[str, Any]) -> None:
        (entry,) = (entry for entry in manifest["parts"] if entry["name"] == part)
        for pose in (entry, *entry["placed"]):
            pose["to_ski"] = (np.array(pose["to_ski"]) @ np.linalg.inv(over)).tolist()

    edit_manifest(folder, edit)
    _done(folder, hashes)


def add_solid(folder: Path, part: str, solid: trimesh.Trimesh, *, hashes: bool = True) -> None:
    """Join a solid, given in the frame of the part's file, to a part's STL."""
    path = folder / _part(folder, part)["file"]
    body = trimesh.load_mesh(path)
    joined = trimesh.boolean.union([body, solid], engine="manifold")
    write_facets(path, np.asarray(joined.triangles))
    _done(folder, hashes)


def _plug(x: float, y: float, diameter: float, low: float, high: float) -> trimesh.Trimesh:
    plug = trimesh.creation.cylinder(diameter / 2, height=high - low, sections=96)
    plug.apply_translation((x, y, (low + high) / 2))
    return plug


def fill_hole(
    folder: Path,
    hole: str,
    heights: tuple[float, float] | None = None,
    *,
    hashes: bool = True,
) -> None:
    """Plug a hole in its STL, over all of it or between two heights only (a skin)."""
    place, guide = _guide(folder, hole)
    low, high = heights or (guide["throat_z"][0], guide["bore_z"][1])
    plug = _plug(place["x"], place["y"], guide["bore"] + 0.1, low, high)
    boolean(folder, guide["part"], plug, "fill", hashes)


def drill_extra(
    folder: Path, part: str, x: float, y: float, diameter: float, *, hashes: bool = True
) -> None:
    """Drill one more hole through a part's STL."""
    boolean(folder, part, _plug(x, y, diameter, -5.0, 60.0), "drill", hashes)


def _row(folder: Path, part: str, name: str) -> dict[str, Any]:
    (ladder,) = (one for one in read_manifest_data(folder)["ladders"] if one["part"] == part)
    (row,) = (one for one in ladder["rows"] if one["name"] == name)
    return dict(row)


def _line_x(row: dict[str, Any], value: float) -> float:
    (x,) = (line["x"] for line in row["lines"] if line["first"] <= value <= line["last"])
    return float(x)


REACH, RIM = 3.0, 0.4  # mm, of a flare, and of the upright part at its foot


def _inwards(row: dict[str, Any]) -> float:
    return 1.0 if row["y"] > row["foot"] else -1.0


def _near_line(row: dict[str, Any], value: float, points: Array) -> NDArray[np.bool_]:
    """Which points (n, 3) in the ski frame belong to a short line's groove."""
    x, y, z = points.T
    depth = (y - row["foot"]) * _inwards(row)
    near = np.abs(x - _line_x(row, value)) <= 0.31
    return np.asarray(near & (depth > -0.01) & (depth < REACH + 0.5) & (z < row["end"] + 5.0))


def move_line(folder: Path, part: str, name: str, value: float, dx: float) -> None:
    """Shift a short line of a ladder's row `name` by `dx` in its STL."""
    row = _row(folder, part, name)

    def change(points: Array) -> Array:
        points = points.copy()
        points[_near_line(row, value, points), 0] += dx
        return points

    edit_mesh(folder, part, change)


def move_line_in_step(folder: Path, part: str, name: str, value: float, dx: float) -> None:
    """Shift a short line of a ladder's row `name` by `dx` in the STEP (bodies lie as in use)."""
    row = _row(folder, part, name)

    def change(statement: str) -> str:
        def shifted(match: re.Match[str]) -> str:
            point = np.array([float(word) for word in match[2].split(",")])
            if not _near_line(row, value, point[None])[0]:
                return match[0]
            point[0] += dx
            return match[1] + ",".join(f"{number:.12f}" for number in point) + match[3]

        return POINT.sub(shifted, statement)

    edit_step_part(folder, part, change)


def box_of(
    x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]
) -> trimesh.Trimesh:
    box = trimesh.creation.box(bounds=np.column_stack([x, y, z]).astype(float))
    assert isinstance(box, trimesh.Trimesh)
    return box


def erase_line(folder: Path, part: str, name: str, value: float, upto: float = REACH + RIM) -> None:
    """Fill a short line of a ladder in its STL, level with the flare, `upto` mm from its end."""
    row = _row(folder, part, name)
    x, end, slope = _line_x(row, value), row["end"], max(upto - RIM, 0.0)
    profile = [(0.0, 0.0), (0.0, min(RIM, upto)), (slope, upto), (REACH + 0.5, upto)]
    corners = [
        (at, row["foot"] + _inwards(row) * depth, end + z)
        for at in (x - 0.4, x + 0.4)
        for depth, z in (*profile, (REACH + 0.5, 0.0))
    ]
    plug = trimesh.convex.convex_hull(np.array(corners))
    boolean(folder, part, plug, "fill", True)


def mirror_row(folder: Path, part: str, name: str) -> None:
    """Mirror a row of a ladder, numbers and all, about its middle in its STL."""
    row, entry = _row(folder, part, name), _part(folder, part)
    xs = [line["x"] for line in row["lines"]]
    middle = (min(xs) + max(xs)) / 2
    ys = sorted((row["foot"] - _inwards(row), *row["numbers"]))
    matrix = np.array(entry["to_ski"])
    body = trimesh.load_mesh(folder / entry["file"])
    body.apply_transform(matrix)
    block = box_of((min(xs) - 1.8, max(xs) + 1.8), (ys[0], ys[-1]), (-1.0, row["floor"] + 0.6))
    engraved = trimesh.boolean.difference([block, body], engine="manifold")
    flip = np.diag((-1.0, 1.0, 1.0, 1.0))
    flip[0, 3] = 2 * middle
    engraved.apply_transform(flip)
    filled = trimesh.boolean.union([body, block], engine="manifold")
    harmed = trimesh.boolean.difference([filled, engraved], engine="manifold")
    harmed.apply_transform(np.linalg.inv(matrix))
    write_facets(folder / entry["file"], np.asarray(harmed.triangles))
    _done(folder, True)


def edit_manifest(folder: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Change the manifest's data in place."""
    manifest = read_manifest_data(folder)
    change(manifest)
    write_manifest(folder, manifest)


def set_to_ski(folder: Path, part: str, change: Callable[[Array], Array]) -> None:
    """Replace a part's to_ski, and that of its first piece, by `change` of it."""

    def edit(manifest: dict[str, Any]) -> None:
        (entry,) = (entry for entry in manifest["parts"] if entry["name"] == part)
        matrix = change(np.array(entry["to_ski"])).tolist()
        entry["to_ski"] = entry["placed"][0]["to_ski"] = matrix

    edit_manifest(folder, edit)


def edit_3mf(folder: Path, change: Callable[[str], str], *, hashes: bool = True) -> None:
    """Change the text of the 3MF's model."""
    path = folder / BED
    with zipfile.ZipFile(path) as package:
        members = {name: package.read(name) for name in package.namelist()}
    members[MODEL] = change(members[MODEL].decode()).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in members.items():
            package.writestr(name, data)
    _done(folder, hashes)


def set_3mf_unit(folder: Path, unit: str, *, hashes: bool = True) -> None:
    """Say another unit in the 3MF."""
    edit_3mf(folder, lambda text: re.sub(r' unit="\w+"', f' unit="{unit}"', text), hashes=hashes)


def edit_text(
    folder: Path, name: str, change: Callable[[str], str], *, hashes: bool = True
) -> None:
    """Change the text of a file."""
    path = folder / name
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    _done(folder, hashes)


def edit_step_part(
    folder: Path, part: str, change: Callable[[str], str], *, hashes: bool = True
) -> None:
    """Change each entity of one product's shape in the STEP, given and returned as text."""

    def edit(text: str) -> str:
        statements = {
            int(match[1]): match[0] for match in re.finditer(r"#(\d+)\s*=(?:[^';]|'[^']*')*;", text)
        }
        mine = _shape_of(statements, part)
        return re.sub(
            r"#(\d+)\s*=(?:[^';]|'[^']*')*;",
            lambda match: change(match[0]) if int(match[1]) in mine else match[0],
            text,
        )

    edit_text(folder, "jig.step", edit, hashes=hashes)


def _shape_of(statements: dict[int, str], part: str) -> set[int]:
    for statement in statements.values():
        if "SHAPE_DEFINITION_REPRESENTATION(" in statement:
            definition, shape = _references(statement)
            names = (statements[n] for n in _reached(statements, definition))
            if any(f"PRODUCT('{part}'," in name for name in names):
                return _reached(statements, shape)
    raise LookupError(part)


def _references(statement: str) -> list[int]:
    return [int(number) for number in re.findall(r"#(\d+)", statement.partition("=")[2])]


def _reached(statements: dict[int, str], start: int) -> set[int]:
    reached, waiting = set(), [start]
    while waiting:
        number = waiting.pop()
        if number not in reached:
            reached.add(number)
            waiting += _references(statements[number])
    return reached


POINT = re.compile(r"(CARTESIAN_POINT\('[^']*',\()([^()]*,[^()]*,[^()]*)(\)\))")


def move_hole_in_step(
    folder: Path, hole: str, dx: float, dy: float, pose: Array, *, hashes: bool = True
) -> None:
    """Shift a hole in the STEP; `pose` is of its part's STEP frame in the ski frame."""
    place, guide = _guide(folder, hole)
    reach, back = guide["bore"] / 2 + AROUND, np.linalg.inv(pose)

    def change(statement: str) -> str:
        def shifted(match: re.Match[str]) -> str:
            point = np.array([float(word) for word in match[2].split(",")])
            x, y, z = pose[:3, :3] @ point + pose[:3, 3]
            if np.hypot(x - place["x"], y - place["y"]) > reach:
                return match[0]
            point = back[:3, :3] @ (x + dx, y + dy, z) + back[:3, 3]
            return match[1] + ",".join(f"{value:.12f}" for value in point) + match[3]

        return POINT.sub(shifted, statement)

    edit_step_part(folder, guide["part"], change, hashes=hashes)


def shrink_bores_in_step(folder: Path, part: str, bore: float, less: float) -> None:
    """Make every bore of a diameter narrower in the STEP."""
    size = re.compile(rf"((?:CYLINDRICAL_SURFACE|CIRCLE)\('[^']*',#\d+,){bore / 2:.12g}0*\)")
    narrow = f"{(bore - less) / 2:.12g}"
    edit_step_part(folder, part, lambda text: size.sub(rf"\g<1>{narrow})", text))


def stored_verification(folder: Path, verification: dict[str, Any]) -> None:
    """Write a verification into the manifest, as a build does."""
    edit_manifest(
        folder, lambda manifest: manifest.update(verification=json.loads(json.dumps(verification)))
    )
