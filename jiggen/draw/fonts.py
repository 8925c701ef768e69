"""The two packaged fonts: how wide words are, and how they are broken into lines."""

from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

POINT = 25.4 / 72  # mm: the unit of PDF, ISO 32000-1, 8.3.2.3
CAPITALS = 0.729  # height of capitals over type size: DejaVu Sans Condensed, OS/2 sCapHeight
UNKNOWN = "\ufffd"


def points(size: float) -> float:
    """The height in mm of capitals in type of `size` points."""
    return size * POINT * CAPITALS


@cache
def _font(bold: bool) -> Any:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name = f"DejaVuSansCondensed{'-Bold' * bold}"
    with files("jiggen").joinpath("fonts", f"{name}.ttf").open("rb") as stream:
        font = TTFont(name, stream)
    pdfmetrics.registerFont(font)
    return font


def font_name(bold: bool) -> str:
    """The name reportlab knows the font by, once it is loaded."""
    return str(_font(bold).fontName)


def plain(text: str) -> str:
    """`text` on one line, with a mark for every character that cannot be printed."""
    known, words = _known(), " ".join(text.split())
    return "".join(c if c.isprintable() and ord(c) in known else UNKNOWN for c in words)


@cache
def _known() -> frozenset[int]:
    """The characters that both fonts have."""
    regular, bold = (_font(weight).face.charToGlyph for weight in (False, True))
    return frozenset(regular.keys() & bold.keys())


@lru_cache(maxsize=10_000)
def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """Width in mm of `words` set in `size` points."""
    return float(_font(bold).stringWidth(words, size)) * POINT


def wrap(words: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """`words` on lines no wider than `width` mm; a word that is too long by itself stays whole."""
    from reportlab.lib.utils import simpleSplit

    return list(simpleSplit(words, font_name(bold), size, width / POINT))


def fit(
    words: str, largest: float, least: float, width: float, lines: int = 1, *, bold: bool = False
) -> float:
    """The largest type size that sets `words` on `lines` lines with no word broken.

    It is tried from `largest` down to `least`, which is taken where none does.
    """
    size = largest
    while size > least:
        broken = any(width_of(word, size, bold=bold) > width for word in words.split())
        if not broken and len(wrap(words, size, width, bold=bold)) <= lines:
            break
        size -= 0.5
    return max(size, least)
