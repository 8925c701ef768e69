"""``jiggen sheet``, ``zip``: the papers of a built jig, and all of its folder in one file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

from jiggen import options as table
from jiggen.cli import forms, output
from jiggen.cli.program import JIGS, command
from jiggen.options import SKI, Option
from jiggen.request import options

SHEET_CORE = replace(
    table.CORE, help="Refused when the jig was built for another.", group=SKI, default=None
)
SHEET_BOOT = replace(
    table.BOOT,
    help="Only the page for the pair in hand, with this boot sole length: its line as a picture, "
    "the rails' readings, drill and stop, holes, screws.",
    group=table.SHEET,
    required=False,
)
SHEET_SHORT = Option(
    "short",
    "flag",
    "Only one page: as --boot, with the one boot sole length that the jig is for.",
    group=table.SHEET,
)
SHEET_OUT = replace(
    table.OUT, help="The PDF; by default DIR-sheet.pdf.", metavar="FILE", suffix=".pdf", short="o"
)


@command(JIGS)
def sheet(
    folder: options.FolderArgument,
    paper: Annotated[options.Paper, table.PAPER],
    units: Annotated[options.Units, table.UNITS],
    ticket: Annotated[str, table.TICKET],
    plate_hole: Annotated[float | None, table.PLATE_HOLE],
    boot: Annotated[float | None, SHEET_BOOT],
    short: Annotated[bool, SHEET_SHORT],
    core: Annotated[options.Core | None, SHEET_CORE],
    measured: options.SkiInHand,
    limits: options.Limits,
    out: Annotated[Path | None, SHEET_OUT],
    as_json: options.JsonOption,
) -> None:
    """Write the sheet to work from: drill and depth stop, tools, steps, and the holes at 1:1.

    The folder is verified again first. With what was measured on the ski in hand, the drilling is
    checked again for it. Exit code 1 when the jig fails, or does not fit the ski: then no sheet is
    made.
    """
    state, asked = measured.state(), limits.checked()

    from jiggen.drilling import SkiState
    from jiggen.files import write_whole
    from jiggen.record import check_usable, read_jig
    from jiggen.report.redrill import check_core, for_boot, only_boot, redrilled
    from jiggen.report.sheet import sheet_pdf
    from jiggen.report.sides import about_rails
    from jiggen.verify import certify

    record, full = read_jig(folder), folder.resolve()
    if short and boot is None:
        boot = only_boot(record)
    name = "sheet" if boot is None else f"boot-{boot:g}"
    target = out or full.parent / f"{full.name}-{name}.pdf"  # beside the folder, under its name
    forms.check_outside(target, folder, "--out")
    if core:
        check_core(record, core)
    check_usable(record)
    with output.shown_progress():
        certify(folder)
    if state != SkiState():
        record = redrilled(record, state, asked, boot)
    pages = sheet_pdf(
        record, paper=paper, units=units, ticket=ticket, plate_hole=plate_hole, boot=boot
    )
    write_whole(target, pages, "--out")
    data = {"file": str(target), "paper": paper, "units": units, "ticket": ticket}
    how = "Print it at 100 %, and check its bars with a ruler." if boot is None else "One page."
    used = record if boot is None else for_boot(record, boot)
    text = "\n".join((str(target), how, *about_rails(used)))
    output.write(as_json, lambda: data, lambda: text)


ZIP_OUT = replace(
    table.OUT, help="The file; by default DIR.zip.", metavar="FILE", suffix=".zip", short="o"
)


@command(JIGS, name="zip")
def zipped(
    folder: options.FolderArgument,
    out: Annotated[Path | None, ZIP_OUT],
    as_json: options.JsonOption,
) -> None:
    """Put everything that was built into one ZIP file, to keep or to send.

    The folder is verified again first. Exit code 1 when it fails: then no file is made. Of the same
    files it is always the same ZIP file.
    """
    from jiggen.export.bundle import zip_folder
    from jiggen.files import write_whole
    from jiggen.record import read_record
    from jiggen.verify import certify

    record, full = read_record(folder), folder.resolve()
    target = out or full.parent / f"{full.name}.zip"
    forms.check_outside(target, folder, "--out")
    with output.shown_progress():
        certify(folder)
    write_whole(target, zip_folder(full, record), "--out")
    output.write(as_json, lambda: {"file": str(target)}, lambda: str(target))
