"""Each reader on a megabyte of its worst, each in a process of its own: seconds and memory.

    python tests/bench/readers.py [READER …]

Exit code 1 when any takes more than 5 s of the processor, or 300 MB more than it had.
"""

from __future__ import annotations

import io
import random
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]
from fuzz_readers import READERS, peak_memory  # noqa: E402 - its place

SECONDS, MEMORY = 5.0, 300.0  # s of the processor, MB
SIZE = 1_000_000


def full(part: str, before: str = "", after: str = "") -> bytes:
    return (before + part * ((SIZE - len(before + after)) // len(part)) + after).encode()


def grown(reader: str, file: str, part: str, before: str) -> bytes:
    """A sound file of the reader with `part` put in again and again, in front of `before`."""
    sound = seeds_of(reader)[file]
    place = sound.rindex(before.encode())
    return sound[:place] + full(part) + sound[place:]


def again(reader: str, file: str, first: str, last: str) -> bytes:
    """A sound file of the reader with all from `first` to `last` in it again and again."""
    text = seeds_of(reader)[file].decode()
    return grown(reader, file, text[text.index(first) : text.rindex(last)], last)


def grown_sheet() -> bytes:
    """The sheet with a megabyte of its own drawing operators on its last page."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import DecodedStreamObject, NameObject

    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(seeds_of("paper")["sheet.pdf"])))
    more, page = DecodedStreamObject(), writer.pages[-1]
    more.set_data(full(page.get_contents().get_data().decode("latin-1") + "\n"))
    page[NameObject("/Contents")] = writer._add_object(more)
    written = io.BytesIO()
    writer.write(written)
    return written.getvalue()


def grown_bed(part: str, before: str) -> bytes:
    """The bed's 3MF with its model grown by a megabyte of `part`."""
    grown_file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(seeds_of("folder")[BED])) as sound,
        zipfile.ZipFile(grown_file, "w", zipfile.ZIP_DEFLATED) as package,
    ):
        for name in sound.namelist():
            data = sound.read(name)
            if name.endswith(".model"):
                place = data.rindex(before.encode())
                data = data[:place] + full(part) + data[place:]
            package.writestr(name, data)
    return grown_file.getvalue()


