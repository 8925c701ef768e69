"""``jiggen sheet``, ``zip``: the papers of a built jig, and all of its folder in one file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

from jiggen import options as table
from jiggen.cli import forms, output
from jiggen.cli.program import JIGS, command
from jiggen.request import options
from jiggen.request.sheet import SheetRequest

SHEET_OUT = replace(
    table.OUT, help="The PDF; by default DIR-sheet.pdf.", metavar="FILE", suffix=".pdf", short="o"
)


@command(JIGS)
def sheet(
    asked: SheetRequest,
    out: Annotated[Path | None, SHEET_OUT],
    as_json: options.JsonOption,
) -> None:
    """Write the sheet to work from: drill and depth stop, tools, steps, and the holes at 1:1.

    The folder is verified again first. With what was measured on the ski in hand, the drilling is
    checked again for it. Exit code 1 when the jig fails, or does not fit the ski: then no sheet is
    made.
    """
    content = asked.content()

    from jiggen.files import write_whole
    from jiggen.verify import certify

    folder = asked.folder
    target = out or folder.resolve().parent / content.file  # beside the folder, under its name
    forms.check_outside(target, folder, "--out")
    with output.shown_progress():
        certify(folder)
    write_whole(target, content.pdf(), "--out")
    shown = {"paper": asked.paper, "units": asked.units, "ticket": asked.ticket}
    text = "\n".join((str(target), *content.words))
    output.write(as_json, lambda: {"file": str(target), **shown}, lambda: text)


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
