"""The structure of a PDF file: its pages, their fonts and their operators, within bounds.

pypdf reads it.  Before that it is looked at as bytes: a file as simple as those that jiggen writes
costs little, whatever is in it, and any other is refused.  Streams are unpacked here.
"""

from __future__ import annotations

import base64
import logging
import re
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from typing import Any

LARGEST = 4 * 2**20  # bytes of a file
OUTSIDE = 256 * 2**10  # bytes of it outside of streams
DRAWN = 3 * 2**19  # bytes that all streams read of it have unpacked
MOST_PAGES = 200
DEEPEST = 20  # brackets within brackets
LONGEST = 1000  # bytes of a name, a number or an operator
CATALOG = {"/Type", "/Pages", "/PageMode", "/ViewerPreferences"}
PAGE = {"/Type", "/Parent", "/MediaBox", "/Contents", "/Resources", "/Rotate", "/Trans"}
RESOURCES = {"/Font", "/ProcSet"}
FILTERS = {"/ASCII85Decode", "/FlateDecode"}
# Outside of streams: objects in streams, other tables, encryption, names in disguise.
REFUSED = re.compile(
    rb"/(?:ObjStm|XRef|XRefStm|Prev|Encrypt|DecodeParms|Crypt)\b|/[^\s/()<>\[\]]*#"
)
STRING = re.compile(rb"\((?:[^()\\]|\\.)*+\)", re.DOTALL)
BRACKET = re.compile(rb"<<|>>|\[|\]")
TOKEN = re.compile(rb"[^\s()<>\[\]{}/%]+")
PICTURE = re.compile(rb"(?<!\S)(?:BI|ID)(?!\S)")


class PdfError(ValueError):
    """A PDF that cannot be understood, or holds what jiggen does not write."""


@dataclass(frozen=True)
class PdfPage:
    """A page: its size in points, its fonts by name, and the stream of its operators."""

    size: tuple[float, float]
    fonts: Mapping[str, Mapping[str, Any]]
    content: Any


@contextmanager
def open_pdf(stream: BytesIO) -> Iterator[PdfFile]:
    """A file to read; whatever fails while it is read is a PdfError."""
    from pypdf.errors import PyPdfError

    log = logging.getLogger("pypdf")
    before = log.level
    log.setLevel(logging.CRITICAL)  # of its modules too
    try:
        yield PdfFile(stream)
    except PdfError:
        raise
    except (PyPdfError, ValueError, LookupError, TypeError, AttributeError, OSError) as error:
        reason = " ".join(str(error).split())[:200] or type(error).__name__
        raise PdfError(f"not a PDF as jiggen writes it: {reason}") from None
    except (RecursionError, AssertionError, OverflowError, NotImplementedError) as error:
        raise PdfError(f"not a PDF as jiggen writes it: {type(error).__name__}") from None
    finally:
        log.setLevel(before)


class PdfFile:
    """A PDF that is as simple as those that jiggen writes.  Every method raises PdfError."""

    def __init__(self, stream: BytesIO) -> None:
        from pypdf import PdfReader

        streams = _look_over(stream.getvalue())
        self.left = DRAWN
        reader = self._reader = PdfReader(stream, strict=True)
        for offset in (offset for table in reader.xref.values() for offset in table.values()):
            if any(low < offset < high for low, high in streams):
                raise PdfError("an object lies within a stream")
        _only(reader.root_object, CATALOG, "its catalog")
        about = reader.trailer.get("/Info", {})
        self.keywords = str(about.get_object().get("/Keywords", ""))[:LONGEST]
        self.pages = tuple(self._pages(reader.root_object["/Pages"].get_object()))

    def _pages(self, tree: Any) -> Iterator[PdfPage]:
        kids = tree["/Kids"]
        if len(kids) > MOST_PAGES:
            raise PdfError("it has pages without end")
        for page in (kid.get_object() for kid in kids):
            _only(page, PAGE, "a page")
            resources = page["/Resources"].get_object()
            _only(resources, RESOURCES, "a page's resources")
            left, foot, width, height = (float(side) for side in page["/MediaBox"])
            plain = page["/Type"] == "/Page" and not (left or foot or page.get("/Rotate", 0))
            if not plain or page.get("/Trans"):
                raise PdfError("a page is turned, or does not begin in its corner")
            fonts = resources.get("/Font", {}).get_object()
            named = {str(name): fonts[name].get_object() for name in fonts}
            yield PdfPage((width, height), named, page["/Contents"].get_object())

    def operations(self, page: PdfPage) -> Iterator[tuple[Any, str]]:
        """Every operator of a page, with its operands."""
        from pypdf.generic import ContentStream, DecodedStreamObject

        data = self.unpacked(page.content)
        plain = STRING.sub(b"()", data)
        if PICTURE.search(plain):
            raise PdfError("a page holds what jiggen does not draw")
        _refuse_endless(plain)
        stream = DecodedStreamObject()
        stream.set_data(data)
        for operands, operator in ContentStream(stream, self._reader).operations:
            yield operands, operator.decode("latin-1")

    def unpacked(self, stream: Any) -> bytes:
        """What a stream holds."""
        stream = stream.get_object()
        given = stream.get("/Filter", [])
        names = list(given) if isinstance(given, list) else [given]
        if len(names) > 2 or not FILTERS.issuperset(names):
            raise PdfError("a stream is packed as jiggen packs none")
        data = bytes(stream._data)
        for name in names:
            if name == "/ASCII85Decode":
                data = base64.a85decode(data.strip().removesuffix(b"~>"))
                continue
            unpacking = zlib.decompressobj()
            try:
                data = unpacking.decompress(data, self.left + 1)
            except zlib.error as error:
                raise PdfError(f"a stream is damaged: {error}") from None
        self.left -= len(data)
        if self.left < 0:
            raise PdfError(f"its pages unpack to more than {DRAWN / 2**20:g} MB")
        return data


def _only(found: Mapping[str, Any], known: set[str], what: str) -> None:
    odd = sorted(set(map(str, found)) - known)
    if odd:
        raise PdfError(f"{what} has what jiggen does not write: {odd[0][:20]}")


def _look_over(data: bytes) -> list[tuple[int, int]]:
    """Where the streams lie, if everything outside of them is simple."""
    if len(data) > LARGEST:
        raise PdfError(f"it is larger than {LARGEST // 2**20} MB")
    outside, streams, at = [], [], 0
    while (start := data.find(b"stream", at)) >= 0:
        outside.append(data[at:start])
        end = data.find(b"endstream", start)
        if end < 0:
            raise PdfError("a stream without an end")
        at = end + len(b"endstream")
        streams.append((start, end))
    text = b"\n".join([*outside, data[at:]])
    if len(text) > OUTSIDE or len(streams) > 10 * MOST_PAGES:
        raise PdfError("it has objects without end")
    plain = STRING.sub(b"()", text)
    if odd := REFUSED.search(plain):
        raise PdfError(f"it holds what jiggen does not write: {odd[0][:20].decode('latin-1')}")
    _refuse_endless(plain)
    return streams


def _refuse_endless(text: bytes) -> None:
    """Refuse words without end, and brackets within brackets without end."""
    longest = max((len(token[0]) for token in TOKEN.finditer(text)), default=0)
    depth = deepest = 0
    for bracket in BRACKET.finditer(text):
        depth += 1 if bracket[0] in (b"<<", b"[") else -1
        deepest = max(deepest, depth)
    if longest > LONGEST or deepest > DEEPEST:
        raise PdfError("it holds what jiggen does not write: words or brackets without end")
