"""Circles of an SVG drawing, through its groups, transforms and view box.

SVG 2; lengths by CSS Values and Units 3.  What cannot be read for certain is a fault, and never
guessed; a document type is refused.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError
from jiggen.importing.model import KIND, Circle, Drawing, fault
from jiggen.inputs.document import read_bytes
from jiggen.units import INCH

Matrix = NDArray[np.float64]
"""(3, 3) float, acting on (x, y, 1) columns."""

SVG = "http://www.w3.org/2000/svg"
NO_SVG = "Save it from the drawing program as plain SVG."
GROUPS = {"g", "a", "switch"}
SHAPES = {"path", "ellipse", "rect", "polygon", "polyline", "line", "image"}
MOST_NESTED = 500  # elements within elements; no drawing comes near it
MOST_USES = 32  # elements used by elements that are used
MOST = 100_000  # elements looked at, uses counted each time
EVEN = 1e-9  # of its size: rx and ry of a circle, both scales of a drawing
MOVES = re.compile(r"\b(transform|rotate|scale|translate|zoom)\s*:")

# CSS Values and Units 3, section 6.2: 1in is 2.54cm is 96px, 1pt is 1/72in, 1pc is 12pt.
PIXEL = INCH / 96  # mm
UNITS = {
    "": PIXEL,
    "px": PIXEL,
    "mm": 1.0,
    "cm": 10.0,
    "q": 0.25,
    "in": INCH,
    "pt": INCH / 72,
    "pc": INCH / 6,
}
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]*)\s*")
_STEP = re.compile(r"\s*([A-Za-z]+)\s*\(([^()]*)\)\s*,?")
_SEPARATOR = re.compile(r"[\s,]+")
_STYLE = re.compile(r"([\w-]+)\s*:\s*([^;]*)")


def read_svg(path: Path) -> Drawing:
    """Read the circles of the SVG file at `path`: ``circle``, and ``ellipse`` with equal radii.

    Positions are in the user units of the outermost ``svg``, whose origin is the drawing's.
    Definitions, and what is not displayed, are left out.

    Raises InputError as `read_bytes` does; ``import.doctype`` for a file with a DOCTYPE, which
    alone can declare entities, ``import.no-svg`` for what is not well-formed SVG.
    """
    file = str(path)
    root = _read_tree(read_bytes(path, KIND), file)
    unit, source, faults = _unit(root, file)
    walk = _Walk(file, root)
    # Numbers beyond all measure become faults, not warnings.
    with np.errstate(all="ignore"):
        circles = tuple(walk.circles())
    return Drawing(
        file=file,
        circles=circles,
        unit=unit,
        unit_source=source,
        y_down=True,
        others=dict(walk.others.most_common()),
        faults=(*faults, *walk.faults),
    )


def _unit(root: Node, file: str) -> tuple[float | None, str, list[Finding]]:
    """The size in mm of the root's user unit, None when the file does not say it.

    SVG 2, section 8.2: a view box is fitted into width and height by one scale, unless
    ``preserveAspectRatio`` is none; a missing width or height follows from the other.
    """
    width, height = (_length(root.get(name)) for name in ("width", "height"))
    if width is None and height is None:
        return None, "", []
    box = root.get("viewBox")
    if not box:
        return PIXEL, f"{PIXEL:.6g} mm, as a pixel is 1/96 inch", []
    where = f"{file}:{root.line}"
    numbers = _numbers(box)
    if numbers is None or len(numbers) != 4 or min(numbers[2:]) <= 0:
        message = f"the viewBox {box!r} is not four numbers with a positive size"
        return None, "", [fault("view", message, where, hint="Save it again as plain SVG.")]
    scales = [
        size / span
        for size, span in zip((width, height), numbers[2:], strict=True)
        if size is not None
    ]
    align, _, fit = root.get("preserveAspectRatio").strip().partition(" ")
    scale = max(scales) if fit.strip() == "slice" else min(scales)
    if align == "none" and abs(max(scales) - min(scales)) > EVEN * abs(scale):
        message = "width and height stretch the drawing: its circles are ellipses"
        return None, "", [fault("view", message, where, hint="Save it with its proportions kept.")]
    size = " by ".join(root.get(name) for name in ("width", "height") if root.get(name))
    return scale, f"{scale:.6g} mm, as the drawing is {size}", []


# -- the shapes -----------------------------------------------------------------------------------


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
            own = self._placed(node, place) if _is_drawn(node) else None
            if own is None:
                continue
            if node.tag in ("circle", "ellipse"):
                yield from self._circle(node, own)
            elif node.tag in GROUPS:
                stack += [(child, own) for child in reversed(node.children)]
            elif node.tag == "use":
                stack += self._used(node, own)
            elif node.tag == "svg":
                self._refuse(node, "an svg within the svg is not read")
            elif node.tag in SHAPES:
                self.others[node.tag] += 1

    def _counted(self) -> bool:
        self._seen += 1
        if self._seen == MOST:
            message = f"more than {MOST} shapes"
            self.faults.append(fault("too-many", message, self._file, hint=KIND.too_big))
        return self._seen < MOST

    def _placed(self, node: Node, place: _Place) -> _Place | None:
        """The place within `node`; None, and a fault, when it cannot be read."""
        if MOVES.search(node.get("style")):
            self._refuse(node, "a style moves the shape, which is not read")
            return None
        own = _transform(node.get("transform"))
        if own is None:
            self._refuse(node, f"the transform {node.get('transform')[:60]!r} is not understood")
            return None
        names = tuple(name for name in (node.get("id"), node.get("label")) if name)
        return replace(place, matrix=place.matrix @ own, layers=(*place.layers, *names))

    def _used(self, node: Node, place: _Place) -> list[tuple[Node, _Place]]:
        target = self._named.get(node.get("href").removeprefix("#"))
        if target is None or target.tag == "svg":
            self.others["use"] += 1
            return []
        x, y = (_user_units(node.get(name), 0.0) for name in ("x", "y"))
        if place.uses >= MOST_USES:
            self._refuse(node, "elements use each other without end")
        elif x is None or y is None:
            self._refuse(node, "its x and y are not understood")
        elif target.tag == "symbol" and target.get("viewBox"):
            self._refuse(node, "it uses a symbol with a view box of its own, which is not read")
        else:
            matrix = place.matrix @ _affine(1, 0, 0, 1, x, y)
            inside = replace(place, matrix=matrix, uses=place.uses + 1)
            drawn = target.children if target.tag == "symbol" else [target]
            return [(child, inside) for child in reversed(drawn)]
        return []

    def _circle(self, node: Node, place: _Place) -> Iterator[Circle]:
        names = ("cx", "cy", "r") if node.tag == "circle" else ("cx", "cy", "rx", "ry")
        x, y, *radii = (_user_units(node.get(name), 0.0) for name in names)
        if x is None or y is None or radii[0] is None or radii[-1] is None:
            self._refuse(node, f"{', '.join(names)} are not all plain lengths")
            return
        if not radii[0]:
            return  # a radius of 0 draws nothing
        if abs(radii[0] - radii[-1]) > EVEN * abs(radii[0]):
            self.others["ellipse"] += 1
            return
        at = place.matrix @ (x, y, 1.0)
        scale = _circle_scale(place.matrix)
        yield Circle(
            float(at[0]),
            float(at[1]),
            2 * radii[0] * (1.0 if scale is None else scale),
            f"{node.tag} at ({at[0]:.6g}, {at[1]:.6g})",
            f"{self._file}:{node.line}",
            place.layers,
            "is squeezed to an ellipse by a transform" if scale is None else "",
        )

    def _refuse(self, node: Node, message: str) -> None:
        hint = "Save it as plain SVG, with transforms applied to the shapes."
        self.faults.append(fault("shape", message, f"{self._file}:{node.line}", node.tag, hint))


def _is_drawn(node: Node) -> bool:
    style = {name.lower(): value.strip() for name, value in _STYLE.findall(node.get("style"))}
    display = style.get("display", node.get("display"))
    visible = style.get("visibility", node.get("visibility"))
    return display != "none" and visible not in ("hidden", "collapse")


# -- lengths and transforms -----------------------------------------------------------------------


def _length(text: str) -> float | None:
    """An absolute length in mm; None for any other text (missing, a share, in font sizes)."""
    found = _LENGTH.fullmatch(text)
    if found is None or found[2].lower() not in UNITS:
        return None
    value = float(found[1]) * UNITS[found[2].lower()]
    return value if math.isfinite(value) else None


def _user_units(text: str, missing: float) -> float | None:
    """A length in user units, of which a pixel is one; `missing` for no text at all."""
    if not text:
        return missing
    numbers = _numbers(text)
    if numbers is not None and len(numbers) == 1 and math.isfinite(numbers[0]):
        return numbers[0]
    value = _length(text)
    return None if value is None else value / PIXEL


def _numbers(text: str) -> list[float] | None:
    words = [word for word in _SEPARATOR.split(text.strip()) if word]
    if not all(re.fullmatch(_NUMBER, word) for word in words):
        return None
    return [float(word) for word in words]


def _transform(text: str) -> Matrix | None:
    """A ``transform`` attribute as one matrix; None when it is not understood."""
    whole = np.eye(3)
    at = 0
    text = text.strip()
    while at < len(text):
        found = _STEP.match(text, at)
        step = _step(found[1], _numbers(found[2])) if found else None
        if found is None or step is None:
            return None
        whole = whole @ step
        at = found.end()
    return whole if np.isfinite(whole).all() else None


def _step(name: str, numbers: list[float] | None) -> Matrix | None:
    """One function of a transform list (SVG 1.1, section 7.6)."""
    match name, numbers:
        case "matrix", [a, b, c, d, e, f]:
            return _affine(a, b, c, d, e, f)
        case "translate", [x]:
            return _affine(1, 0, 0, 1, x, 0)
        case "translate", [x, y]:
            return _affine(1, 0, 0, 1, x, y)
        case "scale", [x]:
            return _affine(x, 0, 0, x, 0, 0)
        case "scale", [x, y]:
            return _affine(x, 0, 0, y, 0, 0)
        case "rotate", [degrees]:
            return _rotation(degrees)
        case "rotate", [degrees, x, y]:
            return _affine(1, 0, 0, 1, x, y) @ _rotation(degrees) @ _affine(1, 0, 0, 1, -x, -y)
        case "skewX", [degrees]:
            return _affine(1, 0, math.tan(math.radians(degrees)), 1, 0, 0)
        case "skewY", [degrees]:
            return _affine(1, math.tan(math.radians(degrees)), 0, 1, 0, 0)
    return None


def _rotation(degrees: float) -> Matrix:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return _affine(c, s, -s, c, 0, 0)


def _affine(a: float, b: float, c: float, d: float, e: float, f: float) -> Matrix:
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def _circle_scale(matrix: Matrix) -> float | None:
    """By how much `matrix` enlarges a circle; None when it makes an ellipse of it."""
    (a, c), (b, d) = matrix[:2, :2]
    along, across = float(np.hypot(a, b)), float(np.hypot(c, d))
    size = max(along, across)
    if abs(along - across) > 1e-6 * size or abs(a * c + b * d) > 1e-6 * size**2:
        return None
    return along if along == across else (along + across) / 2


# -- the tree -------------------------------------------------------------------------------------


@dataclass(eq=False)
class Node:
    """One element: local name (empty for another vocabulary's), attributes, line, children.

    Attributes of other vocabularies keep their local names only where SVG has none of that
    name: ``label`` and ``href`` are read.
    """

    tag: str
    attributes: dict[str, str]
    line: int
    children: list[Node] = field(default_factory=list)
    text: str = ""

    def get(self, name: str) -> str:
        """An attribute, empty when it is not there."""
        return self.attributes.get(name, "")

    def walk(self) -> Iterator[Node]:
        """The element and all within it."""
        stack = [self]
        while stack:
            node = stack.pop()
            yield node
            stack += reversed(node.children)


def _read_tree(data: bytes, file: str) -> Node:
    """The root of an SVG file's bytes."""
    parser = expat.ParserCreate(namespace_separator="}")
    parser.buffer_text = True
    top = Node("", {}, 0)
    inside = [top]

    def refuse_doctype(*_: object) -> None:
        message = "the file has a DOCTYPE, which is not read: entity expansion can exhaust memory"
        hint = "Save it as plain SVG, or remove the lines from <!DOCTYPE to its >."
        where = f"{file}:{parser.CurrentLineNumber}"
        raise InputError(fault("doctype", message, where, hint=hint))

    def start(name: str, attributes: dict[str, str]) -> None:
        if len(inside) > MOST_NESTED:
            raise InputError(fault("no-svg", "elements are nested too deep", file, hint=NO_SVG))
        space, _, tag = name.rpartition("}")
        own = {key.rpartition("}")[2]: value for key, value in attributes.items() if "}" in key}
        own |= {key: value for key, value in attributes.items() if "}" not in key}
        node = Node(tag if space in ("", SVG) else "", own, parser.CurrentLineNumber)
        inside[-1].children.append(node)
        inside.append(node)

    def end(_: str) -> None:
        inside.pop()

    def text(words: str) -> None:
        inside[-1].text += words

    parser.StartDoctypeDeclHandler = refuse_doctype
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        message = f"not well formed: {expat.ErrorString(error.code)}"
        where = f"{file}:{error.lineno}:{error.offset + 1}"
        raise InputError(fault("no-svg", message, where, hint=NO_SVG)) from None
    root = top.children[0] if top.children else None
    if root is None or root.tag != "svg":
        raise InputError(fault("no-svg", "not an SVG drawing", file, hint=NO_SVG))
    return root
