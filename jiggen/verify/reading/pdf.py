"""What the pages of a PDF draw, by their own operators; pypdf reads the file's structure.

Only what jiggen's sheets consist of is read, and all of it is drawn on the page itself: no form,
no picture, no clipping, nothing laid over it.  What a file may cost is bounded before it is read.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from jiggen.verify.reading.pdf_file import PdfError, PdfFile, PdfPage, open_pdf

MM = 25.4 / 72  # one unit of default user space, ISO 32000-1, 8.3.2.3
ASCENT, DESCENT = 0.76, 0.24  # of DejaVu Sans over its type size: hhea table of the font
FULL_TURN = 4  # Bézier curves of a circle
ROUND = 1e-4  # mm between a circle's width and its height
UPRIGHT = 1e-6  # mm
MOST_KEPT = 50  # states saved one within another
_PAIR = re.compile(r"<([0-9A-Fa-f]{2})>\s*<([0-9A-Fa-f]{4})>")

Point = tuple[float, float]
Box = tuple[float, float, float, float]
Colour = tuple[float, ...]
Matrix = tuple[float, float, float, float, float, float]
"""As operators give it: ISO 32000-1, 8.3.3."""
SAME: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True)
class Stroke:
    """A straight stroke in mm from the page's lower left corner; `grey` is 1 for white."""

    start: Point
    end: Point
    width: float
    dashes: tuple[float, ...]
    grey: float

    @property
    def length(self) -> float:
        """From end to end, mm."""
        return math.dist(self.start, self.end)

    @property
    def upright(self) -> bool:
        """Whether it runs up the page."""
        return abs(self.start[0] - self.end[0]) < UPRIGHT

    @property
    def level(self) -> bool:
        """Whether it runs across the page."""
        return abs(self.start[1] - self.end[1]) < UPRIGHT


@dataclass(frozen=True)
class Ring:
    """A circle's line in mm from the page's lower left corner."""

    centre: Point
    radius: float


@dataclass(frozen=True)
class Word:
    """A run of text: its words, size in points as printed, its box in mm, and its grey."""

    text: str
    size: float
    box: Box
    grey: float


@dataclass
class Sheet:
    """One page as read, lengths in mm.

    `bends` are the boxes around other curves than circles, `areas` those around what is filled.
    """

    size: Point
    strokes: list[Stroke] = field(default_factory=list)
    rings: list[Ring] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)
    bends: list[Box] = field(default_factory=list)
    areas: list[Box] = field(default_factory=list)
    operators: set[str] = field(default_factory=set)
    colours: set[Colour] = field(default_factory=set)
    fonts_inside: bool = False

    @property
    def text(self) -> str:
        """All its words in the order in which they are drawn."""
        return " ".join(word.text for word in self.words)


@dataclass(frozen=True)
class Document:
    """A PDF: the words in its list of keywords, and its pages."""

    keywords: str
    pages: tuple[Sheet, ...]


def read_pages(data: bytes) -> tuple[Sheet, ...]:
    """The pages of a PDF file.  Raises PdfError."""
    return read_pdf(data).pages


def read_pdf(data: bytes) -> Document:
    """A PDF file of sheets.  Raises PdfError."""
    with open_pdf(io.BytesIO(data)) as file:
        return Document(file.keywords, tuple(_Page(file, page).sheet for page in file.pages))