def grown_stl() -> bytes:
    """The small body's STL with its triangles again and again."""
    sound = seeds_of("folder")["jig/parts/body.stl"]
    triangles = sound[84:] * (SIZE // len(sound[84:]))
    return sound[:80] + (len(triangles) // 50).to_bytes(4, "little") + triangles


def seeds_of(name: str) -> dict[str, bytes]:
    return next(reader for reader in READERS if reader.name == name).seeds()


def moves(line: Callable[[random.Random], str]) -> bytes:
    at = random.Random(1)
    lines = (line(at) for _ in range(SIZE // 17))
    return "\n".join([";TYPE:Outer wall", "M83", "G1 Z.2", *lines]).encode()[:SIZE]


SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" viewBox="0 0 9 9">'
DXF = "0\nSECTION\n2\nENTITIES\n"
DXF_ALL = "0\nENDSEC\n0\nEOF\n"
DXF_START, DXF_END = "  0\nLINE", "  0\nENDSEC\n  0\nSECTION\n  2\nOBJECTS"
BED = "jig/bed-1.3mf"
WORST: dict[str, dict[str, Callable[[], bytes]]] = {
    "pattern": {
        "tables.toml": lambda: full("[[hole]]\n"),
        "nested.toml": lambda: full("a=[", "", ""),
        "values.toml": lambda: full("1,", "a=[", "]"),
    },
    "survey": {"tables.toml": lambda: full("[[hole]]\nat=[1,2]\n")},
    "old holes": {
        "rows.csv": lambda: full("1,2\n", "x,y\n"),
        "tables.toml": lambda: full("[[hole]]\nat=[1,2]\n", 'format = 1\nunits = "mm"\n'),
    },
    "drawing": {
        "circles.svg": lambda: full('<circle r="2"/>', SVG, "</svg>"),
        "nested.svg": lambda: full("<g>", SVG),
        "elements.svg": lambda: full("<g/>", SVG, "</svg>"),
        "paths.svg": lambda: full('<path d="M1 1a1 1 0 0 1 2 0"/>', SVG, "</svg>"),
        "curves.svg": lambda: full(f'<path d="M0 0{"t1 1" * 40_000}"/>', SVG, "</svg>"),
        "moves.svg": lambda: full(f'<path d="{"M0 0h1" * 30_000}"/>', SVG, "</svg>"),
        "arcs.dxf": lambda: full("0\nARC\n10\n1\n20\n1\n40\n2\n50\n0\n51\n90\n", DXF, DXF_ALL),
        "lines.dxf": lambda: full("0\nLINE\n10\n1\n20\n1\n11\n2\n21\n1\n", DXF, DXF_ALL),
        "circles.dxf": lambda: full("0\nCIRCLE\n10\n1\n20\n1\n40\n2\n", DXF, DXF_ALL),
        "rows.csv": lambda: full("1,2,3\n", "x,y,d\n"),
    },
    "jobs": {
        "rows.csv": lambda: full("a,1\n", "pattern,boot\n"),
        "tables.toml": lambda: full("[[job]]\n", "format = 1\n"),
    },
    "measurements": {"gauge.toml": lambda: full("[[a]]\n")},
    "profile": {"shed.toml": lambda: full("[[a]]\n")},
    "terms": {"terms.toml": lambda: full("[[a]]\n")},
    "manifest": {
        "manifest.json": lambda: full("[", '{"parts":'),
        "manifest.json ": lambda: full("{},", '{"parts":[', "{}]}"),
    },
    "gcode": {
        "scribble.gcode": lambda: moves(lambda at: f"G1X{at.randrange(300)}Y{at.random():.1f}E1"),
        "arcs.gcode": lambda: moves(lambda _: "G2 X1 I9 J9 E1"),
        "crossing.gcode": lambda: moves(lambda at: f"G1X{at.randrange(300)}Y{at.randrange(300)}E1"),
        "far.gcode": lambda: moves(lambda at: f"G1X{at.randrange(99999)}Y{at.randrange(99999)}E1"),
    },
    "paper": {
        "layout.svg": lambda: again("paper", "layout.svg", "<g", "</svg>"),
        "layout.svg ": lambda: grown("paper", "layout.svg", "<g>", "</svg>"),
        "layout.dxf": lambda: again("paper", "layout.dxf", DXF_START, DXF_END),
        "sheet.pdf": grown_sheet,
        "sheet.pdf ": lambda: full("1 0 obj<<>>endobj\n", "%PDF-1.4\n"),
        "sheet.pdf  ": lambda: full("[", "%PDF-1.4\n1 0 obj"),
        "report.html": lambda: grown("paper", "report.html", "<p>9 mm", "<script"),
        "report.html ": lambda: grown("paper", "report.html", "<table><tr><td>1", "<script"),
        "report.html  ": lambda: full("<a b=", "<!doctype html>"),
    },
    "folder": {
        "jig/parts/body.stl": grown_stl,
        "jig/bed-1.3mf": lambda: grown_bed('<vertex x="1" y="1" z="1"/>', "</vertices>"),
        "jig/bed-1.3mf ": lambda: grown_bed('<triangle v1="1" v2="2" v3="3"/>', "</triangles>"),
        "jig/bed-1.3mf  ": lambda: grown_bed('<item objectid="1"/>', "</build>"),
        "jig/bed-1.3mf   ": lambda: grown_bed("<a>", "</build>"),
        "jig/jig.step": lambda: grown("folder", "jig/jig.step", "#9=A((),$);\n", "ENDSEC;"),
        "jig/jig.step ": lambda: grown("folder", "jig/jig.step", "/* ", "ENDSEC;"),
        "jig/jig.step  ": lambda: grown("folder", "jig/jig.step", "#9=A((((((((1", "ENDSEC;"),
        "jig/job.toml": lambda: full("[[a]]\n", seeds_of("folder")["jig/job.toml"].decode()),
        "jig/pattern.toml": lambda: full(
            "[[hole]]\n", seeds_of("folder")["jig/pattern.toml"].decode()
        ),
    },
}


def main() -> int:
    if len(sys.argv) == 4 and sys.argv[1] == "--one":
        return one(sys.argv[2], sys.argv[3])
    sound = True
    print(f"{'reader':14}{'file':24}{'became':10}{'s':>7}{'MB more':>9}")
    for name in sys.argv[1:] or WORST:
        for file in WORST[name]:
            call = [sys.executable, __file__, "--one", name, file]
            sound &= subprocess.run(call, check=False, timeout=120).returncode == 0
    return 0 if sound else 1


def one(name: str, file: str) -> int:
    """Read one file, in this process; a sound one first, so that what it loads does not count."""
    from fuzz_readers import trial

    reader = next(reader for reader in READERS if reader.name == name)
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        for known, data in sorted(reader.seeds().items()):
            if Path(known).suffix == Path(file.strip()).suffix:
                trial(reader, 0, known, data, work)
        data, peak, start = WORST[name][file](), peak_memory(), time.process_time()
        case = trial(reader, 0, file.strip(), data, work, 60.0)
    seconds, more = time.process_time() - start, peak_memory() - peak
    print(f"{name:14}{file:24}{case.outcome:10}{seconds:7.2f}{more:9.0f}  {case.fault}", flush=True)
    return 0 if seconds <= SECONDS and more <= MEMORY and not case.fault else 1


if __name__ == "__main__":
    sys.exit(main())
