"""What the verification reads of drawings, sheets and pages, and what it refuses to read."""

from __future__ import annotations

import base64
import json
import zlib

import pytest
from record_samples import sheet_pdf
from sheet_samples import shipped

from jiggen.draw.shapes import Circle, Drawing, Pen
from jiggen.export.hole_plan import layout_dxf, layout_svg
from jiggen.files import mark_of
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.verify.reading.dxf import read_dxf_plan
from jiggen.verify.reading.pdf import read_pages, read_pdf
from jiggen.verify.reading.pdf_file import PdfError
from jiggen.verify.reading.plan import DrawingError
from jiggen.verify.reading.svg import read_svg_plan

MARK = "ab" * 32
READERS = {"svg": read_svg_plan, "dxf": read_dxf_plan}


def drawn(kind: str, layout: Layout) -> bytes:
    if kind == "svg":
        return layout_svg(layout, (84.0, 112.0), MARK).encode()
    return layout_dxf(layout, (84.0, 112.0), MARK)


def of(stem: str) -> Layout:
    return lay_out(read_pattern(find_pattern(stem)), 305.0, mount_shift=-2.5)


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize("stem", ["club-piste", "skew-plate"])
def test_a_drawing_is_read_as_it_was_drawn(kind: str, stem: str):
    layout = of(stem)
    plan = READERS[kind](drawn(kind, layout))
    assert plan.marks == (MARK,)
    assert plan.unit == (1.0, 1.0)
    assert [(*ring.at, ring.diameter) for ring in plan.rings] == [
        pytest.approx((x, y, d), abs=2e-6)
        for (x, y), d in zip(layout.positions.tolist(), layout.diameters.tolist(), strict=True)
    ]
    assert len(plan.on("crosses")) == 2 * len(plan.rings)
    [mark] = plan.on("mounting-mark")
    assert (mark.start[0], mark.end[0]) == (0.0, 0.0)
    assert {word.text for word in plan.words} >= {"tip", "left", "right", *layout.ids}
    if kind == "svg":
        assert tuple(ring.name for ring in plan.rings) == layout.ids


@pytest.mark.parametrize(
    ("kind", "old", "new"),
    [
        ("svg", "<g ", '<g transform="translate(1 0)" '),
        ("svg", "<circle ", '<circle style="display:none" '),
        ("svg", "</svg>", "<script>alert(1)</script></svg>"),
        ("svg", "</svg>", '<image href="a.png" /></svg>'),
        ("svg", "<svg ", "<!DOCTYPE svg [<!ENTITY a 'b'>]><svg "),
        ("svg", 'width="', 'width="9e9'),
        ("svg", 'cx="', 'cx="nan'),
        ("svg", "mm", "in"),
        ("dxf", "CIRCLE", "INSERT"),
        ("dxf", "CIRCLE", "ELLIPSE"),
        ("dxf", "AcDbCircle\n 10", "AcDbCircle\n 60\n1\n 10"),
        ("dxf", "AcDbCircle\n 10", "AcDbCircle\n230\n-1.0\n 10"),
        ("dxf", "  0\nENDBLK", "  0\nLINE\n  8\nholes\n  0\nENDBLK"),
        ("dxf", "holes\n 70\n0", "holes\n 70\n1"),
        ("dxf", "holes\n 70\n0\n 62\n7", "holes\n 70\n0\n 62\n-7"),
        ("dxf", "  0\nEOF", "  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF"),
    ],
)
def test_a_drawing_with_more_than_jiggen_draws_is_refused(kind: str, old: str, new: str):
    text = drawn(kind, of("club-piste")).decode()
    assert old in text
    with pytest.raises(DrawingError):
        READERS[kind](text.replace(old, new, 1).encode())


def test_a_sheet_bears_the_mark_of_its_record():
    data = shipped("club-piste")
    mark = mark_of(data)
    assert read_pdf(sheet_pdf(data)).keywords == f"jiggen-record {mark}"
    later = data | {"files": {}, "verification": None, "printing": None}
    assert mark_of(later) == mark
    assert mark_of(json.loads(json.dumps(data))) == mark
    moved = data | {"inputs": data["inputs"] | {"shift": 0.001}}
    assert mark_of(moved) != mark


@pytest.mark.parametrize("time", ["1700000000", "yesterday"])
def test_no_clock_is_in_a_pdf(time: str, monkeypatch: pytest.MonkeyPatch):
    from jiggen.draw.pdf import pdf_bytes

    data = shipped("hut-plate")
    drawing = Drawing("one", (0.0, 0.0), (50.0, 50.0), {}, [Circle((20.0, 20.0), 3.0, Pen(0.2))])
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    before = sheet_pdf(data), pdf_bytes(drawing)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", time)
    assert (sheet_pdf(data), pdf_bytes(drawing)) == before


