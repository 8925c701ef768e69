"""The sheet of a jig or a gauge: its pages, its words and figures, and whose it is."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

from jiggen.cautions import CAUTIONS
from jiggen.files import MARK_NAME, SHEET
from jiggen.units import number
from jiggen.verify import limits
from jiggen.verify.drawn import expect_mark, shows, squeezed
from jiggen.verify.reading.pdf import Document, Sheet, read_pdf
from jiggen.verify.reading.stated import Stated, StatedHole
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.stated_words import (
    CORES,
    Setting,
    boot_rows,
    boots_of,
    screws_of,
    setting_of,
    settings_of,
    shift_of,
    widths_of,
)
from jiggen.verify.tiles import judge_tiles
from jiggen.verify.tongues import judge_strips
from jiggen.wording import CENTRE, point_words

PAPERS = ((210.0, 297.0), (215.9, 279.4))  # mm: A4 of ISO 216, letter of ANSI/ASME Y14.1
PALEST = 0.6  # grey of words that are still read; 1 is white
STOP = re.compile(
    r"Drill(\d[\d.]*)mmDepthD([\d.]+)mmStopA,tothecorners([\d.]+)mmStopB,tothetip([\d.]+)mm"
)
SCREW = re.compile(r"(?<!\d)(\d++)×screw(\d[\d.]*+)mm")
PAIR = re.compile(r"([A-Z]) to ([A-Z])")
OF_PEG = re.compile(r"peg ([A-Z]), across")
WORDS = "verify.sheet-words"
ENGRAVED = "Jig mark, engraved"


def judge_sheet(data: bytes, stated: Stated, _: Path, ledger: Ledger) -> None:
    """Everything that is looked at of a sheet.  Raises PdfError."""
    document = read_pdf(data)
    about = ledger.about(SHEET, SHEET)
    marks = document.keywords.split()
    expect_mark(about, marks[1:] if marks[:1] == [MARK_NAME] else (), stated.mark)
    _judge_pages(document, stated.jig_mark, ledger)
    shown = squeezed(" ".join(page.text for page in document.pages))
    if stated.kind == "gauge":
        engraved = f"{ENGRAVED} {stated.jig_mark}"
        about.expect(shows(shown, engraved), WORDS, f"it does not say {engraved!r}")
        _judge_readings(document.pages, stated, about)
        return
    for words in _words(stated):
        about.expect(shows(shown, words), WORDS, f"it does not say {words!r}")
    for hole in stated.holes:
        row = hole_row(stated, hole)
        mine = ledger.about(SHEET, hole.id)
        message = f"its row in the list is not {' '.join(row)!r}"
        mine.expect(shows(shown, "".join(row)), WORDS, message)
    wanted = sorted({_shown(one) for one in settings_of(stated)})
    found = sorted({tuple(match) for match in STOP.findall(shown)})
    message = f"its settings of drill and depth stop are {found}, those of the holes {wanted}"
    about.expect(found == wanted, WORDS, message)
    listed, fit = sorted(SCREW.findall(shown)), screws_of(stated)
    about.expect(listed == fit, WORDS, f"it lists screws {listed}, those that fit are {fit}")
    judge_strips(document.pages, stated, ledger)
    judge_tiles(document.pages, stated, ledger)


def _judge_pages(document: Document, jig_mark: str, ledger: Ledger) -> None:
    """Every page is there, in order, of one size of paper, with cautions and jig mark on it."""
    pages = document.pages
    for count, page in enumerate(pages, start=1):
        about = ledger.about(SHEET, f"page {count}")
        width, height = sorted(page.size)
        sizes = [max(abs(width - w), abs(height - h)) for w, h in PAPERS]
        message = f"it is {page.size[0]:.1f} by {page.size[1]:.1f} mm, which no paper is"
        about.within(min(sizes), 0.0, limits.PAPER, "verify.sheet-page", message)
        same = sorted(page.size) == sorted(pages[0].size)
        about.expect(same, "verify.sheet-page", "it is of another paper than the first")
        foot = f"page {count} of {len(pages)}"
        there = [word.text for word in page.words].count(foot) == 1
        about.expect(there, "verify.sheet-page", f"it is not {foot!r}: a page is missing")
        text = squeezed(page.text)
        about.expect(shows(text, " ".join(CAUTIONS)), WORDS, "the cautions are not on it")
        known = shows(text, f"jig mark {jig_mark}")
        about.expect(known, WORDS, f"it is not said to be of the jig mark {jig_mark}")
        pale = [word.text for word in page.words if word.grey > PALEST]
        about.expect(not pale, WORDS, f"words that are not seen: {' '.join(pale)[:60]}")


def _words(stated: Stated) -> Iterator[str]:
    inputs, found = stated.inputs, stated.verification
    boots = boots_of(stated).replace("–", " to ")
    skis = "left and right" if inputs.pair == "same" else f"{inputs.side.upper()} ski only"
    yield f"Drilling sheet {inputs.pattern} {ENGRAVED} {stated.jig_mark} Boot sole {boots} mm"
    yield f"Mount shift {shift_of(stated)} Skis {skis}"
    yield f"Core {CORES[inputs.core]}"
    yield f"{widths_of(stated)} mm"
    yield "The mark on both skis"
    if inputs.mark != CENTRE:
        yield f"The boot's {point_words(inputs.mark)} goes on the ski's mark"
    if mark := inputs.ski_in_hand.mark:
        apart = mark.length / 2 if mark.way == "chord" else mark.length
        yield f"{apart:g} mm in front of the tail's end"
        for hole in (min(stated.holes, key=_along), max(stated.holes, key=_along)):
            yield f"{hole.id} {number(round(apart + hole.x, 1))} mm"
    if found:
        off = math.ceil(max(found.deviation, 1e-9) * 1000) / 1000
        yield f"{found.checks} checks"
        yield f"each of the {len(stated.holes)} holes is within {off:.3f} mm of its place"
    for row in boot_rows(stated):
        places = (number(place, 1) for place in row.first)
        yield " ".join((number(row.boot), *row.lines, *places))


def _along(hole: StatedHole) -> float:
    return hole.x


def hole_row(stated: Stated, hole: StatedHole) -> tuple[str, ...]:
    """A hole in the list of holes."""
    setting = setting_of(stated, hole)
    return (
        hole.id,
        _towards(hole.x, "to tip", "to tail"),
        _towards(hole.y, "left", "right"),
        number(hole.diameter, 2),
        number(hole.depth, 2),
        number(setting.tip, 1) if setting else "?",
    )


def _towards(value: float, above: str, below: str) -> str:
    return f"{number(abs(value), 2)} {above if value > 0 else below}" if round(value, 2) else "0"


def _shown(one: Setting) -> tuple[str, ...]:
    return number(one.drill, 2), number(one.depth, 2), number(one.corners, 1), number(one.tip, 1)


def _judge_readings(pages: tuple[Sheet, ...], stated: Stated, about: Subject) -> None:
    """A gauge's list of readings: over both pegs, far rim to far rim, and each peg across."""
    at = {peg.id: (peg.x, peg.y, peg.diameter) for peg in stated.pegs}
    at |= {hole.id: (hole.x, hole.y, hole.diameter) for hole in stated.holes}
    words = [word.text for page in pages for word in page.words]
    seen: set[str] = set()
    for words_of, asked in pairwise(words):
        if (pair := PAIR.fullmatch(words_of)) and {pair[1], pair[2]} <= at.keys():
            (x0, y0, d0), (x1, y1, d1) = at[pair[1]], at[pair[2]]
            wanted = math.hypot(x1 - x0, y1 - y0) + (d0 + d1) / 2
            seen |= {pair[1], pair[2]}
        elif (peg := OF_PEG.fullmatch(words_of)) and peg[1] in at:
            wanted = at[peg[1]][2]
        else:
            continue
        message = f"{words_of}: about {asked}, of this gauge {wanted:.2f}"
        about.expect(asked == f"{wanted:.2f}", WORDS, message)
    lost = sorted({peg.id for peg in stated.pegs} - seen)
    about.expect(not lost, WORDS, f"no reading of peg {', '.join(lost)}")
    if stated.verification:
        line = f"{stated.verification.checks} checks"
        shown = squeezed(" ".join(words))
        about.expect(shows(shown, line), WORDS, f"it does not say {line!r}")
