"""SVG's lengths, view boxes and transforms as numbers (SVG 2, CSS Values and Units 3)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.units import INCH

Matrix = NDArray[np.float64]
"""(3, 3) float, acting on (x, y, 1) columns."""

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


def millimetres(text: str) -> float | None:
    """An absolute length in mm; None for what is none (missing, a share, relative to a font)."""
    found = _LENGTH.fullmatch(text)
    if found is None or found[2].lower() not in UNITS:
        return None
    return _finite(float(found[1]) * UNITS[found[2].lower()])


def user_units(text: str, missing: float | None = None) -> float | None:
    """A length in user units: a plain number is one as it stands; `missing` for no text at all."""
    if not text:
        return missing
    found = _LENGTH.fullmatch(text)
    if found is None or found[2].lower() not in UNITS:
        return None
    size = 1.0 if not found[2] else UNITS[found[2].lower()] / PIXEL
    return _finite(float(found[1]) * size)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


@dataclass(frozen=True)
class View:
    """How a ``viewBox`` is fitted into a width and a height: a scale, then a shift, each (x, y)."""

    scale: tuple[float, float]
    shift: tuple[float, float]

    @property
    def matrix(self) -> Matrix:
        """The same as a matrix."""
        (sx, sy), (tx, ty) = self.scale, self.shift
        return np.array([[sx, 0.0, tx], [0.0, sy, ty], [0.0, 0.0, 1.0]])


def view(box: str, width: float | None, height: float | None, aspect: str) -> View | None:
    """The view box `box` in `width` by `height` (any one unit), by ``preserveAspectRatio``.

    A missing width or height follows from the other.  None when there is no proper box, or
    neither width nor height.  SVG 2, section 8.2: the equivalent transform.
    """
    numbers = _numbers(box)
    if numbers is None or len(numbers) != 4 or min(numbers[2:]) <= 0:
        return None
    x, y, w, h = numbers
    if width is None and height is None:
        return None
    sx = (width if width is not None else (height or 0.0) * w / h) / w
    sy = (height if height is not None else (width or 0.0) * h / w) / h
    align, _, fit = (aspect.strip() or "xMidYMid").partition(" ")
    if align == "none":
        return View((sx, sy), (-x * sx, -y * sy))
    scale = max(sx, sy) if fit.strip() == "slice" else min(sx, sy)
    left = _share(align[:4]) * (sx - scale) * w - x * scale
    top = _share(align[4:]) * (sy - scale) * h - y * scale
    return View((scale, scale), (left, top))


def _share(align: str) -> float:
    return {"Min": 0.0, "Max": 1.0}.get(align[1:], 0.5)


def transform(text: str) -> Matrix | None:
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
    n = len(numbers) if numbers is not None else -1
    match name, numbers:
        case "matrix", [a, b, c, d, e, f]:
            return _affine(a, b, c, d, e, f)
        case "translate", [x, *rest] if n <= 2:
            return _affine(1, 0, 0, 1, x, rest[0] if rest else 0.0)
        case "scale", [x, *rest] if n <= 2:
            return _affine(x, 0, 0, rest[0] if rest else x, 0, 0)
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


def _numbers(text: str) -> list[float] | None:
    words = [word for word in _SEPARATOR.split(text.strip()) if word]
    if not all(re.fullmatch(_NUMBER, word) for word in words):
        return None
    return [float(word) for word in words]


def circle_scale(matrix: Matrix) -> float | None:
    """By how much `matrix` enlarges a circle; None when it makes an ellipse of it."""
    (a, c), (b, d) = matrix[:2, :2]
    along, across = float(np.hypot(a, b)), float(np.hypot(c, d))
    size = max(along, across)
    if abs(along - across) > 1e-6 * size or abs(a * c + b * d) > 1e-6 * size**2:
        return None
    return along if along == across else (along + across) / 2
