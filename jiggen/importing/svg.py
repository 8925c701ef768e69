"""Circles of an SVG drawing, through its groups, transforms and view boxes."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from jiggen.errors import Finding
from jiggen.importing.model import KIND, Circle, Drawing, fault
from jiggen.importing.svg_tree import Node, read_tree
from jiggen.importing.svg_units import (
    Matrix,
    circle_scale,
    millimetres,
    transform,
    user_units,
    view,
)
from jiggen.inputs.document import read_bytes

GROUPS = {"svg", "g", "a", "switch"}
SHAPES = {"path", "ellipse", "rect", "polygon", "polyline", "line", "image"}
DEEPEST = 32  # elements used by elements that are used
MOST = 100_000  # elements looked at, uses counted each time
EVEN = 1e-9  # of its size: rx and ry of a circle
MOVES = re.compile(r"\b(transform|rotate|scale|translate|zoom)\s*:")


def read_svg(path: Path) -> Drawing:
    """Read the circles of the SVG file at `path`: ``circle``, and ``ellipse`` with equal radii.

    Positions are in the user units of the outermost ``svg``, whose origin is the drawing's.
    Definitions, and what is not displayed, are passed over.

    Raises InputError as `read_tree` does, and see `source`.
    """
    file = str(path)
    root = read_tree(read_bytes(path, KIND), file)
    unit, said, faults = _unit(root, file)
    walk = _Walk(file, root)
    # Numbers beyond all measure become faults, not warnings.
    with np.errstate(all="ignore"):
        circles = tuple(walk.circles())
    return Drawing(
        file=file,
        circles=circles,
        unit=unit,
        unit_source=said,
        y_down=True,
        others=dict(walk.others.most_common()),
        faults=(*faults, *walk.faults),
    )


def _unit(root: Node, file: str) -> tuple[float | None, str, list[Finding]]:
    """The size in mm of the root's user unit, None when the file does not say it."""
    width, height = (millimetres(root.get(name)) for name in ("width", "height"))
    if width is None and height is None:
        return None, "", []
    if not root.get("viewBox"):
        unit, given = millimetres("1px"), "a pixel is 1/96 inch"
        return unit, f"{unit:.6g} mm, as {given}", []
    fitted = view(root.get("viewBox"), width, height, root.get("preserveAspectRatio"))
    where = f"{file}:{root.line}"
    if fitted is None:
        said = f"the viewBox {root.get('viewBox')!r} is not four numbers with a positive size"
        return None, "", [fault("view", said, where, hint="Save the drawing again as plain SVG.")]
    sx, sy = fitted.scale
    if abs(sx - sy) > EVEN * abs(sx):
        said = "width and height stretch the drawing: its circles are ellipses"
        return None, "", [fault("view", said, where, hint="Save it with its proportions kept.")]
    size = " by ".join(root.get(name) for name in ("width", "height") if root.get(name))
    return sx, f"{sx:.6g} mm, as the drawing is {size}", []


@dataclass(frozen=True)
class _Place:
    """What an element inherits: matrix to the root's user units, layer names, how deep in uses."""

    matrix: Matrix
    layers: tuple[str, ...] = ()
    uses: int = 0


