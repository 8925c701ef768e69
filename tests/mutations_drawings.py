"""Mutations of what is looked at and printed on paper: drawings of the layout, sheet and page."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from mutation import Mutation

MOVED, EXTRA = "verify.drawn-moved", "verify.drawn-extra"
MISSING, UNIT = "verify.drawn-missing", "verify.unit"
LINE, WORDS = "verify.drawn-line", "verify.drawn-words"
UNREADABLE, OTHER = "verify.unreadable", "verify.other-record"


def edited(name: str, *changes: tuple[str, str], count: int = 0) -> Callable[[Path], None]:
    """Replace in a file of the folder what matches, as often as it does or `count` times."""

    def apply(folder: Path) -> None:
        path = folder / name
        text = path.read_text(encoding="utf-8")
        for pattern, new in changes:
            changed = re.sub(pattern, new, text, count=count)
            assert changed != text, pattern
            text = changed
        path.write_text(text, encoding="utf-8")

    return apply


def _plus(match: re.Match[str], more: float) -> str:
    return f"{match[1]}{float(match[2]) + more:.6g}{match[3]}"


def moved_svg(axis: str, more: float, element: str = "") -> Callable[[Path], None]:
    """Every coordinate along an axis, or that of one kind of element alone, `more` mm on."""
    number = re.compile(rf'(<{element or "[a-z]+"} [^>]*?\bc?{axis}1?=")([^"]+)(")')
    ends = re.compile(rf'(<line [^>]*?\b{axis}2=")([^"]+)(")')

    def apply(folder: Path) -> None:
        path = folder / "layout.svg"
        text = number.sub(lambda match: _plus(match, more), path.read_text())
        path.write_text(ends.sub(lambda match: _plus(match, more), text) if not element else text)

    return apply


def changed_dxf(kind: str, change: Callable[[dict[str, str]], None]) -> Callable[[Path], None]:
    """`change` the values of each entity of a kind, by group code."""

    def apply(folder: Path) -> None:
        path = folder / "layout.dxf"
        head, middle, tail = path.read_text(encoding="utf-8").partition("\nENTITIES\n")
        lines = tail.split("\n")
        starts = [n for n in range(0, len(lines) - 1, 2) if lines[n].strip() == "0"]
        out: list[str] = []
        for start, stop in zip(starts, [*starts[1:], len(lines)], strict=True):
            block = lines[start:stop]
            if block[1] == kind:
                values = {code.strip(): v for code, v in zip(block[::2], block[1::2], strict=False)}
                before = dict(values)
                change(values)
                block = [
                    values[block[n - 1].strip()]
                    if n % 2 and before[block[n - 1].strip()] == line
                    else line
                    for n, line in enumerate(block)
                ]
            out += block
        path.write_text(head + middle + "\n".join(out), encoding="utf-8")

    return apply


def _more(code: str, more: float, factor: float = 1.0) -> Callable[[dict[str, str]], None]:
    def change(values: dict[str, str]) -> None:
        values[code] = str(float(values[code]) * factor + more)

    return change


def _all(*changes: Callable[[Path], None]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        for change in changes:
            change(folder)

    return apply


CIRCLE_MORE = "  0\nCIRCLE\n  8\nholes\n 10\n0.0\n 20\n5.0\n 30\n0.0\n 40\n1.8\n  0\nENDSEC"
SVG, DXF = "layout.svg", "layout.dxf"
BOX = r'viewBox="(\S+) (\S+) (\S+) (\S+)"'

DRAWINGS = [
    ("layout.svg moved 1 mm", moved_svg("x", 1.0), (MOVED,)),
    ("layout.svg: circles moved 1 mm across", moved_svg("y", 1.0, "circle"), (MOVED,)),
    ("layout.svg: circles moved 0.01 mm", moved_svg("x", 0.01, "circle"), (MOVED,)),
    (
        "layout.svg: mark's line moved 2 mm",
        edited(SVG, (r'x1="0" y1="(\S+)" x2="0"', r'x1="2" y1="\1" x2="2"')),
        (LINE,),
    ),
    (
        "layout.svg scaled 1 % by its size",
        edited(SVG, (r'width="[^"]+"', 'width="447.632mm"')),
        (UNIT,),
    ),
    ("layout.svg scaled by its view box", edited(SVG, (BOX, r'viewBox="\1 \2 400 200"')), (UNIT,)),
    ("layout.svg in inches", edited(SVG, (r'mm"', 'in"')), (UNREADABLE,)),
    ("layout.svg in pixels", edited(SVG, (r'mm"', '"')), (UNREADABLE,)),
    (
        "layout.svg mirrored by its group",
        edited(SVG, ("<g ", '<g transform="scale(1 -1)" ')),
        (UNREADABLE,),
    ),
    (
        "layout.svg: a circle left out",
        edited(SVG, (r"(?s)<circle .*?</circle>", ""), count=1),
        (UNREADABLE, MISSING),
    ),
    (
        "layout.svg: another drill",
        edited(SVG, (r'r="1.8"', 'r="2.05"'), count=1),
        ("verify.drawn-diameter",),
    ),
    (
        "layout.svg: two names exchanged",
        edited(SVG, (">toe-1<", ">TOE<"), (">toe-2<", ">toe-1<"), (">TOE<", ">toe-2<")),
        ("verify.drawn-name",),
    ),
    (
        "layout.svg: its bar is 101 mm",
        edited(SVG, (r'(<g id="scale".*\s*<line x1="-203.4" y1="\S+" x2=")-103.4', r"\g<1>-102.4")),
        ("verify.drawn-scale",),
    ),
    ("layout.svg: no cautions", edited(SVG, (r">[^<]*eye protection[^<]*<", "><")), (WORDS,)),
    ("layout.svg: another depth", edited(SVG, ("9.2 mm deep", "19.2 mm deep")), (WORDS,)),
    (
        "layout.svg: tip and tail exchanged",
        edited(SVG, (r">left<", ">RIGHT<"), (">right<", ">left<"), (">RIGHT<", ">right<")),
        (WORDS,),
    ),
    (
        "layout.svg: of another record",
        edited(SVG, (r"jiggen-record \w+", "jiggen-record " + "0" * 64)),
        (OTHER,),
    ),
    ("layout.svg: of no record", edited(SVG, (r"<metadata>.*?</metadata>", "")), (OTHER,)),
    (
        "layout.svg with a script",
        edited(SVG, ("</svg>", "<script>1</script></svg>")),
        (UNREADABLE,),
    ),
    ("layout.dxf holes moved 1 mm", changed_dxf("CIRCLE", _more("10", 1.0)), (MOVED,)),
    (
        "layout.dxf mirrored",
        _all(
            *(
                changed_dxf(kind, _more(code, 0.0, -1.0))
                for kind, code in (("CIRCLE", "10"), ("LINE", "10"), ("LINE", "11"))
            )
        ),
        (MOVED, MISSING),
    ),
    (
        "layout.dxf: other drills",
        changed_dxf("CIRCLE", _more("40", 0.05)),
        ("verify.drawn-diameter",),
    ),
    (
        "layout.dxf: crosses moved 0.5 mm",
        changed_dxf(
            "LINE",
            lambda values: [
                _more(code, 0.5)(values) for code in ("10", "11") if values["8"] == "crosses"
            ],
        ),
        (LINE,),
    ),
    (
        "layout.dxf: edges of another ski",
        changed_dxf(
            "LINE",
            lambda values: [
                _more(code, 0.0, 1.1)(values) for code in ("20", "21") if values["8"] == "ski"
            ],
        ),
        (LINE,),
    ),
    ("layout.dxf $INSUNITS inch", edited(DXF, (r"(\$INSUNITS\n 70\n)4", r"\g<1>1")), (UNIT,)),
    ("layout.dxf without a unit", edited(DXF, (r"(\$INSUNITS\n 70\n)4", r"\g<1>0")), (UNIT,)),
    (
        "layout.dxf $MEASUREMENT imperial",
        edited(DXF, (r"(\$MEASUREMENT\n 70\n)1", r"\g<1>0")),
        (UNIT,),
    ),
    (
        "layout.dxf with one more circle",
        edited(DXF, (r"  0\nENDSEC(?=\n  0\nSECTION\n  2\nOBJECTS)", CIRCLE_MORE)),
        (EXTRA,),
    ),
    (
        "layout.dxf: holes on a frozen layer",
        edited(DXF, (r"(\nholes\n 70\n)0", r"\g<1>1")),
        (UNREADABLE,),
    ),
    (
        "layout.dxf of another record",
        edited(DXF, (r"(jiggen-record\n  9\n\$CUSTOMPROPERTY\n  1\n)\w+", r"\g<1>" + "0" * 64)),
        (OTHER,),
    ),
    ("layout.dxf: no cautions", edited(DXF, ("eye protection", "nothing at all")), (WORDS,)),
]

MUTATIONS = [
    *(Mutation(name, "drawing", apply, codes) for name, apply, codes in DRAWINGS),
    Mutation(
        "another boot's layout.svg in its place", "drawing", moved_svg("x", -5.0), (MOVED,), "boots"
    ),
]
