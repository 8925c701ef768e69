"""Mutations of the sheet and the page: what is drawn and said on paper, and in the browser."""

from __future__ import annotations

import base64
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path

from mutation import Mutation
from mutations_drawings import edited

from jiggen.files import MANIFEST

SHEET, PAGE = "sheet.pdf", "report.html"
OBJECT = re.compile(rb"(\d+) 0 obj\n(.*?)\nendobj\n", re.DOTALL)
PACKED = re.compile(rb"(.*?)stream\r?\n(.*?)\s*endstream", re.DOTALL)
WORDS, LOOK, OTHER = "verify.sheet-words", "verify.tile-look", "verify.other-record"
MOVED, MISSING = "verify.drawn-moved", "verify.drawn-missing"
EXTRA, UNREADABLE = "verify.drawn-extra", "verify.unreadable"
SAID, CODE = "verify.page-words", "verify.page-code"
STRIP = "verify.sheet-strip"
Change = Callable[[bytes], bytes]


def objects_of(data: bytes) -> dict[int, bytes]:
    return {int(number): body for number, body in OBJECT.findall(data)}


def pdf_of(objects: dict[int, bytes], before: bytes) -> bytes:
    """The objects as a file, with the trailer of the one `before`."""
    out, places = before[: before.index(b"1 0 obj")], {}
    for number, body in sorted(objects.items()):
        places[number] = len(out)
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    trailer = before[before.rindex(b"trailer") : before.rindex(b"startxref")]
    table = b"".join(b"%010d 00000 n \n" % places[n] for n in sorted(places))
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n%s" % (len(places) + 1, table)
    return out + trailer + b"startxref\n%d\n%%%%EOF\n" % start


def unpacked(body: bytes) -> bytes:
    return zlib.decompress(base64.a85decode(PACKED.fullmatch(body)[2].strip().removesuffix(b"~>")))


def packed(content: bytes) -> bytes:
    data = base64.a85encode(zlib.compress(content)) + b"~>"
    head = b"<<\n/Filter [ /ASCII85Decode /FlateDecode ] /Length %d\n>>\n" % len(data)
    return head + b"stream\n" + data + b"\nendstream"


def drawn(change: Callable[[bytes, bool], bytes]) -> Callable[[Path], None]:
    """`change` the operators of every page; the second argument says whether it lies."""

    def apply(folder: Path) -> None:
        data = (folder / SHEET).read_bytes()
        objects, done = objects_of(data), False
        for body in [body for body in objects.values() if b"/Type /Page\n" in body]:
            at = int(re.search(rb"/Contents (\d+) 0 R", body)[1])
            before = unpacked(objects[at])
            after = change(before, b"0 0 841" in body)
            done |= after != before
            objects[at] = packed(after)
        assert done
        (folder / SHEET).write_bytes(pdf_of(objects, data))

    return apply


def lying(change: Change) -> Callable[[Path], None]:
    return drawn(lambda content, lies: change(content) if lies else content)


def objects(change: Callable[[dict[int, bytes]], None]) -> Callable[[Path], None]:
    """`change` the file's objects."""

    def apply(folder: Path) -> None:
        data = (folder / SHEET).read_bytes()
        found = objects_of(data)
        change(found)
        (folder / SHEET).write_bytes(pdf_of(found, data))

    return apply


def _body(found: dict[int, bytes], kind: bytes) -> list[int]:
    return [n for n, body in found.items() if kind in body and b"stream" not in body]


def without_page(number: int) -> Callable[[Path], None]:
    def change(found: dict[int, bytes]) -> None:
        [tree] = _body(found, b"/Type /Pages")
        kids = re.findall(rb"\d+ 0 R", found[tree])
        found[tree] = found[tree].replace(kids[number] + b" ", b"")

    return objects(change)


def replaced(kind: bytes, old: bytes, new: bytes) -> Callable[[Path], None]:
    def change(found: dict[int, bytes]) -> None:
        for number in _body(found, kind):
            assert re.search(old, found[number])
            found[number] = re.sub(old, new, found[number])

    return objects(change)


