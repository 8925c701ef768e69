"""Circles of an SVG drawing, drawn as such or not, through groups, transforms and view box.

SVG 2; lengths by CSS Values and Units 3.  What cannot be read for certain is a fault, and never
guessed; a document type is refused.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement
from xml.parsers import expat

from fontTools.misc.transform import Transform
from fontTools.svgLib.path.parser import parse_path

from jiggen.errors import Finding, InputError
from jiggen.importing import KIND, Circle, Drawing
from jiggen.importing.outlines import GAP, Outlines, Tracer
from jiggen.inputs.document import read_bytes
from jiggen.units import INCH

SVG = "http://www.w3.org/2000/svg"
LINE = "}line"  # of an element in the file: among its attributes, under a name that no file has
NO_SVG = "Save it from the drawing program as plain SVG."
SHAPES = {"path", "rect", "polygon", "polyline", "line"}
GROUPS = ("g", "a", "switch")
UNREAD = {"image", "text"}
MOST_NESTED = 500  # elements within elements; no drawing comes near it
MOST_LAYERS = 50  # names kept of those that a circle is within
LONGEST = 10_000  # characters of a transform
LONGEST_PATH = 200_000  # characters of a path
LONGEST_NAME = 1000  # of a namespace
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
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_LENGTH = re.compile(rf"\s*+({_NUMBER.pattern})\s*+([A-Za-z]*+)\s*+")
_STEP = re.compile(r"\s*([A-Za-z]+)\s*\(([^()]*)\)\s*,?\s*")
_STYLE = re.compile(r"(?<![\w-])([\w-]++)\s*+:\s*+([^;]*+)")


def read_svg(path: Path) -> Drawing:
    """Read the circles of the SVG file at `path`: ``circle``, ``ellipse``, and round outlines.

    Positions are in the user units of the outermost ``svg``, whose origin is the drawing's.
    Definitions, and what is not displayed, are left out.
    Raises InputError as `read_bytes` does; ``import.doctype`` for a file with a DOCTYPE, which
    alone can declare entities, ``import.no-svg`` for what is not well-formed SVG.
    """
    file = str(path)
    root = _read_tree(read_bytes(path, KIND), file)
    unit, source = _unit(root, file)
    walk = _Walk(file, root, Outlines(GAP / (unit or 1.0)))
    circles = tuple(walk.circles())
    rounded, unread = walk.outlines.read()
    circles, faults, others = (*circles, *rounded), tuple(walk.faults), walk.others
    return Drawing(file, circles, unit, source, True, others, faults, unread)


def _read_tree(data: bytes, file: str) -> Element:
    """The root of an SVG file's bytes.

    Elements have their local names (none where they are of another vocabulary), and so have
    attributes of other vocabularies where SVG has none of that name: ``label`` and ``href``.
    """
    parser = expat.ParserCreate(namespace_separator="}")
    parser.buffer_text = True
    inside = [Element("")]

    def refuse_doctype(*_: object) -> None:
        raise InputError.of(
            "import.doctype",
            "the file has a DOCTYPE, which is not read: entity expansion can exhaust memory",
            where=f"{file}:{parser.CurrentLineNumber}",
            hint="Save it as plain SVG, or remove the lines from <!DOCTYPE to its >.",
        )

    def start(name: str, attributes: dict[str, str]) -> None:
        if len(inside) > MOST_NESTED:
            message = "elements are nested too deep"
            raise InputError.of("import.no-svg", message, where=file, hint=NO_SVG)
        space, _, tag = name.rpartition("}")
        plain = {key: value for key, value in attributes.items() if "}" not in key}
        own = {key.rpartition("}")[2]: value for key, value in attributes.items()} | plain
        own[LINE] = str(parser.CurrentLineNumber)
        inside.append(SubElement(inside[-1], tag if space in ("", SVG) else "", own))

    def vocabulary(_: str | None, name: str | None) -> None:
        if len(name or "") > LONGEST_NAME:  # it stands before each element's name
            message = "a namespace has too long a name"
            raise InputError.of("import.no-svg", message, where=file, hint=NO_SVG)

    def text(words: str) -> None:
        inside[-1].text = (inside[-1].text or "") + words

    parser.StartDoctypeDeclHandler = refuse_doctype
    parser.StartElementHandler = start
    parser.StartNamespaceDeclHandler = vocabulary
    parser.EndElementHandler = lambda _: inside.pop()
    parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        message = f"not well formed: {expat.ErrorString(error.code)}"
        where = f"{file}:{error.lineno}:{error.offset + 1}"
        raise InputError.of("import.no-svg", message, where=where, hint=NO_SVG) from None
    [root] = inside[0]  # a well-formed file has one
    if root.tag != "svg":
        raise InputError.of("import.no-svg", "not an SVG drawing", where=file, hint=NO_SVG)
    return root


def _unit(root: Element, file: str) -> tuple[float | None, str]:
    """The size in mm of the root's user unit, None when the file does not say it; how it says it.

    SVG 2, section 8.2: a view box is fitted into width and height by one scale, unless
    ``preserveAspectRatio`` is none; a missing width or height follows from the other.
    Raises InputError ``import.view``.
    """
    given = [root.get(name, "") for name in ("width", "height")]
    sizes = [_length(text) for text in given]
    box = root.get("viewBox")
    if sizes == [None, None]:
        return None, ""
    if not box:
        return PIXEL, f"{PIXEL:.6g} mm, as a pixel is 1/96 inch"
    where = f"{file}:{root.get(LINE)}"
    numbers = _numbers(box)
    if len(numbers) != 4 or min(numbers[2:]) <= 0:
        message = f"the viewBox {box!r} is not four numbers with a positive size"
        raise InputError.of("import.view", message, where=where, hint=NO_SVG)
    spans = zip(sizes, numbers[2:], strict=True)
    scales = [size / span for size, span in spans if size is not None]
    align, *fit = root.get("preserveAspectRatio", "").split() or [""]
    scale = max(scales) if fit == ["slice"] else min(scales)
    if align == "none" and max(scales) - min(scales) > EVEN * abs(scale):
        message = "width and height stretch the drawing: its circles are ellipses"
        hint = "Save it with its proportions kept."
        raise InputError.of("import.view", message, where=where, hint=hint)
    return scale, f"{scale:.6g} mm, as the drawing is {' by '.join(filter(None, given))}"


class _Unread(Exception):  # noqa: N818 - it becomes a finding
    """What of an element cannot be read for certain."""


@dataclass(frozen=True)
class _Place:
    """What an element inherits: matrix to the root's user units, layer names, how deep in uses."""

    matrix: Transform
    layers: tuple[str, ...] = ()
    listed: tuple[str, ...] = ()
    uses: int = 0

    def within(self, node: Element) -> _Place:
        if _moves(node.get("style", "")):
            raise _Unread("a style moves the shape, which is not read")
        matrix = _transformed(self.matrix, node.get("transform", ""))
        names = [name for name in (node.get("label"), node.get("id")) if name]
        layers = (*self.layers, *names)[-MOST_LAYERS:]
        listed = (*self.listed, *names[:1] * (node.tag in GROUPS))[-MOST_LAYERS:]
        return replace(self, matrix=matrix, layers=layers, listed=listed)


