"""The sheet for the bench: one PDF to work from, and the holes at 1:1 to lay over the jig.

Bench pages are upright, 1:1 pages lie; each has the cautions at its foot.
"""

from jiggen.draw.fonts import plain
from jiggen.errors import Finding, InputError
from jiggen.record import JigRecord, check_usable
from jiggen.report.sheet import kit
from jiggen.report.sheet.bench import bench_sections
from jiggen.report.sheet.document import Paper, frame_size, write_document
from jiggen.report.sheet.tiles import tile_pages

__all__ = ["Paper", "sheet_pdf"]

LONGEST_TICKET = 300  # characters


def sheet_pdf(
    record: JigRecord,
    *,
    paper: Paper = "A4",
    units: kit.Units = "mm",
    ticket: str = "",
) -> bytes:
    """The sheet of a built jig as PDF: the same bytes for the same record and choices.

    `record` is that of the jig's folder, with verification; `units` ``in`` adds inches to each
    length; `ticket` is free text for the head.

    Raises CheckFailed as `check_usable`; InputError ``sheet.ticket``.
    """
    check_usable(record)
    if len(ticket) > LONGEST_TICKET:
        message = f"the ticket's text has {len(ticket)} characters"
        hint = f"At most {LONGEST_TICKET} fit in the sheet's head."
        raise InputError(Finding("sheet.ticket", message, key="ticket", hint=hint))
    width, _ = frame_size(paper)
    story = bench_sections(record, units, ticket, width)
    story += tile_pages(record, units, frame_size(paper, upright=False))
    pattern = plain(record.inputs.pattern)
    boots = "–".join(f"{boot:g}" for boot in record.inputs.boots or (record.inputs.boot,))
    title = f"Drilling sheet: {pattern}, boot {boots} mm"
    about = f"{pattern}, boot {kit.boot_lengths(record, units)}"
    version = record.versions.get("jiggen", "?")
    return write_document(story, paper, title, about, version, record.mark)
