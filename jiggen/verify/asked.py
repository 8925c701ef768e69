"""The record against what was asked for: pattern, job and printer are read anew, as text.

All that the record says of the order must follow from those three files, and so must every hole:
`jiggen.verify.anew` lays them out once more.  The fits of a printer are worked out here as its
figures have them, not as the design did.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from jiggen.drilling import screws_of
from jiggen.errors import InputError
from jiggen.files import JOB_FILE, MANIFEST, PATTERN_FILE, PRINTER_FILE
from jiggen.marks import jig_mark
from jiggen.pattern.model import Pattern
from jiggen.pattern.read import parse_pattern
from jiggen.verify import limits
from jiggen.verify.anew import judge_drilling, judge_layout, judge_plate_holes
from jiggen.verify.evidence import Evidence
from jiggen.verify.parts import fail_unreadable
from jiggen.verify.reading.asked import Printer, Written, read_job, read_printer, read_text
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.results import Ledger
from jiggen.verify.same import is_number, judge_same

# What inputs have in other words; which copy it is, the jig mark tells.
ASKED_ONLY = ("job", "kind", "copy", "pattern", "printer", "boots")
PRESSURE_ANGLE = math.radians(20.0)  # of the gear's flanks: ISO 53
THINNEST = 1.2  # mm between cut-outs in a file made for a printer: three lines of a 0.4 mm nozzle
AnyRead = TypeVar("AnyRead")
LOST = (
    "the file is missing, so nobody can tell what was asked for: an older jiggen built this, or "
    "it was taken out; build it again"
)
NO_MARK = (
    "there is none: an older jiggen built this, whose prints bear none, or it was taken out; build "
    "it again"
)


def judge_asked(evidence: Evidence, ledger: Ledger) -> None:
    """What was asked for, the printer, every hole and every depth stop: all from the three texts.

    A gauge has no pattern.
    """
    folder, manifest = evidence.folder, evidence.manifest
    written = _read(JOB_FILE, lambda: read_job(folder), ledger)
    if written is None:
        return
    job, kind = written.job, manifest.kind
    about = ledger.about(JOB_FILE, "kind")
    if not about.expect(job.kind == kind, "verify.asked", f"asks for a {job.kind}, not a {kind}"):
        return
    with_pattern, with_printer = kind != "gauge", job.printer is not None
    files = {
        "job": JOB_FILE,
        "pattern": PATTERN_FILE if with_pattern else None,
        "printer": PRINTER_FILE if with_printer else None,
    }
    named = {"job": JOB_FILE, "pattern": job.pattern, "printer": job.printer}
    about = ledger.about(JOB_FILE, "files")
    if not about.expect(named == files, "verify.asked", f"the files are not {_words(files)}"):
        return
    named_so = manifest.asked == files
    about = ledger.about(MANIFEST, "asked")
    about.expect(named_so, "verify.asked", f"must name {_words(files)}")
    printer = _read(PRINTER_FILE, lambda: read_printer(folder), ledger) if with_printer else None
    pattern = _read(PATTERN_FILE, lambda: _pattern(folder), ledger) if with_pattern else None
    if with_printer is bool(printer):
        _judge_printer(manifest, printer, ledger)
    if with_pattern is bool(pattern) and with_printer is bool(printer):
        _judge_jig_mark(manifest, {name: read_text(folder, name) for name in _names(files)}, ledger)
        wanted = {**_plain(written, pattern), **_fitted(written, kind, printer)}
        found = {key: manifest.stated.get(key) for key in wanted}
        judge_same("inputs", found, wanted, limits.FIGURE, "verify.asked", ledger)
    if pattern and job.boots:
        layouts = judge_layout(manifest, job, pattern, ledger)
        if job.plate_hole:
            judge_plate_holes(manifest, job.plate_hole, ledger)
        if layouts and kind == "jig":
            judge_drilling(evidence, job, pattern, layouts, ledger)


def _read(name: str, read: Callable[[], AnyRead], ledger: Ledger) -> AnyRead | None:
    about = ledger.about(name, Path(name).stem)
    try:
        found = read()
    except FileNotFoundError:
        about.fail("verify.file-missing", LOST)
        return None
    except (OSError, ValueError) as error:
        fail_unreadable(about, error)
        return None
    about.expect(True, "verify.unreadable", "")
    return found


def _pattern(folder: Path) -> Pattern:
    try:
        return parse_pattern(read_text(folder, PATTERN_FILE), PATTERN_FILE)
    except InputError as error:
        found = error.findings[0]
        raise ValueError(f"{found.where}: {found.key}: {found.message}") from None


def _judge_jig_mark(manifest: Manifest, texts: Mapping[str, str], ledger: Ledger) -> None:
    """The jig mark is that of these texts: which bodies and sheets bear it, others judge."""
    found, wanted = manifest.jig_mark, jig_mark(texts)
    message = f"is {found}, where that of what was asked for is {wanted}" if found else NO_MARK
    about = ledger.about(MANIFEST, "jig mark")
    about.expect(found == wanted, "verify.jig-mark", message)


def _judge_printer(manifest: Manifest, printer: Printer | None, ledger: Ledger) -> None:
    """What was done to the files is what undoes the figures of the printer named, and no more."""
    done, about = manifest.compensation, ledger.about(MANIFEST, "compensation")
    if printer is None or done is None:
        message = f"was {'not ' if done is None else ''}made for a printer, which the job says "
        message += f"{'not ' if printer is None else ''}to be for one"
        about.expect(printer is None and done is None, "verify.printer", message)
        return
    message = f"is for printer {done.printer}, the job for {printer.name}"
    about.expect(done.printer == printer.name, "verify.printer", message)
    apart = done.linear - printer.undone
    at = np.unravel_index(int(np.abs(apart).argmax()), apart.shape)
    found, wanted = float(done.linear[at]), float(printer.undone[at])
    message = f"changes parts by {found:.5f} where the printer's figures ask for {wanted:.5f}"
    about.within(found, wanted, limits.FACTOR, "verify.printer", message, "")


def _plain(written: Written, pattern: Pattern | None) -> dict[str, Any]:
    """What the record's inputs must be, but for fits: as asked, or as the pattern says."""
    job, given = written.job, written.words
    wanted = {key: value for key, value in given.items() if key not in ASKED_ONLY}
    if job.kind == "gauge" and wanted.get("bush") == "auto":
        wanted.pop("bush")  # the record has the one that was chosen
    if pattern is None or job.boots is None:
        return wanted
    least, most = job.boots
    many = least != most
    wanted |= {
        "pattern": pattern.name,
        "pair": pattern.pair,
        "mark": pattern.mark,
        "boot": float(math.ceil(most)) if many else most,
    }
    if job.kind == "trial":
        wanted["plate_hole"] = job.plate_hole
    if job.kind == "jig":
        wanted["boots"] = [float(math.floor(least)), float(math.ceil(most))] if many else None
        area = job.ski_in_hand.area or pattern.area
        wanted["ski_in_hand"] = asdict(job.ski_in_hand) | {"area": asdict(area) if area else None}
        wanted["screws"] = {hole: asdict(screw) for hole, screw in screws_of(pattern).items()}
    return wanted


