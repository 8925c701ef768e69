"""Every reader of a file from elsewhere, in a table, and what must hold of it whatever it reads.

A new reader is one row of `READERS`: its name, its share of the cases, files to spoil, and a
function of a path that reads the spoilt file.
"""

from __future__ import annotations

import io
import json
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

from spoiling import spoilt

from jiggen.errors import CheckFailed, JiggenError

HERE = Path(__file__).parent
ROOT = HERE.parent
Seeds = dict[str, bytes]  # files to spoil, by their path in the folder that is read


class Hang(BaseException):
    """A case took longer than it may; no reader catches it."""


@dataclass(frozen=True)
class Reader:
    """One reader: `around` are the files beside the spoilt one, by their path in the folder."""

    name: str
    share: float
    seeds: Callable[[], Seeds]
    read: Callable[[Path], object]
    around: Callable[[], Seeds] = dict


@dataclass(frozen=True)
class Case:
    """What became of one spoilt file; `fault` is the traceback of what must not be."""

    reader: str
    number: int
    file: str
    outcome: str
    seconds: float
    growth: float
    fault: str = ""

    @property
    def label(self) -> str:
        """How to run it again: ``--only``."""
        return f"{self.reader}:{self.number}"


# -- files to spoil -------------------------------------------------------------------------------


def files(*patterns: str) -> Callable[[], Seeds]:
    """The files under the project's root that match."""
    return lambda: {
        path.name: path.read_bytes() for pattern in patterns for path in sorted(ROOT.glob(pattern))
    }


OLD_HOLES = b"""format = 1
units = "mm"
note = "left ski"
[[hole]]
at = [152.4, 17.3]
diameter = 4.1
plugged = true
[[hole]]
at = [-20.0, -17.3]
"""
PROFILE = b"""profile = 1
name = "shed"
material = "PETG"
scale_x = 1.002
skew = 0.05
hole = -0.12
bush_fit = 0.15
[uncertainty]
scale_x = 0.0004
"""


JOBS = b"""format = 1
[[job]]
ticket = "H1"
pattern = "hut-plate"
boot = 285
ski_toe = 96.5
ski_heel = 94
core = "metal"
shift = -2.5
thickness = "22/21"
"""


@cache
def jig_folder() -> Seeds:
    """The smallest folder that verifies, made elsewhere: the CAD kernel would hide the peak."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "small"
        make = f"from verify_samples import *; make_small(Path({str(folder)!r}))"
        subprocess.run([sys.executable, "-c", make], cwd=HERE, check=True)
        return {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in folder.rglob("*")
            if path.is_file()
        }


@cache
def whole_manifest() -> Seeds:
    """A manifest with all that a build writes, its verification passed."""
    from sheet_samples import shipped

    return {"manifest.json": json.dumps(shipped("club-piste"), indent=1).encode()}


def measured() -> Seeds:
    from printer_samples import SMALL

    from jiggen.inputs.form import form_table

    return {"gauge.toml": SMALL.encode(), "gauge.csv": form_table(SMALL).encode()}


def surveyed() -> Seeds:
    from jiggen.inputs.form import form_table

    [(name, text)] = files("tests/data/survey.toml")().items()
    return {
        name: text,
        "survey.csv": form_table(text.decode()).encode(),
        "scanned.toml": text + _SCANNED.encode(),
    }


_PLACES = {"a": (97.4, 21.6), "b": (97.4, -21.6), "c": (41.8, 17.9), "d": (41.8, -17.9)}
_SCANNED = (
    "\n[scanned]\n"
    + "".join(f"places.{name} = [{x}, {y}]\n" for name, (x, y) in _PLACES.items())
    + f"covariance = {[[*[1e-5] * n, 4e-4] for n in range(2 * len(_PLACES))]}\n"
)


ROUND_SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="300mm" viewBox="0 0 300 100">
<path d="M 37,-20 a 3,3 0 1 0 6,0 a 3,3 0 1 0 -6,0 z"/><path d="M37 20A3 3 0 0 1 43 20"/>
<path d="M43 20A3 3 0 0 1 37 20"/><rect x="77" y="-3" width="6" height="6" rx="3"/>
<polygon points="1,2 3,4 5,1"/><ellipse cx="9" rx="2" ry="3" transform="scale(1.5 1)"/></svg>"""


def round_dxf() -> bytes:
    """Round and other outlines and a point, as a text DXF."""
    import ezdxf

    document = ezdxf.new("R2000", setup=False)
    space = document.modelspace()
    space.add_arc((20, 9), 2.7, 30, 200)
    space.add_arc((20, 9), 2.7, 200, 30)
    space.add_point((5, 6))
    space.add_lwpolyline([(40, -9, 1), (46, -9, 1)], format="xyb", close=True)
    space.add_polyline2d([(60, 9), (70, 9), (66, 14)], close=True)
    space.add_spline().control_points = [(0, 0), (1, 5), (8, 5), (9, 0)]
    space.add_hatch().paths.add_edge_path().add_arc((90, 0), 3, 0, 360)
    written = io.StringIO()
    document.write(written)
    return written.getvalue().encode()


