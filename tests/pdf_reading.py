"""What a PDF draws, read from its content streams with pypdf: no code of ours takes part."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

MM = 25.4 / 72  # one unit of default user space, ISO 32000-1, 8.3.2.3
ASCENT, DESCENT = 0.76, 0.24  # of DejaVu Sans over its type size: hhea table of the font
FULL_TURN = 4  # Bézier curves of a circle


@dataclass(frozen=True)
class Stroke:
    """A straight stroke in mm from the page's lower left corner."""

    start: tuple[float, float]
    end: tuple[float, float]
    width: float
    dashes: tuple[float, ...]
    grey: float

    @property
    def length(self) -> float:
        return float(np.hypot(*np.subtract(self.end, self.start)))

    @property
    def upright(self) -> bool:
        return abs(self.start[0] - self.end[0]) < 1e-6


@dataclass(frozen=True)
class Ring:
    centre: tuple[float, float]
    radius: float


@dataclass(frozen=True)
class Word:
    """A run of text: its words, size in points as printed, and its box in mm."""

    text: str
    size: float
    box: tuple[float, float, float, float]


@dataclass
class Sheet:
    """One page as read, lengths in mm."""

    size: tuple[float, float]
    strokes: list[Stroke] = field(default_factory=list)
    rings: list[Ring] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)
    operators: set[str] = field(default_factory=set)
    colours: set[tuple[float, float, float]] = field(default_factory=set)
    fonts_inside: bool = False

    @property
    def text(self) -> str:
        return " ".join(word.text for word in self.words)


def read_pdf(data: bytes) -> list[Sheet]:
    reader = PdfReader(io.BytesIO(data))
    return [_Page(reader, page).sheet for page in reader.pages]