class _Page:
    """Runs one page's operators (ISO 32000-1, annex A)."""

    def __init__(self, file: PdfFile, page: PdfPage) -> None:
        self.sheet = Sheet((page.size[0] * MM, page.size[1] * MM))
        self.fonts = {name: _Font(file, font) for name, font in page.fonts.items()}
        used = [font for font in self.fonts.values() if font.letters]
        self.sheet.fonts_inside = bool(used) and all(font.embedded for font in used)
        self.ctm = SAME
        self.look: dict[str, Any] = {
            "width": 1.0,
            "dashes": (),
            "ink": 0.0,
            "fill": 0.0,
            "font": ("", 0.0),
            "leading": 0.0,
        }
        self.kept: list[tuple[Matrix, dict[str, Any]]] = []
        self.path: list[Point] = []
        self.curves: list[Point] = []
        self.drawn: list[tuple[list[Point], list[Point]]] = []
        self.text = self.line_start = SAME
        for operands, name in file.operations(page):
            self.sheet.operators.add(name)
            run = OPERATORS.get(name)
            if run is None:
                raise PdfError(f"it draws with what jiggen does not use: {name[:10]}")
            try:
                run(self, *operands)
            except (TypeError, ValueError, LookupError, AttributeError, OverflowError) as error:
                raise PdfError(f"{name} is not used as it should be: {error}") from None

    def skip(self, *_: object) -> None:
        pass

    def save(self) -> None:
        if len(self.kept) > MOST_KEPT:
            raise PdfError("states are saved without end")
        self.kept.append((self.ctm, dict(self.look)))

    def restore(self) -> None:
        self.ctm, self.look = self.kept.pop()

    def concat(self, *numbers: float) -> None:
        self.ctm = _after(_matrix(numbers), self.ctm)

    def line_width(self, width: float) -> None:
        self.look["width"] = float(width)

    def dash(self, dashes: Sequence[float], _phase: float) -> None:
        self.look["dashes"] = tuple(float(dash) * MM for dash in dashes)

    def stroke_grey(self, grey: float) -> None:
        self.look["ink"] = float(grey)

    def stroke_colour(self, *parts: float) -> None:
        self.sheet.colours.add(tuple(float(part) for part in parts))
        self.look["ink"] = sum(map(float, parts)) / len(parts)

    def fill_grey(self, grey: float) -> None:
        self.look["fill"] = float(grey)

    def fill_colour(self, *parts: float) -> None:
        self.sheet.colours.add(tuple(float(part) for part in parts))
        self.look["fill"] = sum(map(float, parts)) / len(parts)

    def move(self, x: float, y: float) -> None:
        self._keep()
        self.path = [self._at(x, y)]

    def line(self, x: float, y: float) -> None:
        self.path.append(self._at(x, y))

    def curve(self, *numbers: float) -> None:
        _, _, _, _, x, y = numbers
        self.path.append(self._at(x, y))
        self.curves.append(self._at(x, y))

    def stroke(self) -> None:
        self._keep()
        for path, curves in self.drawn:
            if curves:
                x0, y0, x1, y1 = _around(curves)
                if len(curves) == FULL_TURN and abs((x1 - x0) - (y1 - y0)) < ROUND:
                    self.sheet.rings.append(Ring(((x0 + x1) / 2, (y0 + y1) / 2), (x1 - x0) / 2))
                else:
                    self.sheet.bends.append((x0, y0, x1, y1))
                continue
            width = self.look["width"] * _scale(self.ctm) * MM
            look = self.look["dashes"], self.look["ink"]
            self.sheet.strokes += [Stroke(a, b, width, *look) for a, b in pairwise(path)]
        self.drawn = []

    def fill(self) -> None:
        self._keep()
        points = [point for path, _ in self.drawn for point in path]
        if points:
            self.sheet.areas.append(_around(points))
        self.drawn = []

    def end_path(self) -> None:
        self.path, self.curves, self.drawn = [], [], []

    def fill_and_stroke(self) -> None:
        self._keep()
        drawn = self.drawn
        self.fill()
        self.drawn = drawn
        self.stroke()

    def _keep(self) -> None:
        """A path that is begun is one of those that will be drawn."""
        if self.path:
            self.drawn.append((self.path, self.curves))
        self.path, self.curves = [], []

    def begin_text(self) -> None:
        self.text = self.line_start = SAME

    def choose_font(self, name: str, size: float) -> None:
        self.look["font"] = (str(name), float(size))

    def text_matrix(self, *numbers: float) -> None:
        self.text = self.line_start = _matrix(numbers)

    def text_leading(self, leading: float) -> None:
        self.look["leading"] = float(leading)

    def text_move(self, x: float, y: float) -> None:
        self.text = self.line_start = _after(_matrix((1, 0, 0, 1, x, y)), self.line_start)

    def text_next(self) -> None:
        self.text_move(0, -self.look["leading"])

    def show(self, string: Any) -> None:
        name, size = self.look["font"]
        font = self.fonts[name]
        codes: bytes = string.original_bytes
        width = sum(font.widths[code] for code in codes) / 1000 * size
        whole = _after(self.text, self.ctm)
        box = _around([_moved(whole, 0.0, -DESCENT * size), _moved(whole, width, ASCENT * size)])
        shown = "".join(font.letters[code] for code in codes)
        self.sheet.words.append(Word(shown, size * _scale(whole), box, self.look["fill"]))
        self.text = _after((1.0, 0.0, 0.0, 1.0, width, 0.0), self.text)

    def _at(self, x: float, y: float) -> Point:
        return _moved(self.ctm, float(x), float(y))