class _Walk:
    """Goes through the tree as it is drawn; the other values are full when it is done."""

    def __init__(self, file: str, root: Element, outlines: Outlines) -> None:
        self.faults: list[Finding] = []
        self.others: Counter[str] = Counter()
        self.outlines = outlines
        self._file = file
        self._root = root
        self._named = {node.get("id"): node for node in root.iter() if node.get("id")}

    def circles(self) -> Iterator[Circle]:
        """Every circle drawn, in the root's user units, y downwards."""
        for node in self._root.iter("style"):
            if MOVES.search(node.text or ""):
                self._refuse(node, "a style sheet moves shapes, which is not read")
        if self._root.get("transform"):
            self._refuse(self._root, "the outermost svg has a transform, which is not read")
        stack = [(node, _Place(Transform())) for node in reversed(self._root)]
        seen = 0
        while stack:
            seen += 1
            if seen == MOST:
                message, hint = f"more than {MOST} shapes", KIND.too_big
                self.faults.append(Finding("import.too-many", message, self._file, hint=hint))
                return
            node, place = stack.pop()
            if not _is_drawn(node):
                continue
            try:
                own = place.within(node)
                if node.tag in ("circle", "ellipse"):
                    yield from self._circle(node, own)
                elif node.tag in GROUPS:
                    stack += [(child, own) for child in reversed(node)]
                elif node.tag == "use":
                    stack += self._used(node, own)
                elif node.tag == "svg":
                    raise _Unread("an svg within the svg is not read")
                elif node.tag in SHAPES:
                    self._trace(node, own)
                elif node.tag in UNREAD:
                    self.others[node.tag] += 1
            except _Unread as error:
                self._refuse(node, str(error))

    def _used(self, node: Element, place: _Place) -> list[tuple[Element, _Place]]:
        target = self._named.get(node.get("href", "").removeprefix("#"))
        if target is None or target.tag == "svg":
            self.others["use"] += 1
            return []
        if place.uses >= MOST_USES:
            raise _Unread("elements use each other without end")
        if target.tag == "symbol" and target.get("viewBox"):
            raise _Unread("it uses a symbol with a view box of its own, which is not read")
        matrix = place.matrix.translate(_user_units(node, "x"), _user_units(node, "y"))
        inside = replace(place, matrix=matrix, uses=place.uses + 1)
        drawn = reversed(target) if target.tag == "symbol" else [target]
        return [(child, inside) for child in drawn]

    def _circle(self, node: Element, place: _Place) -> Iterator[Circle]:
        names = ("cx", "cy", "r", "r") if node.tag == "circle" else ("cx", "cy", "rx", "ry")
        x, y, radius, other = (_user_units(node, name) for name in names)
        if abs(radius - other) > EVEN * abs(radius):
            self._trace(node, place)
        elif radius:  # a radius of 0 draws nothing
            at_x, at_y = place.matrix.transformPoint((x, y))
            a, b, c, d, *_ = place.matrix
            along, across = math.hypot(a, b), math.hypot(c, d)
            size = max(along, across)
            even = abs(along - across) <= 1e-6 * size and abs(a * c + b * d) <= 1e-6 * size**2
            yield Circle(
                at_x,
                at_y,
                radius * (along + across) if even else 2 * radius,
                f"{node.tag} at ({at_x:.6g}, {at_y:.6g})",
                f"{self._file}:{node.get(LINE)}",
                place.layers,
                "" if even else "is squeezed to an ellipse by a transform",
                listed=place.listed,
            )

    def _trace(self, node: Element, place: _Place) -> None:
        """Keep the lines of a shape; of one that cannot be read, that it is there."""
        path, tracer = _path(node), Tracer(place.matrix.transformPoint)
        if len(path) > LONGEST_PATH:  # no hole is drawn so
            self.others[node.tag] += 1
            return
        try:
            parse_path(" ".join(path.split()), tracer)
        except (ValueError, LookupError, ArithmeticError):
            raise _Unread("its outline is not understood") from None
        if not all(math.isfinite(abs(point)) for points, *_ in tracer.lines for point in points):
            raise _Unread("its outline is too large")
        where = f"{self._file}:{node.get(LINE)}"
        self.outlines.add(node.tag, tracer, place.layers, place.listed, where)

    def _refuse(self, node: Element, message: str) -> None:
        hint = "Save it as plain SVG, with transforms applied to the shapes."
        where = f"{self._file}:{node.get(LINE)}"
        self.faults.append(Finding("import.shape", message, where, node.tag, hint))