class _Walk:
    """Goes through the tree as it is drawn; `faults` and `others` are full when it is done."""

    def __init__(self, file: str, root: Node) -> None:
        self.faults: list[Finding] = []
        self.others: Counter[str] = Counter()
        self._file = file
        self._root = root
        self._named = {node.get("id"): node for node in root.walk() if node.get("id")}
        self._seen = 0
        for node in root.walk():
            if node.tag == "style" and MOVES.search(node.text):
                self._refuse(node, "a style sheet moves shapes, which is not read")

    def circles(self) -> Iterator[Circle]:
        """Every circle drawn, in the root's user units, y downwards."""
        stack = [(node, _Place(np.eye(3))) for node in reversed(self._root.children)]
        if self._root.get("transform"):
            self._refuse(self._root, "the outermost svg has a transform, which is not read")
        while stack and self._counted():
            node, place = stack.pop()
            if not _drawn(node):
                continue
            own = self._placed(node, place)
            if own is None:
                continue
            if node.tag in ("circle", "ellipse"):
                yield from self._circle(node, own)
            elif node.tag in GROUPS:
                stack += [(child, own) for child in reversed(node.children)]
            elif node.tag == "use":
                stack += self._used(node, own)
            elif node.tag in SHAPES:
                self.others[node.tag] += 1

    def _counted(self) -> bool:
        self._seen += 1
        if self._seen == MOST:
            said, hint = f"more than {MOST} shapes", "Save the plate alone."
            self.faults.append(fault("too-many", said, self._file, hint=hint))
        return self._seen < MOST

    def _placed(self, node: Node, place: _Place) -> _Place | None:
        """What holds within `node`; None, and a fault, when that cannot be told."""
        if MOVES.search(node.get("style")):
            self._refuse(node, "a style moves the shape, which is not read")
            return None
        own = transform(node.get("transform"))
        if own is None:
            self._refuse(node, f"the transform {node.get('transform')[:60]!r} is not understood")
            return None
        matrix = place.matrix @ own
        if node.tag == "svg":
            inner = self._inner(node)
            if inner is None:
                return None
            matrix = matrix @ inner
        names = tuple(name for name in (node.get("id"), node.get("label")) if name)
        return replace(place, matrix=matrix, layers=(*place.layers, *names))

    def _inner(self, node: Node) -> Matrix | None:
        """The place of an ``svg`` within another: its corner, then its view box."""
        corner = [user_units(node.get(name), 0.0) for name in ("x", "y")]
        size = [user_units(node.get(name)) for name in ("width", "height")]
        if corner[0] is None or corner[1] is None:
            self._refuse(node, "an svg within the svg has no plain x and y")
            return None
        moved = transform(f"translate({corner[0]!r} {corner[1]!r})")
        if not node.get("viewBox"):
            return moved
        fitted = view(node.get("viewBox"), size[0], size[1], node.get("preserveAspectRatio"))
        if fitted is None or moved is None:
            self._refuse(node, "an svg within the svg has no plain size")
            return None
        return np.asarray(moved @ fitted.matrix)

    def _used(self, node: Node, place: _Place) -> list[tuple[Node, _Place]]:
        target = self._named.get(node.get("href").removeprefix("#"))
        if target is None or target.tag == "svg":
            self.others["use"] += 1
            return []
        if place.uses >= DEEPEST:
            self._refuse(node, "elements use one another without end")
            return []
        x, y = (user_units(node.get(name), 0.0) for name in ("x", "y"))
        moved = None if x is None or y is None else transform(f"translate({x!r} {y!r})")
        if moved is None:
            self._refuse(node, "its x and y are not understood")
            return []
        inside = replace(place, matrix=place.matrix @ moved, uses=place.uses + 1)
        if target.tag != "symbol":
            return [(target, inside)]
        if target.get("viewBox"):
            self._refuse(node, "it uses a symbol with a view box of its own, which is not read")
            return []
        return [(child, inside) for child in reversed(target.children)]

    def _circle(self, node: Node, place: _Place) -> Iterator[Circle]:
        names = ("cx", "cy", "r") if node.tag == "circle" else ("cx", "cy", "rx", "ry")
        x, y, *radii = (user_units(node.get(name), 0.0) for name in names)
        if x is None or y is None or radii[0] is None or radii[-1] is None:
            self._refuse(node, f"{', '.join(names)} are not all plain lengths")
            return
        if not radii[0]:
            return  # a radius of 0 draws nothing
        if abs(radii[0] - radii[-1]) > EVEN * abs(radii[0]):
            self.others["ellipse"] += 1
            return
        at = place.matrix @ (x, y, 1.0)
        scale = circle_scale(place.matrix)
        flaw = "" if scale is not None else "is squeezed to an ellipse by a transform"
        yield Circle(
            float(at[0]),
            float(at[1]),
            2 * radii[0] * (1.0 if scale is None else scale),
            f"{node.tag} at ({at[0]:.6g}, {at[1]:.6g})",
            f"{self._file}:{node.line}",
            place.layers,
            flaw,
        )

    def _refuse(self, node: Node, message: str) -> None:
        hint = "Save it as plain SVG, with transforms applied to the shapes."
        self.faults.append(fault("shape", message, f"{self._file}:{node.line}", node.tag, hint))


def _drawn(node: Node) -> bool:
    style = node.style
    display = style.get("display", node.get("display"))
    visible = style.get("visibility", node.get("visibility"))
    return display != "none" and visible not in ("hidden", "collapse")