OPERATORS: Mapping[str, Callable[..., None]] = {
    "q": _Page.save,
    "Q": _Page.restore,
    "cm": _Page.concat,
    "w": _Page.line_width,
    "d": _Page.dash,
    "J": _Page.skip,
    "j": _Page.skip,
    "G": _Page.stroke_grey,
    "RG": _Page.stroke_colour,
    "g": _Page.fill_grey,
    "rg": _Page.fill_colour,
    "m": _Page.move,
    "l": _Page.line,
    "c": _Page.curve,
    "h": _Page.skip,
    "S": _Page.stroke,
    "f": _Page.fill,
    "f*": _Page.fill,
    "B": _Page.fill_and_stroke,
    "B*": _Page.fill_and_stroke,
    "n": _Page.end_path,
    "BT": _Page.begin_text,
    "ET": _Page.skip,
    "Tf": _Page.choose_font,
    "Tm": _Page.text_matrix,
    "TL": _Page.text_leading,
    "Td": _Page.text_move,
    "T*": _Page.text_next,
    "Tj": _Page.show,
}


class _Font:
    """Widths and letters of an embedded font, as its own dictionary gives them."""

    def __init__(self, file: PdfFile, font: Mapping[str, Any]) -> None:
        try:
            first = int(font.get("/FirstChar", 0))
            widths = [float(width) for width in font.get("/Widths", ())]
            self.embedded = "/FontFile2" in font.get("/FontDescriptor", {})
        except (TypeError, ValueError) as error:
            raise PdfError(f"a font is not understood: {error}") from None
        self.widths = dict(enumerate(widths, start=first))
        cmap = file.unpacked(font["/ToUnicode"]).decode("latin-1") if "/ToUnicode" in font else ""
        self.letters = dict(_letters(cmap))


def _letters(cmap: str) -> Iterator[tuple[int, str]]:
    for code, letter in _PAIR.findall(cmap):
        yield int(code, 16), chr(int(letter, 16))


def _matrix(numbers: Sequence[float]) -> Matrix:
    a, b, c, d, e, f = map(float, numbers)
    return a, b, c, d, e, f


def _after(one: Matrix, other: Matrix) -> Matrix:
    """First `one`, then the `other`."""
    a, b, c, d, e, f = one
    p, q, r, s, t, u = other
    x, y = e * p + f * r + t, e * q + f * s + u
    return a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, x, y


def _moved(matrix: Matrix, x: float, y: float) -> Point:
    """A point in mm."""
    a, b, c, d, e, f = matrix
    return (a * x + c * y + e) * MM, (b * x + d * y + f) * MM


def _scale(matrix: Matrix) -> float:
    a, b, c, d, _, _ = matrix
    return math.sqrt(abs(a * d - b * c))


def _around(points: Sequence[Point]) -> Box:
    """The upright box around points."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)
