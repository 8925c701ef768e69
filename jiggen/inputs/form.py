"""Forms to fill in: a TOML file whose open values are "", and the same as a spreadsheet's table.

The table has a row for every value, its key as findings write it: ``distance[3].value``.
"""

import csv
import io
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path
from typing import Any

from jiggen.files import Toml, parse_toml
from jiggen.inputs.document import (
    DEEPEST,
    Document,
    FileKind,
    Place,
    Source,
    find_places,
    read_document,
)
from jiggen.inputs.faults import Fault, KeyPath, key_text, quoted
from jiggen.inputs.shape import number_in
from jiggen.inputs.table import TABLES, Columns, read_table

COLUMNS = Columns(("key", "what", "value"), ("key", "value"), (), comments=True)
_PART = re.compile(r"([A-Za-z0-9_-]{1,40})(?:\[([0-9]{1,4})\])?")
_VALUE = re.compile(r"""(=\s*+)(?:"(?:[^"\\]|\\.)*+"|'[^']*+'|\[[^\]]*+\]|[^\s#,}]++)""")
_LISTS, _TEXT = {"between", "along"}, {"name", "note", "of"}
_REST = "# Leave what follows as it is, unless you know better."


@dataclass(frozen=True)
class Form(Source):
    """A form filled in as a table: its `data` as TOML has it, and the line of every key path."""

    data: Toml
    lines: Mapping[KeyPath, int]

    def place(self, path: KeyPath) -> Place:
        """The line that `path`, or the first value within or around it, is on."""
        while path not in self.lines:
            inside = [line for key, line in self.lines.items() if key[: len(path)] == path]
            if inside or not path:
                return Place(min(inside, default=1), 0)
            path = path[:-1]
        return Place(self.lines[path], 0)


@dataclass(frozen=True)
class Blank:
    """A value of a form that is not filled in yet, and what it is, in the form's own words."""

    path: KeyPath
    words: str


def read_form(path: str | os.PathLike[str], kind: FileKind) -> Document | Form:
    """The form at `path`: a table where its name ends as one, else TOML.

    Raises InputError as `read_table` and `read_document` do, and ``.key`` for a row that is none.
    """
    if Path(path).suffix.lower() not in TABLES:
        return read_document(path, kind)
    table = read_table(Path(path), kind, COLUMNS)
    data: Toml = {}
    lines: dict[KeyPath, int] = {}
    faults = list(table.too_wide("key"))
    for number, row in enumerate(table.rows):
        key = row.cells.get("key", "")
        found = _key_path(key)
        if row.width:
            continue
        cell = row.cells.get("value", "")
        if not found or found in lines or not _put(data, found, value_of(found, cell)):
            hint = "Take a fresh form and fill in its last column only."
            faults.append(Fault(("key", number), "key", f"no key for a value: {quoted(key)}", hint))
        else:
            lines[found] = row.line
    table.refuse(faults)
    return Form(str(path), kind, _dense(data), lines)


def form_table(text: str) -> str:
    """The form whose TOML is `text` as a table for a spreadsheet: what is to be filled in first."""
    stream = io.StringIO()
    rows = csv.writer(stream, delimiter=";", lineterminator="\r\n")
    stream.write("sep=;\r\n")
    rows.writerow(COLUMNS.names)
    open_values = {blank.path: blank.words for blank in blanks(text)}
    rows.writerows([key_text(path), words, ""] for path, words in open_values.items())
    rows.writerow([_REST, "", ""])
    for path, value in leaves(parse_toml(text)):
        if path not in open_values:
            rows.writerow([key_text(path), "", cell_of(value)])
    return stream.getvalue()