LAID = rb"(?<=1.417323 w\n\[\] 0 d\n0 G\n)n (\S+) (\S+) m \S+ (\S+) l S"


def shifted(found: re.Match[bytes]) -> bytes:
    """The bold line of a strip picture, a millimetre of the tongue farther."""
    x = float(found[1]) + 2.4 / 25.4 * 72
    return b"n %f %s m %f %s l S" % (x, found[2], x, found[3])


CIRCLE = rb"n\n\S+ \S+ m\n(?:\S+ \S+ \S+ \S+ \S+ \S+ c\n){4}S"


def moved(content: bytes, dx: float = 0.0, dy: float = 0.0) -> bytes:
    """Every circle and its cross moved, by a matrix around them."""
    shift = b"1 0 0 1 %f %f cm" % (dx / 25.4 * 72, dy / 25.4 * 72)
    return re.sub(CIRCLE, rb"q %s \g<0> Q" % shift, content)


def scaled(factor: float, other: float | None = None) -> Change:
    matrix = b"%f 0 0 %f 0 0 cm\n" % (factor, other or factor)
    return lambda content: matrix + content


def said(folder: Path, *changes: tuple[str, str]) -> None:
    edited(PAGE, *changes)(folder)


def shown(old: str, new: str, size: int = 0) -> Callable[[Path], None]:
    """Words of the sheet, which are in codes of their font, replaced by others of them."""
    from jiggen.verify.reading.pdf_file import PdfFile

    def codes(words: str, letters: dict[str, int]) -> bytes:
        text = bytes(letters[letter] for letter in words)
        return re.sub(rb"([()\\])", rb"\\\1", text)

    def apply(folder: Path) -> None:
        import io

        from jiggen.verify.reading.pdf import _letters

        data = (folder / SHEET).read_bytes()
        file = PdfFile(io.BytesIO(data))
        fonts = [
            {letter: code for code, letter in _letters(file.unpacked(font["/ToUnicode"]).decode())}
            for font in file.pages[0].fonts.values()
            if "/ToUnicode" in font
        ]

        def change(content: bytes, _: bool) -> bytes:
            for letters in fonts:
                if set(old + new) <= letters.keys():
                    content = content.replace(codes(old, letters), codes(new, letters))
            return content

        drawn(change)(folder)

    return apply


def jig_marks(paper: str, change: Callable[[str], str]) -> Callable[[Path], None]:
    """The jig mark as `change` makes it, wherever it stands on the sheet or on the page."""

    def apply(folder: Path) -> None:
        old = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["jig_mark"]
        (shown(old, change(old)) if paper == SHEET else edited(PAGE, (old, change(old))))(folder)

    return apply


def turned(mark: str) -> str:
    return mark[::-1]


def none(mark: str) -> str:
    return " " * len(mark)


def replace_page(text: str) -> Callable[[Path], None]:
    return lambda folder: (folder / PAGE).write_text(text, encoding="utf-8")


def scene_of_nothing(folder: Path) -> None:
    said(folder, (r'(?s)(id="scene">).*?</script>', r"\1{}</script><script>1</script>"))


def other_sheet(folder: Path) -> None:
    """The sheet of the same jig for a ski with a metal sheet."""
    from record_samples import sheet_pdf

    data = json.loads((folder / "manifest.json").read_text())
    data["inputs"]["core"] = "metal"
    (folder / SHEET).write_bytes(sheet_pdf(data))


def other_page(folder: Path) -> None:
    from record_samples import report_html

    data = json.loads((folder / "manifest.json").read_text())
    data["inputs"]["shift"] = 2.5
    (folder / PAGE).write_text(report_html(folder, data), encoding="utf-8")


