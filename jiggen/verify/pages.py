"""The page of a jig: its words, tables and drawing against the record, and what it may run."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from urllib.parse import unquote

from jiggen.cautions import CAUTIONS
from jiggen.files import MANIFEST, PAGE, PICTURE, within
from jiggen.units import counted
from jiggen.verify import limits
from jiggen.verify.drawn import expect_mark, judge_rings, shows, squeezed
from jiggen.verify.reading.page import Page, Row, read_page
from jiggen.verify.reading.stated import Stated
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.stated_words import (
    CORES,
    boot_rows,
    boots_of,
    setting_of,
    settings_of,
    shift_of,
    widths_of,
)

# SHA-256 of the script and the style that jiggen's pages have had; the last are today's.
SCRIPTS = ("58a6c38e85c6c0c8bd7feac6fb26904d7236b60e8a6f273267b39050f6a75ba3",)
STYLES = (
    "beb193d05d8ac735dd413129590706d1c8591634b2492cbc96f5935715ad0638",
    "b83e2431f73a213cc40a4eb398d7273b595911944e3c4d8d78a0f669e242d58c",
)
PICTURE_DATA = "data:image/png;base64,"
NO_ICON = "data:,"


def judge_page(data: bytes, stated: Stated, folder: Path, ledger: Ledger) -> None:
    """Everything that is looked at of a page.  Raises DrawingError."""
    page = read_page(data)
    about = ledger.about(PAGE, PAGE)
    expect_mark(about, page.marks, stated.mark)
    _judge_code(page, folder, about)
    judge_rings(page.rings, stated.holes, PAGE, ledger)
    _judge_words(page, stated, about)
    _judge_tables(page, stated, about)


def _judge_code(page: Page, folder: Path, about: Subject) -> None:
    """It runs jiggen's own script alone, shows the folder's picture, and leads nowhere else."""
    code = "verify.page-code"
    scene = [text for kind, text in page.scripts if kind == "application/json"]
    scripts = [text for kind, text in page.scripts if kind != "application/json"]
    own = {"script": (scripts, SCRIPTS), "style": (page.styles, STYLES)}
    for what, (found, known) in own.items():
        message = f"it has {len(found)} of kind {what}, where jiggen writes its own alone"
        about.expect([_digest(text).hex() in known for text in found] == [True], code, message)
    message = f"it shows {len(scene)} scenes"
    about.expect(len(scene) == 1 and "<" not in "".join(scene), code, message)
    if scripts and page.styles:
        sources = (
            base64.b64encode(_digest(text)).decode() for text in (page.styles[0], scripts[0])
        )
        style, script = (f"'sha256-{source}'" for source in sources)
        policy = (
            f"Content-Security-Policy: default-src 'none'; img-src data:; style-src {style}; "
            f"script-src {script}; base-uri 'none'; form-action 'none'"
        )
        message = "what the browser may load and run is not as jiggen writes it"
        about.expect(page.policies == [policy], code, message)
    for source in page.pictures:
        right = source.startswith(PICTURE_DATA)
        try:
            picture = within(folder, PICTURE, limits.FILE).read_bytes()
        except OSError:  # reported with the other files
            continue
        shown = source.removeprefix(PICTURE_DATA)
        right &= shown == base64.b64encode(picture).decode()
        about.expect(right, code, f"its picture is not the folder's {PICTURE}")
    inside = [link for link in page.links if link != NO_ICON]
    odd = [link for link in inside if not link.startswith("./") or ".." in unquote(link)]
    about.expect(not odd, code, f"it leads out of the folder: {', '.join(odd)[:80]}")


def _digest(text: str) -> bytes:
    return hashlib.sha256(text.encode()).digest()


def _judge_words(page: Page, stated: Stated, about: Subject) -> None:
    """The verdict is the record's; what it is for, and the cautions, are there."""
    found, shown = stated.verification, squeezed(page.text)
    passed = found is not None and found.passed
    verdicts = [name for name in page.classes if name.split()[:1] == ["verdict"]]
    wrong, right = ("failed", "passed") if passed else ("passed", "failed")
    agrees = f"verdict {right}" in verdicts and f"verdict {wrong}" not in verdicts
    agrees &= passed or shows(shown, "Do not print")
    message = f"its verdict is not that of the record, which is {right}"
    about.expect(agrees, "verify.page-words", message)
    inputs = stated.inputs
    skis = "left and right alike" if inputs.pair == "same" else f"{inputs.side} only"
    shift = shift_of(stated)
    words = [
        inputs.pattern,
        f"Jig mark {stated.jig_mark}",
        f"Boot sole {boots_of(stated)} mm",
        f"Mount shift {shift}",
        f"Ski widths {widths_of(stated)} mm",
        f"Skis {skis}",
        f"Core {CORES[inputs.core]}",
        f"Holes {len(stated.holes)}",
        *CAUTIONS,
    ]
    if found and passed:
        words.append(
            f"{counted(len(found.holes), 'hole')}, {found.checks} checks; the farthest hole is "
            f"{found.deviation:.3f} mm from where it should be"
        )
    for line in words:
        about.expect(shows(shown, line), "verify.page-words", f"it does not say {line!r}")