def _fitted(written: Written, kind: str, printer: Printer | None) -> dict[str, Any]:
    """The printer's name, and the fits that come out on it as those asked for on a true one."""
    name, given = printer.name if printer else None, written.words
    if kind == "gauge":
        return {}
    if kind == "trial":
        return {"printer": name, "hole_fit": 0.0 - printer.hole if printer else 0.0}
    keys = ("bush_fit", "hole_fit", "slide", "backlash", "wall")
    asked = {key: given[key] for key in keys if is_number(given.get(key))}
    if printer is None or len(asked) < len(keys):
        return {"printer": name}
    bush_fit = asked["bush_fit"] - printer.hole if printer.bush_fit is None else printer.bush_fit
    slide = asked["slide"] + printer.wall if printer.slide is None else printer.slide
    looser = 2 * (slide - asked["slide"]) / math.cos(PRESSURE_ANGLE)  # two flanks of a tooth
    wider = max(-printer.hole, bush_fit - asked["bush_fit"], 0.0)
    return {
        "printer": name,
        "bush_fit": bush_fit,
        "hole_fit": asked["hole_fit"] - printer.hole,
        "slide": slide,
        "backlash": asked["backlash"] + looser,
        "wall": max(THINNEST, asked["wall"] - wider),
    }


def _names(files: Mapping[str, str | None]) -> tuple[str, ...]:
    return tuple(name for name in files.values() if name)


def _words(files: Mapping[str, str | None]) -> str:
    return ", ".join(_names(files))
