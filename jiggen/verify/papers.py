"""Sheet and page: made after the verification, of which they tell, and verified in their turn."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from jiggen.files import MANIFEST, PAGE, PAPERS, SHEET, within
from jiggen.outcome import Fault
from jiggen.verify.pages import judge_page
from jiggen.verify.parts import fail_unreadable
from jiggen.verify.reading import page, pdf_file
from jiggen.verify.reading.stated import Stated, read_stated
from jiggen.verify.results import Ledger
from jiggen.verify.sheets import judge_sheet

if TYPE_CHECKING:
    from jiggen.verify.evidence import Evidence

JUDGES: dict[str, tuple[int, Callable[[bytes, Stated, Path, Ledger], None]]] = {
    SHEET: (pdf_file.LARGEST, judge_sheet),
    PAGE: (page.LARGEST, judge_page),
}


def judge_papers(evidence: Evidence, ledger: Ledger) -> None:
    """Sheet and page, where the folder lists them."""
    _judge(evidence.folder, [name for name in JUDGES if name in evidence.manifest.files], ledger)


def verify_papers(folder: Path, names: Iterable[str] = PAPERS) -> tuple[Fault, ...]:
    """What is wrong with the sheet or the page of a folder that has just been verified."""
    ledger = Ledger()
    _judge(folder, [name for name in names if (folder / name).exists()], ledger)
    return tuple(ledger.faults)


def _judge(folder: Path, names: list[str], ledger: Ledger) -> None:
    if not names:
        return
    try:
        stated = read_stated(folder)
    except (OSError, ValueError) as error:
        fail_unreadable(ledger.about(MANIFEST, "papers"), error)
        return
    for name in names:
        largest, judge = JUDGES[name]
        try:
            judge(within(folder, name, largest).read_bytes(), stated, folder, ledger)
        except (OSError, ValueError) as error:
            fail_unreadable(ledger.about(name, name), error)
