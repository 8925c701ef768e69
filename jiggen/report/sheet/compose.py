"""The whole sheet: bench pages upright, 1:1 pages lying, cautions at the foot of each."""

from __future__ import annotations

from jiggen.draw.fonts import plain
from jiggen.errors import Finding, InputError
from jiggen.record import JigRecord, check_usable
from jiggen.report.sheet.bench import bench_sections
from jiggen.report.sheet.block import flow
from jiggen.report.sheet.boots import boot_words
from jiggen.report.sheet.feet import add_feet, frame_of
from jiggen.report.sheet.page import Page, Paper, Units, page_size
from jiggen.report.sheet.pdf import written
from jiggen.report.sheet.tiles import tile_pages
from jiggen.report.sheet.words import say

LONGEST_TICKET = 300  # characters


def sheet_pdf(
    record: JigRecord,
    *,
    paper: Paper = "A4",
    units: Units = "mm",
    ticket: str = "",
) -> bytes:
    """The sheet of a built jig as PDF: the same bytes for the same record and choices.

    `record` is that of the jig's folder, with verification; `units` ``in`` adds inches to each
    length; `ticket` is free text for the head.

    Raises CheckFailed as `check_usable`; InputError ``sheet.ticket``.
    """
    check_usable(record)
    pages = sheet_pages(record, paper=paper, units=units, ticket=ticket)
    return written(pages, _title(record))


def sheet_pages(job: JigRecord, *, paper: Paper, units: Units, ticket: str) -> list[Page]:
    """The pages of a job's sheet, before they are written.  Raises InputError ``sheet.ticket``."""
    _check_ticket(ticket)
    upright, lying = page_size(paper), page_size(paper, upright=False)
    frame = frame_of(upright)
    pages = flow(bench_sections(job, units, ticket, frame.width), frame, upright)
    pages += tile_pages(job, units, lying, frame_of(lying))
    about = say("foot.job", pattern=plain(job.inputs.pattern), boot=boot_words(job, units))
    add_feet(pages, about, job.versions.get("jiggen", "?"))
    return pages


def _check_ticket(ticket: str) -> None:
    if len(ticket) > LONGEST_TICKET:
        message = f"the ticket's text has {len(ticket)} characters"
        hint = f"At most {LONGEST_TICKET} find room in the sheet's head."
        raise InputError(Finding("sheet.ticket", message, key="ticket", hint=hint))


def _title(job: JigRecord) -> str:
    boots = job.inputs.boots or (job.inputs.boot,)
    boot = "–".join(f"{boot:g}" for boot in boots)
    return say("title", pattern=plain(job.inputs.pattern), boot=boot)