def pdf(objects: str, stream: bytes = b"0 0 m 9 9 l S", filters: str = "") -> bytes:
    """A small file of one page; in `objects` a line replaces the one of its number."""
    lines = {
        1: "<< /Type /Catalog /Pages 2 0 R >>",
        2: "<< /Type /Pages /Count 1 /Kids [3 0 R] >>",
        3: "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R "
        "/Resources << /Font << >> >> >>",
        5: "<< /Keywords (none) >>",
    }
    lines |= {int(line[0]): line[2:] for line in objects.splitlines()}
    out, places = b"%PDF-1.4\n", []
    for number in range(1, 6):
        places.append(len(out))
        if number == 4:
            head = f"4 0 obj\n<< /Length {len(stream)} {filters} >>\nstream\n".encode()
            out += head + stream + b"\nendstream\nendobj\n"
        else:
            out += f"{number} 0 obj\n{lines[number]}\nendobj\n".encode()
    start = len(out)
    out += b"xref\n0 6\n0000000000 65535 f \n"
    out += b"".join(f"{place:010d} 00000 n \n".encode() for place in places)
    return (
        out
        + f"trailer\n<< /Size 6 /Root 1 0 R /Info 5 0 R >>\nstartxref\n{start}\n%%EOF\n".encode()
    )


def test_a_small_pdf_is_read():
    [page] = read_pages(pdf(""))
    [stroke] = page.strokes
    assert stroke.end == pytest.approx((9 * 25.4 / 72, 9 * 25.4 / 72))
    packed = base64.a85encode(zlib.compress(b"1 0 0 1 72 0 cm 0 0 m 0 72 l S")) + b"~>"
    [page] = read_pages(pdf("", packed, "/Filter [/ASCII85Decode /FlateDecode]"))
    assert page.strokes[0].start == pytest.approx((25.4, 0.0))


BOMB = zlib.compress(zlib.compress(b"0 0 m " * 40_000_000, 9), 9)
HOSTILE = {
    "a bomb": (pdf("", BOMB, "/Filter [/FlateDecode /FlateDecode]")),
    "more filters": pdf("", BOMB, "/Filter [/FlateDecode /FlateDecode /FlateDecode]"),
    "nested arrays": pdf("5 << /Keywords " + "[" * 90_000 + "]" * 90_000 + " >>"),
    "nested operands": pdf("", b"[" * 200_000 + b"]" * 200_000 + b" 0 d"),
    "a page that is its own parent": pdf("2 << /Type /Pages /Count 1 /Kids [2 0 R] >>"),
    "one page for ever": pdf(
        "2 << /Type /Pages /Count 1 /Kids [" + "3 0 R " * 40_000 + "] >>", b"0 0 m " * 100_000
    ),
    "a long name": pdf("5 << /" + "a" * 250_000 + " (x) >>"),
    "a long operand": pdf("", b"9" * 1_000_000 + b" w"),
    "pictures": pdf("", b"BI ID " * 160_000),
    "strings": pdf("", b"(" * 1_000_000),
    "saved states": pdf("", b"q " * 50_000),
    "comments": pdf("", b"%\n" * 200_000),
    "paths": pdf("", b"0 0 m 1 1 l " * 20_000 + b"S"),
    "an action": pdf("1 << /Type /Catalog /Pages 2 0 R /OpenAction 5 0 R >>"),
    "a form": pdf(
        "3 << /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R "
        "/Resources << /XObject << >> >> >>"
    ),
    "an annotation": pdf(
        "3 << /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R "
        "/Annots [5 0 R] /Resources << /Font << >> >> >>"
    ),
    "a turned page": pdf(
        "3 << /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R "
        "/Rotate 180 /Resources << /Font << >> >> >>"
    ),
    "a name in disguise": pdf("5 << /#45ncrypt 1 >>"),
    "clipping": pdf("", b"0 0 m 9 9 l W n"),
    "nothing": b"",
    "words": b"%PDF-1.4\nhello",
}
READ = {"paths", "comments"}  # there is nothing wrong with them


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_pdf_is_refused_and_costs_little(name: str, costs_little):
    with costs_little():
        if name in READ:
            read_pages(HOSTILE[name])
            return
        with pytest.raises(PdfError):
            read_pages(HOSTILE[name])


FAT = {
    "elements": ("svg", b"<svg>" + b"<g>" * 300_000),
    "an attribute": ("svg", b'<svg style="' + b"a:" * 500_000 + b'">'),
    "attributes": ("svg", b"<svg " + b" ".join(b'a%d="1"' % n for n in range(90_000)) + b">"),
    "text": ("svg", b"<svg>" + b"a" * 1_000_000),
    "lines": ("dxf", b"0\n" * 500_000),
    "circles": ("dxf", b"0\nSECTION\n2\nENTITIES\n" + b"0\nCIRCLE\n" * 90_000),
    "sections": ("dxf", b"0\nSECTION\n2\nA\n0\nENDSEC\n" * 40_000),
    "variables": ("dxf", b"0\nSECTION\n2\nHEADER\n" + b"9\n$A\n" * 160_000),
    "one line": ("dxf", b"0" * 1_000_000),
}


@pytest.mark.parametrize("name", FAT)
def test_a_fat_drawing_is_refused_and_costs_little(name: str, costs_little):
    kind, data = FAT[name]
    with costs_little(), pytest.raises(DrawingError):
        READERS[kind](data)


@pytest.fixture
def costs_little():
    """At most 5 s of the processor and 300 MB within."""
    import resource
    import time
    from contextlib import contextmanager

    @contextmanager
    def measured():
        def peak() -> float:
            return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

        before, start = peak(), time.process_time()
        yield
        assert time.process_time() - start < 5.0
        assert peak() - before < 300.0

    return measured