def _path(node: Element) -> str:
    """A shape as the ``d`` of a path (SVG 2, chapter 10)."""
    if node.tag == "path":
        return node.get("d", "")
    if node.tag in ("polygon", "polyline"):
        points = node.get("points", "")
        return f"M {points} {'z' * (node.tag == 'polygon')}" if points.strip() else ""
    if node.tag == "line":
        x1, y1, x2, y2 = (_user_units(node, name) for name in ("x1", "y1", "x2", "y2"))
        return f"M {x1!r} {y1!r} L {x2!r} {y2!r}"
    if node.tag == "ellipse":
        cx, cy, rx, ry = (_user_units(node, name) for name in ("cx", "cy", "rx", "ry"))
        x, y, width, height = cx - rx, cy - ry, 2 * rx, 2 * ry
    else:
        x, y, width, height = (_user_units(node, name) for name in ("x", "y", "width", "height"))
        rx, ry = (_user_units(node, name) for name in ("rx", "ry"))
        rx, ry = min(rx or ry, width / 2), min(ry or rx, height / 2)
    across, down = width - 2 * rx, height - 2 * ry
    sides = ((across, 0.0, rx, ry), (0.0, down, -rx, ry), (-across, 0.0, -rx, -ry))
    corners = "".join(f" l {a!r} {b!r} a {rx!r} {ry!r} 0 0 1 {c!r} {d!r}" for a, b, c, d in sides)
    return f"M {x + rx!r} {y!r}{corners} l 0 {-down!r} a {rx!r} {ry!r} 0 0 1 {rx!r} {-ry!r} z"


