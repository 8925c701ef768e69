"""The files of a folder: those that its kind has, all of them, none other, as they were built."""

import hashlib
import re
from collections.abc import Container, Iterator
from pathlib import Path

from jiggen.files import (
    JOB_FILE,
    MANIFEST,
    MEASUREMENTS,
    PAGE,
    PATTERN_FILE,
    PICTURE,
    PLAN_DXF,
    PLAN_SVG,
    PRINTER_FILE,
    SHEET,
    STEP_FILE,
    within,
)
from jiggen.verify import limits
from jiggen.verify.parts import fail_unreadable
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.results import Ledger

ALWAYS = {
    "jig": (JOB_FILE, PATTERN_FILE, STEP_FILE, PLAN_SVG, PLAN_DXF, PICTURE, PAGE),
    "trial": (JOB_FILE, PATTERN_FILE, STEP_FILE, PICTURE),
    "gauge": (JOB_FILE, STEP_FILE, PICTURE),
}
WITH_SHEET = ("jig", "gauge")  # once they passed: then there is something to work from
# Left by file managers: of macOS, Windows and KDE (from memory).
LITTER = {".DS_Store", ".localized", ".directory", "Thumbs.db", "ehthumbs.db", "desktop.ini"}
DOUBLE, DOUBLE_MAGIC = "._", bytes.fromhex("00051607")  # AppleDouble: RFC 1740, appendix B
# What people keep beside a jig: G-code, notes, tables, photos and films.  Whatever else there is,
# a mesh, a drawing or a page above all, may be taken for a file to print or to work from.
# `yours` is what a build adds to a name.
KEPT_BESIDE = re.compile(
    r"(?!.*/\.).*\.(gcode|gco|g|nc|bgcode|gx|ngc|log|txt|md|rst|rtf|docx?|odt|ods|xlsx?|csv|tsv"
    r"|jpe?g|png|heic|heif|webp|gif|bmp|tiff?|raw|dng|mp4|mov|avi|mkv|m4a|mp3|wav|yours)",
    re.IGNORECASE | re.DOTALL,
)
STRANGE = "a file that jiggen did not write, and that may be taken for one of its own"
WORDS = {"jig": "a jig", "trial": "a trial plate", "gauge": "a gauge"}


def judge_files(folder: Path, manifest: Manifest, ledger: Ledger) -> None:
    """Every file that is listed is as it was built; none that must be is left out, none added."""
    for name, entry in sorted(manifest.files.items()):
        about = ledger.about(name, Path(name).name)
        try:
            data = within(folder, name, limits.FILE).read_bytes()
        except OSError as error:
            fail_unreadable(about, error)
            continue
        same = len(data) == entry.bytes and hashlib.sha256(data).hexdigest() == entry.sha256
        message = f"changed since it was built: {len(data)} bytes, {entry.bytes} then"
        about.expect(same, "verify.hash", message)
    needed, what = frozenset(_needed(manifest)), WORDS[manifest.kind]
    for name in sorted(needed):
        message = f"{what} has this file, and the record does not list it"
        about = ledger.about(name, Path(name).name)
        about.expect(name in manifest.files, "verify.left-out", message)
    mine = needed | {SHEET} if manifest.kind in WITH_SHEET else needed
    for name in sorted(manifest.files.keys() - mine):
        ledger.about(name, name).fail("verify.unlisted", f"{what} has no such file")
    for name, harmless in strangers(folder, manifest.files).items():
        about = ledger.about(name, name)
        if harmless:
            ledger.strange.append(name)
        else:
            about.fail("verify.unlisted", STRANGE)


def strangers(folder: Path, listed: Container[str]) -> dict[str, bool]:
    """The files in `folder` that jiggen did not write, by name in order; whether each may stay.

    It may if nobody can take it for something of this folder to print or to work from.
    """
    known = {MANIFEST, MEASUREMENTS}
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if _counts(p))
    return {
        name: KEPT_BESIDE.fullmatch(f"/{name}") is not None
        for name in names
        if name not in known and name not in listed
    }


def _needed(manifest: Manifest) -> Iterator[str]:
    """What a folder of this kind holds."""
    yield from ALWAYS[manifest.kind]
    yield from (part.file for part in manifest.parts)
    yield from (bed.file for bed in manifest.beds)
    if manifest.compensation:
        yield PRINTER_FILE
    passed = manifest.verification is not None and manifest.verification.get("passed") is True
    if manifest.kind in WITH_SHEET and passed:
        yield SHEET


def _counts(path: Path) -> bool:
    """Whether it is a file, and none that a file manager leaves behind."""
    if path.is_dir() or path.name in LITTER:
        return False
    beside = path.with_name(path.name.removeprefix(DOUBLE))
    if beside == path or not (path.is_file() and beside.is_file()):
        return True
    with path.open("rb") as stream:
        data = stream.read(limits.LITTER + 1)
    # An STL may begin with any 80 bytes.
    is_stl = len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")
    return is_stl or len(data) > limits.LITTER or not data.startswith(DOUBLE_MAGIC)