def blanks(text: str, *answers: str) -> Iterator[Blank]:
    """What is not filled in yet in the TOML `text`, in its order; notes beside it are its words.

    What is under a key of `answers` counts whether it is filled in or not.
    """
    data, places, lines = parse_toml(text), find_places(text), text.split("\n")
    for path, value in sorted(leaves(data), key=lambda leaf: places[leaf[0]]):
        if value != "" and path[-1] not in answers:
            continue
        first = last = places[path].line
        above: list[str] = []
        if len(path) > 1 and isinstance(path[-2], int):  # a row of many: all that it says
            first = places[path[:-1]].line
            above = [*takewhile(lambda line: line.startswith("#"), reversed(lines[: first - 1]))]
        notes = [line.strip("# ") for line in reversed(above)]
        notes += [line.partition("#")[2].strip() for line in lines[first - 1 : last] if "#" in line]
        label = _label(data, path)
        beside = ", ".join(notes)
        words = beside if label in beside else f"{label}: {beside}" if beside else label
        yield Blank(path, words)


def _label(data: Any, path: KeyPath) -> str:
    """What a value is called: by the names in its row, or by its key."""
    *around, key = path
    for part in around:
        data = data[part]
    if named := data.get("between"):
        return " to ".join(map(str, named))
    match path:
        case (str(table), int(), _):
            return f"{table} of {data['of']}" if "of" in data else table
        case (str(table), str(pair), str(way)):
            other = " with the other tool" if table == "other_tool" else ""
            return f"{pair.replace('-', ' to ')}, {way}{other}"
        case ("holes", str(hole)):
            return f"hole {hole}, diameter"
    return str(key)


def filled(text: str, path: KeyPath, value: str) -> str:
    """The TOML `text` with `value`, itself TOML, in place of that of `path`, on one line."""
    line, column = find_places(text)[path]
    lines = text.split("\n")
    before, rest = lines[line - 1][: column - 1], lines[line - 1][column - 1 :]
    lines[line - 1] = before + _VALUE.sub(lambda found: found[1] + value, rest, count=1)
    return "\n".join(lines)


def leaves(data: Any, path: KeyPath = ()) -> Iterator[tuple[KeyPath, Any]]:
    """Every value with its key path; lists of plain values are one."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*path, key))
    elif isinstance(data, list) and data and isinstance(data[0], dict):
        for number, value in enumerate(data):
            yield from leaves(value, (*path, number))
    else:
        yield path, data


def cell_of(value: Any) -> str:
    """A value as a cell: names and numbers with blanks between them, pairs with hyphens."""
    if isinstance(value, list):
        return " ".join(
            "-".join(map(str, one)) if isinstance(one, list) else str(one) for one in value
        )
    return str(value)


def value_of(path: KeyPath, cell: str) -> Any:
    """What the cell of `path` holds: a number, several of them, or text."""
    words = cell.split()
    if path[-1] in _LISTS:
        return words
    numbers = [_number(word) for word in words]
    if not words or None in numbers or path[-1] in _TEXT or path[0] == "plate":
        return cell
    return numbers[0] if len(numbers) == 1 else numbers


def _number(word: str) -> int | float | None:
    return int(word) if re.fullmatch("[0-9]{1,15}", word) else number_in(word)


def _key_path(key: str) -> KeyPath:
    """The path that `key` writes, ``a.b[2].c``; nothing where it is none."""
    path: list[str | int] = []
    for part in key.split("."):
        found = _PART.fullmatch(part)
        if not found or len(path) > DEEPEST:
            return ()
        path.append(found[1])
        if found[2]:
            path.append(int(found[2]) - 1)
    return tuple(path)


def _put(data: Any, path: KeyPath, value: Any) -> bool:
    """Put `value` into tables within tables; lists are tables of numbers.  False: no room there."""
    for part in path[:-1]:
        data = data.setdefault(part, {})
        if not isinstance(data, dict):
            return False
    return data.setdefault(path[-1], value) is value


def _dense(data: Any) -> Any:
    """Tables of numbers as lists."""
    if not isinstance(data, dict):
        return data
    if data and all(isinstance(key, int) for key in data):
        return [_dense(data[key]) for key in sorted(data)]
    return {str(key): _dense(value) for key, value in data.items()}
