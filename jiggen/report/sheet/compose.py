"""The whole sheet: bench pages upright, 1:1 pages lying, cautions at the foot of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from jiggen.cautions import CAUTIONS
from jiggen.errors import Finding, InputError
from jiggen.report.sheet.bench import bench_sections
from jiggen.report.sheet.block import Block, Frame, flow, paragraph, space, stack
from jiggen.report.sheet.fonts import fit, plain, width_of
from jiggen.report.sheet.job import Job, read_job
from jiggen.report.sheet.measures import full
from jiggen.report.sheet.page import (
    MARGIN,
    Line,
    Page,
    Paper,
    Pen,
    Shapes,
    Size,
    Units,
    page_size,
)
from jiggen.report.sheet.pdf import written
from jiggen.report.sheet.tiles import tile_pages
from jiggen.report.sheet.words import say

CAUTION, FOOT = 7.0, 7.5  # points
FOOT_LINE = 4.0  # mm, the line with the page's number
FOOT_GAP = 2.0  # mm over the foot
LONGEST_TICKET = 300  # characters


def sheet_pdf(
    manifest: Mapping[str, Any],
    *,
    paper: Paper = "A4",
    units: Units = "mm",
    ticket: str = "",
) -> bytes:
    """The sheet of a built jig as PDF: the same bytes for the same manifest and choices.

    `manifest` is that of the jig's folder, proof included; `units` ``in`` adds inches to each
    length; `ticket` is free text for the head.

    Raises CheckFailed ``sheet.unproven``, ``sheet.failed``, ``sheet.changed`` for a jig that is
    not proven; InputError ``sheet.manifest``, ``sheet.ticket``.
    """
    job = read_job(manifest)
    pages = sheet_pages(job, paper=paper, units=units, ticket=ticket)
    return written(pages, _title(job))


def sheet_pages(job: Job, *, paper: Paper, units: Units, ticket: str) -> list[Page]:
    """The pages of a job's sheet, before they are written.  Raises InputError ``sheet.ticket``."""
    _check_ticket(ticket)
    upright, lying = page_size(paper), page_size(paper, upright=False)
    frame = _frame(upright)
    pages = flow(bench_sections(job, units, ticket, frame.width), frame, upright)
    pages += tile_pages(job, units, lying, _frame(lying))
    for number, page in enumerate(pages, start=1):
        foot = _foot(job, units, _width(page.size), number, len(pages))
        page.shapes.add(foot.shapes, (MARGIN, MARGIN + foot.height))
    return pages


def _check_ticket(ticket: str) -> None:
    if len(ticket) > LONGEST_TICKET:
        message = f"the ticket's text has {len(ticket)} characters"
        hint = f"At most {LONGEST_TICKET} find room in the sheet's head."
        raise InputError(Finding("sheet.ticket", message, key="ticket", hint=hint))


def _title(job: Job) -> str:
    pattern, boot = plain(job.inputs.pattern), f"{job.inputs.boot:g}"
    return say("title", pattern=pattern, boot=boot)


def _width(size: Size) -> float:
    return size[0] - 2 * MARGIN


def _frame(size: Size) -> Frame:
    """The room for content over the foot of a page."""
    foot = MARGIN + _cautions(_width(size)).height + FOOT_LINE + FOOT_GAP
    return Frame(MARGIN, foot, size[0] - MARGIN, size[1] - MARGIN)


def _cautions(width: float) -> Block:
    """The usual cautions under a rule."""
    rule = Shapes(lines=[Line((0.0, 0.0), (width, 0.0), Pen(0.2, 0.4))])
    return stack([Block(0.8, rule), paragraph(" ".join(CAUTIONS), CAUTION, width)])


def _foot(job: Job, units: Units, width: float, number: int, count: int) -> Block:
    """Cautions, then what the page belongs to and its number."""
    line = Shapes()
    page = say("foot.page", page=number, pages=count)
    maker = say("foot.maker", version=job.versions.get("jiggen", "?"))
    side = width_of(page, FOOT) + 6.0
    room = width - 2 * side
    about = say("foot.job", pattern=plain(job.inputs.pattern), boot=full(job.inputs.boot, units))
    size = fit(about, FOOT, 5.0, room)
    line.add(paragraph(maker, fit(maker, FOOT, 4.0, side), side).shapes)
    line.add(paragraph(about, size, room, anchor="middle").shapes, (side, 0.0))
    line.add(paragraph(page, FOOT, width, anchor="end").shapes)
    return stack([_cautions(width), space(0.5), Block(FOOT_LINE - 0.5, line)])