class _Page:
    """Runs one page's operators (ISO 32000-1, annex A)."""

    def __init__(self, reader, page) -> None:
        assert page.get("/UserUnit", 1) == 1
        assert page.get("/Rotate", 0) == 0
        left, foot, right, top = (float(side) for side in page.mediabox)
        assert (left, foot) == (0, 0)
        self.sheet = Sheet((right * MM, top * MM))
        self.fonts = {name: _Font(font) for name, font in page["/Resources"]["/Font"].items()}
        used = [font for font in self.fonts.values() if font.letters]
        self.sheet.fonts_inside = bool(used) and all(font.embedded for font in used)
        self.state = {"ctm": np.eye(3), "width": 1.0, "dashes": (), "grey": 0.0, "font": ("", 0)}
        self.kept = []
        self.path, self.curves = [], []
        self.text = self.line_start = np.eye(3)
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            name = operator.decode()
            self.sheet.operators.add(name)
            getattr(self, _NAMES.get(name, "skip"))(*operands)

    def skip(self, *_) -> None:
        pass

    def save(self) -> None:
        self.kept.append(dict(self.state))

    def restore(self) -> None:
        self.state = self.kept.pop()

    def concat(self, *numbers) -> None:
        self.state["ctm"] = _matrix(numbers) @ self.state["ctm"]

    def line_width(self, width) -> None:
        self.state["width"] = float(width)

    def dash(self, dashes, _phase) -> None:
        self.state["dashes"] = tuple(float(dash) * MM for dash in dashes)

    def stroke_grey(self, grey) -> None:
        self.state["grey"] = float(grey)

    def stroke_colour(self, *parts) -> None:
        self.fill_colour(*parts)
        self.state["grey"] = float(np.mean([float(part) for part in parts]))

    def fill_colour(self, *parts) -> None:
        self.sheet.colours.add(tuple(float(part) for part in parts))

    def move(self, x, y) -> None:
        self.path = [self._at(x, y)]
        self.curves = []

    def line(self, x, y) -> None:
        self.path.append(self._at(x, y))

    def curve(self, *numbers) -> None:
        self.path.append(self._at(*numbers[4:]))
        self.curves.append(self._at(*numbers[4:]))

    def stroke(self) -> None:
        scale = abs(np.linalg.det(self.state["ctm"][:2, :2])) ** 0.5
        if len(self.curves) == FULL_TURN:
            low, high = np.min(self.curves, axis=0), np.max(self.curves, axis=0)
            assert np.ptp(high - low) < 1e-4, "a circle is round"
            centre = tuple(float(value) for value in (low + high) / 2)
            self.sheet.rings.append(Ring(centre, float(high[0] - low[0]) / 2))
        else:
            assert not self.curves
            width, state = self.state["width"] * scale * MM, self.state
            self.sheet.strokes += [
                Stroke(a, b, width, state["dashes"], state["grey"]) for a, b in pairwise(self.path)
            ]
        self.path, self.curves = [], []

    def end_path(self) -> None:
        self.path, self.curves = [], []

    def begin_text(self) -> None:
        self.text = self.line_start = np.eye(3)

    def choose_font(self, name, size) -> None:
        self.state["font"] = (name, float(size))

    def text_matrix(self, *numbers) -> None:
        self.text = self.line_start = _matrix(numbers)

    def text_leading(self, leading) -> None:
        self.state["leading"] = float(leading)

    def text_move(self, x, y) -> None:
        self.text = self.line_start = _matrix((1, 0, 0, 1, x, y)) @ self.line_start

    def text_next(self) -> None:
        self.text_move(0, -self.state["leading"])

    def show(self, string) -> None:
        name, size = self.state["font"]
        font = self.fonts[name]
        codes = string.original_bytes
        width = sum(font.widths[code] for code in codes) / 1000 * size
        whole = self.text @ self.state["ctm"]
        corners = [(0, -DESCENT * size), (width, ASCENT * size)]
        (x0, y0, _), (x1, y1, _) = (np.array([*corner, 1.0]) @ whole * MM for corner in corners)
        box = (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
        shown = "".join(font.letters[code] for code in codes)
        scale = abs(np.linalg.det(whole[:2, :2])) ** 0.5
        self.sheet.words.append(Word(shown, size * scale, tuple(map(float, box))))
        self.text = _matrix((1, 0, 0, 1, width, 0)) @ self.text

    def _at(self, x, y) -> tuple[float, float]:
        x, y, _ = np.array([float(x), float(y), 1.0]) @ self.state["ctm"] * MM
        return float(x), float(y)


_NAMES = {
    "q": "save",
    "Q": "restore",
    "cm": "concat",
    "w": "line_width",
    "d": "dash",
    "G": "stroke_grey",
    "RG": "stroke_colour",
    "rg": "fill_colour",
    "m": "move",
    "l": "line",
    "c": "curve",
    "S": "stroke",
    "f": "end_path",
    "f*": "end_path",
    "n": "end_path",
    "BT": "begin_text",
    "Tf": "choose_font",
    "Tm": "text_matrix",
    "TL": "text_leading",
    "Td": "text_move",
    "T*": "text_next",
    "Tj": "show",
}


class _Font:
    """Widths and letters of an embedded font, as its own dictionary gives them."""

    def __init__(self, font) -> None:
        font = font.get_object()
        first = int(font.get("/FirstChar", 0))
        self.widths = dict(enumerate((float(w) for w in font.get("/Widths", ())), start=first))
        self.embedded = "/FontFile2" in font.get("/FontDescriptor", {})
        cmap = font["/ToUnicode"].get_data().decode() if "/ToUnicode" in font else ""
        pairs = re.findall(r"<([0-9A-Fa-f]{2})>\s*<([0-9A-Fa-f]{4})>", cmap)
        self.letters = {int(code, 16): chr(int(letter, 16)) for code, letter in pairs}


def _matrix(numbers) -> np.ndarray:
    a, b, c, d, e, f = (float(number) for number in numbers)
    return np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]])