@cache
def drawings() -> Seeds:
    from jiggen.export.hole_plan import layout_dxf, layout_svg
    from jiggen.layout import lay_out
    from jiggen.pattern import find_pattern, read_pattern

    holes = lay_out(read_pattern(find_pattern("club-piste")), 305.0)
    table = (HERE / "data" / "eurodist.csv").read_bytes()
    plate = b"x;y;d\n10,5;20;4.1\n# a note\n-10,5;20;4.1\n"
    svg, dxf = layout_svg(holes).encode(), layout_dxf(holes)
    drawn = {"plate.svg": svg, "plate.dxf": dxf, "round.svg": ROUND_SVG.encode()}
    return {"plate.csv": plate, "table.csv": table, "round.dxf": round_dxf(), **drawn}


@cache
def paper_folder() -> Seeds:
    """Drawings, sheet and page of a jig, with their manifest."""
    from papers import drawn_folder

    from jiggen.layout import lay_out
    from jiggen.pattern import find_pattern, read_pattern

    with tempfile.TemporaryDirectory() as place:
        drawn_folder(Path(place), lay_out(read_pattern(find_pattern("hut-plate")), 305.0))
        return {path.name: path.read_bytes() for path in Path(place).iterdir()}


def papers() -> Seeds:
    names = ("layout.svg", "layout.dxf", "sheet.pdf", "report.html")
    return {name: paper_folder()[name] for name in names}


# -- readers --------------------------------------------------------------------------------------


def pattern(path: Path) -> object:
    from jiggen.layout import lay_out
    from jiggen.pattern import read_pattern

    return lay_out(read_pattern(path), 305.0)


def survey(path: Path) -> object:
    from jiggen.measure.survey.examination import examine
    from jiggen.measure.survey.read import read_survey
    from jiggen.measure.survey.results import pattern_text

    found = read_survey(path)
    return pattern_text(examine(found)) if len(found.holes) < 20 else found


def old_holes(path: Path) -> object:
    from jiggen.remount.read import read_old_holes

    return read_old_holes(path)


def drawing(path: Path) -> object:
    from jiggen.importing import Choices
    from jiggen.importing.job import import_pattern

    return import_pattern(path, Choices(units="mm", drill=4.1))


def terms(path: Path) -> object:
    from jiggen.accuracy.terms import read_terms

    return read_terms(path)


def jobs(path: Path) -> object:
    from jiggen.evening.read import read_jobs

    return read_jobs(path)


def workbook() -> Seeds:
    from openpyxl import Workbook

    book, packed = Workbook(), io.BytesIO()
    for line in (ROOT / "tests/data/evening.csv").read_text().splitlines()[2:12]:
        book.active.append([number(cell) for cell in line.split(";")])
    book.save(packed)
    return {"jobs.xlsx": packed.getvalue()}


def number(cell: str) -> str | float:
    try:
        return float(cell.replace(",", "."))
    except ValueError:
        return cell


def measurements(path: Path) -> object:
    from jiggen.measure.printer.read import read_measurements

    return read_measurements(path)


def profile(path: Path) -> object:
    from jiggen.measure.printer.profile import find_profile

    return find_profile(str(path))


def manifest(path: Path) -> object:
    from jiggen.verify.reading.manifest import read_manifest

    return read_manifest(path.parent)


def sheet(path: Path) -> object:
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.record import read_jig
    from jiggen.report.redrill import check_core, redrilled

    record = read_jig(path.parent)
    check_core(record, "plain")
    return redrilled(record, SkiState(thickness=(60.0,)), DrillingLimits())


def pdf(path: Path) -> object:
    from jiggen.record import read_jig
    from jiggen.report.sheet import sheet_pdf

    return sheet_pdf(read_jig(path.parent))


def folder(path: Path) -> object:
    from jiggen.verify import check, table, verdict

    root = next(place for place in path.parents if (place / "jig").is_dir()) / "jig"
    verification = check(root)
    return table(verification), verdict(verification), verification.as_dict()


def toolpaths() -> Seeds:
    import trimesh
    from gcode_writing import DIALECTS, written

    from jiggen.verify.reading.mesh import Mesh

    solid = trimesh.creation.annulus(3.0, 8.0, 2.0)
    tube = Mesh(solid.vertices - solid.vertices.min(axis=0), solid.faces)
    return {
        f"{name}.gcode": written([("tube", tube, (20.0, 20.0))], name).encode() for name in DIALECTS
    }


def gcode(path: Path) -> object:
    from jiggen.errors import InputError
    from jiggen.verify.reading.gcode import GcodeError, read_gcode
    from jiggen.verify.reading.walls import pieces_of
    from jiggen.verify.slicer import stated_in

    try:
        toolpath = read_gcode(path)
    except GcodeError as error:  # as the check of toolpaths tells it
        raise InputError.of("verify.gcode-unreadable", str(error), where=str(path)) from None
    return stated_in(toolpath, pieces_of(toolpath))