@lru_cache(1000)  # an element may be used again and again
def _moves(style: str) -> bool:
    return bool(MOVES.search(style))


@lru_cache(1000)
def _styled(style: str) -> dict[str, str]:
    return {name.lower(): value.strip() for name, value in _STYLE.findall(style)}


def _is_drawn(node: Element) -> bool:
    style = _styled(node.get("style", ""))
    display = style.get("display", node.get("display"))
    visible = style.get("visibility", node.get("visibility"))
    return display != "none" and visible not in ("hidden", "collapse")


def _length(text: str) -> float | None:
    """An absolute length in mm; None for any other text (missing, a share, in font sizes)."""
    found = _LENGTH.fullmatch(text)
    if found is None or found[2].lower() not in UNITS:
        return None
    value = float(found[1]) * UNITS[found[2].lower()]
    return value if math.isfinite(value) else None


def _user_units(node: Element, name: str) -> float:
    """An attribute's length in user units, of which a pixel is one; 0 where it is not there."""
    text = node.get(name) or "0"
    match _numbers(text), _length(text):
        case [number], _:
            return number
        case _, float(length):
            return length / PIXEL
    raise _Unread(f"its {name} is not a plain length")


def _numbers(text: str) -> list[float]:
    """The numbers of a list, or none where not all of it are numbers."""
    words = text.replace(",", " ").split()
    numbers = [float(word) for word in words if _NUMBER.fullmatch(word)]
    return numbers if len(numbers) == len(words) and all(map(math.isfinite, numbers)) else []


def _transformed(matrix: Transform, text: str) -> Transform:
    """`matrix` and then a ``transform`` attribute (SVG 1.1, section 7.6)."""
    text = text.strip()
    if len(text) > LONGEST:
        raise _Unread(f"a transform of more than {LONGEST} characters is not read")
    at = 0
    while at < len(text):
        found = _STEP.match(text, at)
        match found and found[1], _numbers(found[2]) if found else []:
            case "matrix", [_, _, _, _, _, _] as numbers:
                matrix = matrix.transform(numbers)
            case "translate", [_] | [_, _] as numbers:
                matrix = matrix.translate(*numbers)
            case "scale", [_] | [_, _] as numbers:
                matrix = matrix.scale(*numbers)
            case "rotate", [degrees]:
                matrix = matrix.rotate(math.radians(degrees))
            case "rotate", [degrees, x, y]:
                matrix = matrix.translate(x, y).rotate(math.radians(degrees)).translate(-x, -y)
            case "skewX", [degrees]:
                matrix = matrix.skew(math.radians(degrees))
            case "skewY", [degrees]:
                matrix = matrix.skew(0, math.radians(degrees))
            case _:
                raise _Unread(f"the transform {text[:60]!r} is not understood")
        at = found.end() if found else len(text)
    if not all(map(math.isfinite, matrix)):
        raise _Unread(f"the transform {text[:60]!r} is too large")
    return matrix
