"""The sheet for the bench: one PDF to work from, and the holes at 1:1 to lay plate and jig on.

Bench pages are upright, 1:1 pages lie; each has the cautions at its foot.
"""

from reportlab.platypus import NextPageTemplate, PageBreak

from jiggen import __version__
from jiggen.draw.fonts import plain
from jiggen.errors import Finding, InputError
from jiggen.export.manifest import hole_entries
from jiggen.layout import Layout
from jiggen.record import JigRecord, check_usable
from jiggen.report.redrill import for_boot
from jiggen.report.sheet import kit
from jiggen.report.sheet.bench import bench_sections
from jiggen.report.sheet.document import LYING, Paper, frame_size, write_document
from jiggen.report.sheet.pair import pair_page
from jiggen.report.sheet.tiles import Plan, tile_pages

__all__ = ["Paper", "layout_pdf", "sheet_pdf"]

LONGEST_TICKET = 300  # characters


def sheet_pdf(
    record: JigRecord,
    *,
    paper: Paper = "A4",
    units: kit.Units = "mm",
    ticket: str = "",
    plate_hole: float | None = None,
    boot: float | None = None,
) -> bytes:
    """The sheet of a built jig as PDF: the same bytes for the same record and choices.

    `record` is that of the jig's folder, with verification; `units` ``in`` adds inches to each
    length; `ticket` is free text for the head; `plate_hole` how wide the plate's own holes are, mm,
    to draw them as well.  With a `boot`, mm, it is the one page for the pair in hand.

    Raises CheckFailed as `check_usable`; InputError ``sheet.ticket``; both as `for_boot`.
    """
    check_usable(record)
    if len(ticket) > LONGEST_TICKET:
        message = f"the ticket's text has {len(ticket)} characters"
        hint = f"At most {LONGEST_TICKET} fit in the sheet's head."
        raise InputError(Finding("sheet.ticket", message, key="ticket", hint=hint))
    mark = record.mark
    if boot is not None:
        record = for_boot(record, boot)
    width, _ = frame_size(paper)
    inputs = record.inputs
    pattern = plain(inputs.pattern)
    whose = f"{pattern}, boot {kit.full(inputs.boot, units)}, {kit.which_skis(inputs)}"
    plan = Plan(whose, record.holes, (inputs.ski.least, inputs.ski.most), plate_hole)
    if boot is None:
        story = bench_sections(record, units, ticket, width)
        story += [NextPageTemplate(LYING), PageBreak()]
        story += tile_pages(plan, units, frame_size(paper, upright=False))
    else:
        story = pair_page(record, units, ticket, frame_size(paper))
    boots = "–".join(f"{boot:g}" for boot in inputs.boots or (inputs.boot,))
    title = f"Drilling sheet: {pattern}, boot {boots} mm"
    about = f"{pattern}, boot {kit.boot_lengths(record, units)}, jig mark {record.jig_mark}"
    version = record.versions.get("jiggen", "?")
    return write_document(story, paper, title, about, version, mark)


def layout_pdf(
    layout: Layout,
    skis: tuple[float, ...] = (),
    *,
    paper: Paper = "A4",
    units: kit.Units = "mm",
    plate_hole: float | None = None,
) -> bytes:
    """The holes of a layout at 1:1 over as many pages as it takes, as on the sheet of a jig.

    Edges of `skis` of these widths, mm, and the plate's own holes are drawn where they are given.
    """
    whose = f"{plain(layout.pattern)}, boot {kit.full(layout.boot, units)}, "
    plan = Plan(whose + kit.which_skis(layout), hole_entries(layout), skis, plate_hole)
    pages = tile_pages(plan, units, frame_size(paper, upright=False))
    title = f"Holes at 1:1: {plain(layout.pattern)}, boot {layout.boot:g} mm"
    return write_document(pages, paper, title, whose.rstrip(", "), __version__, first=LYING)