def scans() -> Seeds:
    from PIL import Image
    from scanner import Drilled, Lying, Plate, Scanner

    plate = Plate((Drilled(1.0, 0.5, 4.0),), ((-5, -4), (5, -4), (5, 4), (-5, 4)))
    laid = Lying(Scanner(dpi=300.0), plate, size=(14.0, 11.0), supersampling=2)
    grey, found = Image.fromarray(laid.picture()), {}
    for name, picture in (
        ("a.png", grey),
        ("b.jpg", grey.convert("RGB")),
        ("c.tif", grey.convert("RGB")),
        ("d.tif", grey.convert("I;16")),
    ):
        written = io.BytesIO()
        kind = {"png": "PNG", "jpg": "JPEG", "tif": "TIFF"}[name[-3:]]
        picture.save(written, kind, dpi=(300, 300))
        found[name] = written.getvalue()
    return found


def scan(path: Path) -> object:
    from jiggen.measure.scan.holes import find_holes
    from jiggen.measure.scan.read import read_scan

    return find_holes(read_scan(path))


def paper(path: Path) -> object:
    from papers import faults_of

    return faults_of(path.parent, path.name)


def in_jig(seeds: Seeds) -> Seeds:
    return {f"jig/{name}": data for name, data in seeds.items()}


READERS = (
    Reader("pattern", 24, files("patterns/*.toml"), pattern),
    Reader("survey", 12, surveyed, survey),
    Reader(
        "old holes",
        8,
        lambda: {"old.toml": OLD_HOLES, **files("tests/data/old-holes.csv")()},
        old_holes,
    ),
    Reader("drawing", 12, drawings, drawing),
    Reader("terms", 6, files("jiggen/tables/terms.toml"), terms),
    Reader("profile", 6, lambda: {"shed.toml": PROFILE}, profile),
    Reader("jobs", 8, lambda: {"jobs.toml": JOBS, **files("tests/data/evening.csv")()}, jobs),
    Reader("workbook", 6, workbook, jobs),
    Reader("measurements", 6, measured, measurements),
    Reader("manifest", 14, whole_manifest, manifest),
    Reader("sheet", 8, whole_manifest, sheet),
    Reader("sheet pdf", 2, whole_manifest, pdf),
    Reader("gcode", 8, toolpaths, gcode),
    Reader("scan", 8, scans, scan),
    Reader("paper", 8, papers, paper, paper_folder),
    Reader("folder", 8, lambda: in_jig(jig_folder()), folder, lambda: in_jig(jig_folder())),
)


# -- running --------------------------------------------------------------------------------------


def shared(cases: int) -> Iterator[tuple[Reader, int]]:
    """Each reader and its number of cases, by their shares."""
    whole = sum(reader.share for reader in READERS)
    for reader in READERS:
        yield reader, max(1, round(cases * reader.share / whole))


def run(reader: Reader, numbers: range, seed: int, limit: float = 20.0) -> Iterator[Case]:
    """Spoil and read a file for each of `numbers`; `limit` in seconds of the processor a case."""
    seeds = reader.seeds()
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        for number in numbers:
            rng = Random(f"{seed} {reader.name} {number}")
            file = rng.choice(sorted(seeds))
            data = spoilt(seeds[file], rng, Path(file).suffix)
            yield trial(reader, number, file, data, work, limit)


def trial(
    reader: Reader, number: int, file: str, data: bytes, work: Path, limit: float = 20.0
) -> Case:
    """What `reader` makes of `data` in place of `file`."""
    place = work / "case"
    for name, content in {**reader.around(), file: data}.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(content)
    (work / "tmp").mkdir(exist_ok=True)
    before, peak, start = tree(work), peak_memory(), time.process_time()
    outcome, fault = _read(reader, place / file, work / "tmp", limit)
    seconds, growth = time.process_time() - start, peak_memory() - peak
    if not fault and tree(work) != before:
        outcome, fault = "FAULT", f"written: {sorted(tree(work) ^ before)}"
    shutil.rmtree(place)
    return Case(reader.name, number, file, outcome, seconds, growth, fault)


def _read(reader: Reader, path: Path, temporary: Path, limit: float) -> tuple[str, str]:
    def late(*_: object) -> None:
        raise Hang(f"more than {limit:g} s of the processor")

    old, usual = signal.signal(signal.SIGPROF, late), tempfile.tempdir
    tempfile.tempdir = str(temporary)
    signal.setitimer(signal.ITIMER_PROF, limit)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)  # would be shown to a technician
            reader.read(path)
    except CheckFailed:
        return "refused", ""
    except JiggenError as error:
        return "refused", "" if all(map(sound, error.findings)) else f"odd finding: {error}"
    except (Exception, Hang):
        return "FAULT", traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, old)
        tempfile.tempdir = usual
    return "read", ""


def sound(finding: object) -> bool:
    """A finding that a person can read: a code, a message, and no screenful of either."""
    text = str(finding)
    return bool(getattr(finding, "code", "") and getattr(finding, "message", "")) and (
        len(text) < 3000 and "Traceback" not in text
    )


def tree(folder: Path) -> set[tuple[str, int]]:
    """Every file below, with its size."""
    return {
        (str(path.relative_to(folder)), path.stat().st_size)
        for path in folder.rglob("*")
        if path.is_file()
    }


def peak_memory() -> float:
    """The most memory this process has had, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