def _judge_tables(page: Page, stated: Stated, about: Subject) -> None:
    """Holes, settings of the depth stop, boots and files, row by row."""
    holes: list[Row] = [
        (hole.id, _signed(hole.x), _signed(hole.y), f"{hole.diameter:g}", f"{hole.depth:g}")
        for hole in stated.holes
    ]
    _judge_table(page, ("hole", "from the mark"), holes, "holes", about)
    files = [(name, entry.sha256) for name, entry in stated.files.items() if name != PAGE]
    listed = [(row[0], row[-1]) for row in _rows(page, ("file", "size"))]
    message = f"its list of files is not that of {MANIFEST}"
    about.expect(listed == files, "verify.page-words", message)
    if stated.verification is None or not stated.verification.passed:
        return
    stops = []
    for one in settings_of(stated):
        names = [hole.id for hole in stated.holes if setting_of(stated, hole) == one]
        numbers = f"{one.drill:g}", f"{one.depth:g}", f"{one.corners:.1f}", f"{one.tip:.1f}"
        stops.append((*sorted(names), *numbers))
    found = [
        (*sorted(name.strip() for name in row[0].split(",")), *row[1:5])
        for row in _rows(page, ("holes", "drill"))
    ]
    message = "its settings of drill and depth stop are not those of the holes"
    about.expect(sorted(found) == sorted(stops), "verify.page-words", message)
    if stated.ladders:
        rows = [
            (f"{row.boot:g}", *row.lines, *(f"{place:.2f}" for place in row.first))
            for row in boot_rows(stated)
        ]
        _judge_table(page, ("boot",), rows, "boot lengths", about)


def _judge_table(page: Page, heads: Row, wanted: list[Row], what: str, about: Subject) -> None:
    found = [row[: len(wanted[0])] for row in _rows(page, heads)] if wanted else []
    odd = [f"{' '.join(row)}" for row in found if row not in wanted] or [
        f"{len(found)} rows of {len(wanted)}"
    ]
    message = f"its table of {what} is not the record's: {odd[0][:80]}"
    about.expect(found == wanted, "verify.page-words", message)


def _rows(page: Page, heads: Row) -> list[Row]:
    """The rows of the first table with these headings, or with headings that begin so."""
    for names, rows in page.tables:
        if len(names) > len(heads) and all(
            name.startswith(head) for name, head in zip(names, heads, strict=False)
        ):
            return rows
    return []


def _signed(value: float) -> str:
    hundredths = round(value, 2)
    return f"{hundredths:+.2f}" if hundredths else "0.00"
