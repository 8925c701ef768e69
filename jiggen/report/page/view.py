"""The jig in use, for the page's viewer: each part once, small, placed by its poses."""

import base64
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.design.engraving import DEPTH
from jiggen.export.preview import COLOURS, GEAR, INK, ski_piece
from jiggen.files import PICTURE
from jiggen.record import JigRecord
from jiggen.report.page.markup import Html, node, section
from jiggen.report.page.shading import shade
from jiggen.verify.geometry import applied
from jiggen.verify.reading.mesh import Mesh, MeshError, read_stl

Array = NDArray[np.float64]

CREASE = 30.0  # degrees: a sharper edge is drawn as one
LEVEL = 0.01  # mm: how far an engraving's floor may lie from where it should
OVERHANG = 60.0  # mm of ski shown beyond the jig
FINEST = 65535  # steps that a coordinate is told in, over the part's own size
SCENE = re.compile(r'<script type="application/json" id="scene">([^<]*)</script>')
LABELS = {
    "body": "Body",
    "plate": "Plate",
    "rail": "Rails",
    "pinion": "Pinions",
    "knob": "Knobs",
    "ski": "Ski (plain stand-in)",
}
PLACES = {
    "start": "Start view",
    "above": "From above",
    "below": "From below",
    "side": "From the side",
}
HELP = (
    "Drag to turn, with shift or two fingers to slide. Pinch to come closer; or click first, then "
    "roll the wheel. Keys: arrows, +, −, Home."
)


@dataclass(frozen=True)
class View:
    """The viewer's data as JSON, kinds of parts to show and hide, and files that were no meshes."""

    data: str
    groups: tuple[str, ...]
    unreadable: tuple[str, ...]


def view_of(folder: Path, record: JigRecord) -> View:
    """The pieces of a jig, read from `folder`, on a stand-in for a ski of middling width."""
    shown: list[dict[str, Any]] = []
    unreadable = []
    for part in record.parts:
        poses = [np.array(placed.to_ski, dtype=float) for placed in part.placed]
        for pose, placed in zip(poses, part.placed, strict=True):
            pose[0, 3] += record.shown.get(placed.name, 0.0)
        try:
            shown.append(_part(part.kind, read_stl(folder / part.file), poses))
        except (OSError, MeshError):
            unreadable.append(part.file)
    if shown:
        along = [end[0] for part in shown for box in part["boxes"] for end in box]
        ski = record.inputs.ski
        width = (ski.least + ski.most) / 2
        bar = ski_piece((min(along) - OVERHANG, max(along) + OVERHANG), width)
        shown.append(_part("ski", Mesh(bar.vertices, bar.triangles), [np.eye(4)]))
    scene = {"parts": shown, "ink": INK}
    data = json.dumps(scene, separators=(",", ":"), allow_nan=False)
    return View(data, tuple(dict.fromkeys(part["group"] for part in shown)), tuple(unreadable))


def _part(kind: str, mesh: Mesh, poses: Sequence[Array]) -> dict[str, Any]:
    """A part for the viewer: corners in FINEST steps of its size, normals in 127ths, triangles.

    `low` and `size` are in the part's own frame, `boxes` (one per piece: least, greatest corner)
    in the ski's.  Of the triangles the first `plain` corners are drawn in `colour`; the floors of
    engravings come last, and are drawn dark to be read.
    """
    shaded = shade(mesh, CREASE)
    points, triangles = shaded.points, shaded.triangles
    # A floor lies level, an engraving's depth under the top of the piece in use.
    heights = applied(poses[0], points)[:, 2]
    floor = np.abs(heights[triangles] - (heights.max() - DEPTH)).max(axis=1) < LEVEL
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    steps = np.divide(points - low, size, out=np.zeros_like(points), where=size > 0) * FINEST
    wide = len(points) > FINEST
    placed = [mesh.moved(pose).vertices for pose in poses]
    return {
        "group": kind,
        "colour": COLOURS.get(kind, GEAR),
        "low": _rounded(low),
        "size": _rounded(size),
        "points": _base64(np.rint(steps).astype("<u2")),
        "normals": _base64(np.rint(np.nan_to_num(shaded.normals) * 127).astype("i1")),
        "triangles": _base64(
            triangles[np.argsort(floor, kind="stable")].astype("<u4" if wide else "<u2")
        ),
        "wide": wide,
        "plain": int(3 * (~floor).sum()),
        "poses": [_rounded(pose.ravel()) for pose in poses],
        "boxes": [[_rounded(piece.min(axis=0)), _rounded(piece.max(axis=0))] for piece in placed],
    }


def _base64(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")


def _rounded(values: Array) -> list[float]:
    return [round(float(value), 6) + 0.0 for value in values]


def stored_view(page: str) -> View | None:
    """The viewer's data as a jig's own page has it; None where there is none."""
    found = SCENE.search(page)
    if not found:
        return None
    groups = dict.fromkeys(part["group"] for part in json.loads(found[1])["parts"])
    return View(found[1], tuple(groups), ())


def picture_of(folder: Path) -> str:
    """The address of a jig's picture, which is the picture itself; empty where there is none."""
    path = folder / PICTURE
    if not path.is_file():
        return ""
    return f"data:image/png;base64,{base64.b64encode(path.read_bytes()).decode('ascii')}"


def viewer(view: View, picture: str) -> Html:
    """The canvas over a picture, which stays where no 3D can be drawn, and what steers it.

    `picture` is its address, if there is one.
    """
    label = "The jig on a ski. Arrow keys turn it, plus and minus bring it closer or farther."
    stage = [node("canvas", tabindex="0", role="img", aria_label=label)]
    if picture:
        stage.insert(0, node("img", src=picture, alt="Picture of the jig on a ski"))
    steer = [node("button", text, type="button", value=place) for place, text in PLACES.items()]
    for group in view.groups:
        ticked = node("input", type="checkbox", checked="", value=group)
        steer.append(node("label", ticked, LABELS.get(group, group)))
    return section(
        "The jig in use",
        node("div", *stage, class_="stage"),
        node("div", *steer, class_="steer"),
        node("p", HELP, class_="note steer"),
        id="view",
    )