PROOF = (
    "<!DOCTYPE html>\n<html><body><h1>PROOF PASSED</h1><script>alert(1)</script></body></html>\n"
)
RING = (
    b"\nn 410 300 m 410 302.76 407.76 305 405 305 c 402.24 305 400 302.76 400 300 c "
    b"400 297.24 402.24 295 405 295 c 407.76 295 410 297.24 410 300 c h S\n"
)
COVER = b"\nq 1 g 100 100 m 500 100 l 500 400 l 100 400 l h f Q\n"
PAPERS = [
    ("sheet.pdf of another jig", other_sheet, (OTHER,)),
    (
        "sheet.pdf of another record",
        replaced(b"/Keywords", rb"jiggen-record \w+", b"jiggen-record 00"),
        (OTHER,),
    ),
    ("sheet.pdf of no record", replaced(b"/Keywords", rb"jiggen-record \w+", b""), (OTHER,)),
    ("a 1:1 page scaled 1 %", lying(scaled(1.01)), ("verify.sheet-scale",)),
    ("a 1:1 page scaled 0.2 % along", lying(scaled(1.002, 1.0)), ("verify.sheet-scale",)),
    (
        "a 1:1 page mirrored",
        lying(lambda content: b"-1 0 0 1 841.8898 0 cm\n" + content),
        (LOOK, "verify.tile-join"),
    ),
    ("holes of the 1:1 pages moved 1 mm", lying(lambda content: moved(content, 1.0)), (MOVED,)),
    (
        "holes of the 1:1 pages moved 0.05 mm",
        lying(lambda content: moved(content, 0.0, 0.05)),
        (MOVED,),
    ),
    (
        "every hole of the 1:1 pages left out",
        lying(lambda content: re.sub(CIRCLE, b"", content)),
        (MISSING,),
    ),
    (
        "one hole left out of a 1:1 page",
        lying(lambda content: re.sub(CIRCLE, b"", content, count=1)),
        (MISSING,),
    ),
    (
        "a 1:1 page with one more hole",
        lying(lambda content: content + RING),
        (EXTRA,),
    ),
    (
        "the small drawing's holes moved",
        drawn(
            lambda content, lies: (
                content
                if lies
                else re.sub(
                    CIRCLE,
                    rb"q 1 0 0 1 3 0 cm \g<0> Q",
                    content,
                    count=1,
                )
            )
        ),
        ("verify.sheet-drawing",),
    ),
    ("a 1:1 page under a white sheet", lying(lambda content: content + COVER), (LOOK,)),
    (
        "a 1:1 page clipped",
        lying(lambda content: b"n 0 0 m 9 0 l 9 9 l h W n\n" + content),
        (UNREADABLE,),
    ),
    ("the last page left out", without_page(-1), ("verify.sheet-page", "verify.tile-place")),
    ("the second page left out", without_page(1), ("verify.sheet-page",)),
    (
        "a 1:1 page on larger paper",
        replaced(
            b"/Type /Page\n",
            rb"\[ 0 0 841.8898 595.2756 \]|\[ 0 0 595.2756 841.8898 \]",
            b"[ 0 0 850 595.2756 ]",
        ),
        ("verify.sheet-page",),
    ),
    ("pages turned", replaced(b"/Type /Page\n", rb"/Rotate 0", b"/Rotate 180"), (UNREADABLE,)),
    (
        "pages in another unit",
        replaced(b"/Type /Page\n", rb"/Rotate 0", b"/Rotate 0 /UserUnit 1.01"),
        (UNREADABLE,),
    ),
    ("another depth stop on the sheet", shown("23.2", "33.2"), (WORDS,)),
    ("another drill on the sheet", shown("3.6", "4.6"), (WORDS,)),
    ("another boot on the sheet", shown("305 mm", "295 mm"), (WORDS,)),
    ("another jig mark on the sheet", jig_marks(SHEET, turned), (WORDS,)),
    ("no jig mark on the sheet", jig_marks(SHEET, none), (WORDS,)),
    ("another jig mark on the page", jig_marks(PAGE, turned), (SAID,)),
    ("no jig mark on the page", jig_marks(PAGE, none), (SAID,)),
    ("a hole's place on the sheet", shown("155.3 to tip", "155.8 to tip"), (WORDS,)),
    ("left and right exchanged on the sheet", shown("17.3 left", "17.3 tip"), (WORDS,)),
    ("no cautions on the sheet", shown("Wear eye protection", "Work in safety now "), (WORDS,)),
    (
        "words in white",
        drawn(lambda content, _: content.replace(b"0 g", b"1 g").replace(b"0 0 0 rg", b"1 1 1 rg")),
        (WORDS,),
    ),
    ("report.html of another jig", other_page, (OTHER,)),
    ("report.html replaced by PROOF PASSED and a script", replace_page(PROOF), (UNREADABLE,)),
    (
        "a script more in the page",
        edited(PAGE, ("</main>", "</main><script>document.title=1</script>")),
        (CODE,),
    ),
    (
        "another script in the page",
        edited(PAGE, (r"(?s)<script>.*?</script>", "<script>1</script>")),
        (CODE,),
    ),
    (
        "another style in the page",
        edited(PAGE, (r"(?s)<style>.*?</style>", "<style>.failed {display: none}</style>")),
        (CODE,),
    ),
    (
        "no policy in the page",
        edited(PAGE, (r'<meta http-equiv="Content-Security-Policy"[^>]*>', "")),
        (CODE,),
    ),
    (
        "another picture in the page",
        edited(PAGE, (r'src="data:image/png;base64,[^"]*"', 'src="data:image/png;base64,AAAA"')),
        (CODE,),
    ),
    (
        "a link out of the folder",
        edited(PAGE, (r'href="./jig.step"', 'href="./../jig.step"')),
        (CODE,),
    ),
    ("an attribute that runs", edited(PAGE, (r"<h1>", '<h1 onclick="go()">')), (UNREADABLE,)),
    ("a hole's place on the page", edited(PAGE, (r"\+155\.30", "+155.80")), (SAID,)),
    ("a depth stop on the page", edited(PAGE, (r">23\.2<", ">13.2<")), (SAID,)),
    ("another boot on the page", edited(PAGE, (r"<dd>305 mm<", "<dd>295 mm<")), (SAID,)),
    (
        "another checksum on the page",
        edited(PAGE, (r"<code>[0-9a-f]{8}", "<code>1234abcd")),
        (SAID,),
    ),
    ("no cautions on the page", edited(PAGE, ("Wear eye protection", "Wear a hat")), (SAID,)),
    (
        "another verdict on the page",
        edited(PAGE, ('class="verdict passed"', 'class="verdict failed"')),
        (SAID,),
    ),
    ("the page's drawing moved", edited(PAGE, (r'cx="(\d+)', r'cx="1\1')), (MISSING,)),
    (
        "the page of another record",
        edited(PAGE, (r'(name="jiggen-record" content=")\w+', r"\g<1>00")),
        (OTHER,),
    ),
    ("the page cut short", edited(PAGE, (r"(?s)</table>.*", "</table>")), (UNREADABLE,)),
]

MUTATIONS = [
    *(Mutation(name, "paper", apply, codes) for name, apply, codes in PAPERS),
    Mutation(
        "another distance on a boot's row", "paper", shown("152.8", "125.8"), (WORDS,), "boots"
    ),
    Mutation(
        "another line for a boot on the page",
        "paper",
        edited(PAGE, (r"2nd line from 305", "1st line from 305")),
        (SAID,),
        "boots",
    ),
    Mutation(
        "another line on the mark of a picture",
        "paper",
        drawn(lambda content, _: re.sub(LAID, shifted, content)),
        (STRIP,),
        "boots",
    ),
    Mutation(
        "another reading on the gauge's sheet",
        "paper",
        shown("147.42", "174.42"),
        (WORDS,),
        "gauge",
    ),
    Mutation(
        "the gauge's sheet without its second page",
        "paper",
        without_page(1),
        ("verify.sheet-page", WORDS),
        "gauge",
    ),
    Mutation(
        "a gauge's sheet of another record",
        "paper",
        replaced(b"/Keywords", rb"jiggen-record \w+", b""),
        (OTHER,),
        "gauge",
    ),
]
