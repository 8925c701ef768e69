"""The first filled sheet of a workbook (.xlsx) as rows of words, for `jiggen.inputs.table`."""

import io
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from pathlib import Path

from jiggen.errors import Finding
from jiggen.inputs.document import FileKind, read_bytes
from jiggen.inputs.faults import quoted
from jiggen.progress import note

SUFFIX = ".xlsx"
OTHERS = {".xls", ".ods", ".numbers", ".xlsm", ".xlsb"}
MOST_BYTES = 60_000_000  # unpacked: many times what a list of 10,000 rows takes
MOST_COLUMNS = 100
LAST_ROW = 20_000


def rows_of(path: Path, kind: FileKind) -> list[tuple[int, list[str]]]:
    """The rows that are not empty, each with its number from 1 and the words of its cells.

    Formulas count by the result that was saved with them.  Raises InputError as `read_bytes` does,
    ``.workbook`` for what cannot be read as one, and ``.too-big`` for one too large unpacked.
    """
    from openpyxl import load_workbook

    data, file = read_bytes(path, kind), str(path)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(entry.file_size for entry in packed.infolist())
        if unpacked <= MOST_BYTES:
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheets = [(sheet.title, list(_filled(sheet))) for sheet in book.worksheets]
    except Exception as error:  # whatever a spoilt file makes openpyxl and its readers raise
        message = f"not a workbook that can be read: {type(error).__name__}"
        hint = "Save it anew as .xlsx or as CSV."
        raise kind.refusal("workbook", message, file, hint) from None
    if unpacked > MOST_BYTES or any(rows and rows[-1][0] > LAST_ROW for _, rows in sheets):
        hint = "Copy the list alone into a new workbook, or save it as CSV."
        raise kind.refusal("too-big", "the workbook is far larger than a list", file, hint)
    filled = [(title, rows) for title, rows in sheets if rows]
    for title, _ in filled[1:2]:
        message = f"only the sheet {quoted(filled[0][0])} was read, {quoted(title)} was not"
        note(Finding(f"{kind.prefix}.sheets", message, file, hint="The first filled sheet counts."))
    return filled[0][1] if filled else []


def _filled(sheet: object) -> Iterator[tuple[int, list[str]]]:
    sheet.reset_dimensions()  # type: ignore[attr-defined]  # what it says of its size may be wrong
    cells = sheet.iter_rows(max_col=MOST_COLUMNS, values_only=True)  # type: ignore[attr-defined]
    for number, row in enumerate(cells, start=1):
        words = [_words(value) for value in row]
        if any(words):
            yield number, words
            if number > LAST_ROW:
                return


def _words(value: object) -> str:
    """A cell as a person would type it."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float() if value.is_integer() and abs(value) < 1e15:
            return f"{value:.0f}"
        case float():
            return f"{round(value, 9)}"
        case datetime() | date() | time():
            return f"{value} (a date)"  # 3/5 was typed: no length, and said as what it has become
    return str(value).strip()
