"""A survey of a plate as the fields of a page: to a survey file's values and back."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from jiggen.errors import Finding, InputError
from jiggen.files import Toml
from jiggen.inputs.faults import KeyPath, key_text, quoted
from jiggen.inputs.form import cell_of, leaves, value_of
from jiggen.inputs.shape import number_in
from jiggen.measure import METHODS
from jiggen.options import Option
from jiggen.request import placing
from jiggen.units import counted, listed

PLACES: dict[Option, KeyPath] = {
    placing.NAME: ("name",),
    placing.UNITS: ("units",),
    placing.ORIGIN: ("plate", "origin"),
    placing.FRONT: ("plate", "front"),
    placing.PAIRS: ("plate", "pairs"),
    placing.CENTRE_LINE: ("plate", "centre_line"),
    placing.REAR: ("plate", "rear"),
    placing.LEFT: ("plate", "left"),
    placing.RIGHT: ("plate", "right"),
    placing.MIDDLE: ("plate", "middle"),
    placing.ALONG: ("plate", "along"),
    placing.DATUM: ("group", "datum"),
    placing.SHIFT: ("group", "shift"),
    placing.GROUP: ("group", "name"),
    placing.PLAIN: ("drill", "diameter", "plain"),
    placing.METAL: ("drill", "diameter", "metal"),
    placing.DEPTH: ("drill", "depth"),
    placing.UNUSUAL: ("drill", "unusual"),
    placing.BOOT: ("boot",),
    placing.PAIR: ("pair",),
    placing.NOTE: ("note",),
    placing.SIGMA: ("sigma",),
}
"""Fields of a page in their order, with the place of each in a survey file."""
TABLES = {"": "distances", "other": "other_tool"}
HOW = ("outside", "inside", "centre")
FREE = 4  # rows that are empty at the end of a table
_ROW = re.compile(r"(?:hole|diameter|from|to|how|read|within|tool)\.([0-9]{1,3})")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_NAMES = ("front", "rear", "left", "right", "centre_line", "origin", "middle", "along")


@dataclass(frozen=True)
class Entry:
    """What was entered on a page, by the names of its fields; lists of words as an address has."""

    words: Mapping[str, Sequence[str]]

    def one(self, name: str) -> str:
        """The words of one field."""
        return next(iter(self.words.get(name, ())), "")

    @cached_property
    def rows(self) -> tuple[int, ...]:
        """The numbers of all rows in which anything stands."""
        found = (_ROW.fullmatch(name) for name in self.words)
        return tuple(sorted({int(one[1]) for one in found if one}))

    @cached_property
    def holes(self) -> dict[int, tuple[str, str]]:
        """Name and diameter of the hole in each row that has one of them."""
        rows = ((row, (self.one(f"hole.{row}"), self.one(f"diameter.{row}"))) for row in self.rows)
        return {row: both for row, both in rows if any(both)}

    @cached_property
    def lines(self) -> dict[KeyPath, list[int]]:
        """The rows of distances by table, pair and method; those not read yet come last."""
        found: dict[KeyPath, list[int]] = {}
        for row in self.rows:
            ends = self.one(f"from.{row}"), self.one(f"to.{row}")
            if all(ends) or (any(ends) and self.one(f"read.{row}")):
                table = TABLES.get(self.one(f"tool.{row}"), "distances")
                path = (table, "-".join(ends), self.one(f"how.{row}") or HOW[0])
                found.setdefault(path, []).append(row)
        for rows in found.values():
            rows.sort(key=lambda row: not self.one(f"read.{row}"))
        return found

    def read(self, row: int) -> list[Any]:
        """The values in the reading's cell of a row; none where it is empty."""
        return (
            [*_each(value_of(("read",), self.one(f"read.{row}")))]
            if self.one(f"read.{row}")
            else []
        )

    def data(self) -> Toml:
        """The survey file; what is not filled in yet is ``""``, as in a form.

        Raises InputError for what no file can hold.
        """
        found: Toml = {"format": 1}
        for row, path in PLACES.items():
            words = self.one(row.name)
            if words or row.required:
                put(found, path, _read(path, words))
        self._check()
        found["holes"] = {
            name: value_of(("diameter",), diameter) for name, diameter in self.holes.values()
        }
        for path, rows in self.lines.items():
            table, pair, _ = path
            read = [value for row in rows for value in self.read(row)]
            put(found, path, read[0] if len(read) == 1 else read or "")
            if within := next(filter(None, (self.one(f"within.{row}") for row in rows)), ""):
                put(found, (table, pair, "sigma"), value_of(("sigma",), within))
        return found

    def _check(self) -> None:
        faults, seen = list[Finding](), set[str]()
        for row, (name, _) in self.holes.items():
            if name in seen:
                message, hint = f"two holes are called {quoted(name)}", "Give each its own name."
                faults.append(Finding("survey.name", message, key=f"hole.{row}", hint=hint))
            seen.add(name)
        for row in self.rows:
            if self.one(f"read.{row}") and not (self.one(f"from.{row}") or self.one(f"to.{row}")):
                hint = "Name the two holes, or an edge and a hole, that it lies between."
                message = "a reading between nothing"
                faults.append(Finding("survey.no-distance", message, key=f"read.{row}", hint=hint))
        if faults:
            raise InputError(faults)

    def field_of(self, key: str) -> str:
        """The field, or the row's, that a finding's `key` is about; nothing where it is none."""
        if key in self.words:
            return key
        known = {key_text(path): row.name for row, path in PLACES.items()}
        known |= {key_text(("holes", name)): f"hole.{row}" for row, (name, _) in self.holes.items()}
        for path, rows in self.lines.items():
            known.setdefault(key_text(path[:2]), f"read.{rows[0]}")
            known[key_text(path)] = f"read.{rows[0]}"
            each = [row for row in rows for _ in self.read(row)]
            known |= {key_text((*path, n)): f"read.{row}" for n, row in enumerate(each)}
        around = (one for one in known if key == one or key.startswith((f"{one}.", f"{one}[")))
        return known.get(max(around, key=len, default=""), "")


@dataclass(frozen=True)
class Draft:
    """As much of a survey as can be solved: `data`, and what is still to be filled in, in words.

    `complete` says that it is the whole survey; `distances` how many are not read yet.
    """

    data: Toml
    todo: tuple[str, ...]
    distances: int

    def solved(self, entry: Entry) -> Iterator[int]:
        """The row of each reading, in the order in which the survey has them."""
        for pair, line in self.data["distances"].items():
            for method in METHODS if isinstance(line, dict) else ():
                for row in entry.lines.get(("distances", pair, method), ()):
                    yield from [row] * len(entry.read(row))

    @property
    def complete(self) -> bool:
        """Whether nothing is left open without which there is no pattern."""
        return not self.todo


def draft(whole: Toml) -> Draft:
    """`whole` without what is not filled in yet: holes with no diameter, distances not read."""
    data, todo = {**whole}, list[str]()
    missing = [name for name, size in data["holes"].items() if size == ""]
    data["holes"] = {name: size for name, size in data["holes"].items() if name not in missing}
    lines = [path for path, value in leaves(whole) if path[0] in TABLES.values()]
    unread = sum(value == "" for path, value in leaves(whole) if path[0] in TABLES.values())
    for table in TABLES.values():
        known = {
            pair: line
            for pair, line in data.get(table, {}).items()
            if not {*missing} & {*pair.split("-")}
            if any(line.get(method, "") != "" for method in METHODS)
        }
        data.pop(table, None)
        data |= {table: known} if known else {}
    if data["name"] == "":
        todo.append("the plate's name")
        data["name"] = "Plate"
    plate = {key: _without(value, missing) for key, value in data.get("plate", {}).items()}
    if not plate.get("origin"):
        todo.append("the origin")
        plate["origin"] = next(iter(data["holes"]), "")
    data["plate"] = plate
    if missing or not data["holes"]:
        todo.append(f"the diameter of {listed(missing)}" if missing else "the holes")
    if "distances" not in data:
        todo.append("distances" if lines else "the distances")
    return Draft(data, tuple(todo), unread)


def _without(value: Any, names: Sequence[str]) -> Any:
    """Names, or pairs of them, less those of `names`."""
    if not isinstance(value, list):
        return value
    return [
        one for one in value if not {*names} & {*(one if isinstance(one, list) else [str(one)])}
    ]


def open_words(found: Draft) -> str:
    """What is not filled in yet, in a sentence; nothing where all of it is."""
    words = [f"{listed(found.todo)}"] if found.todo else []
    words += [f"{counted(found.distances, 'distance')} not read"] if found.distances else []
    return f"Still open: {'; '.join(words)}." if words else ""


def words_of(data: Toml) -> dict[str, str]:
    """The fields of a page by the values of a survey file.

    Raises InputError for what the page has no field for.
    """
    found = {row.name: cell_of(_at(data, path)) for row, path in PLACES.items()}
    holes = data.get("holes", {})
    for row, (name, size) in enumerate(holes.items() if isinstance(holes, dict) else (), start=1):
        found |= {f"hole.{row}": name, f"diameter.{row}": cell_of(size)}
    row = 0
    for tool, table in TABLES.items():
        for pair, line in _tables(data.get(table)):
            first, _, second = pair.partition("-")
            values = [(how, one) for how in METHODS for one in _each(line.get(how, ()))]
            for how, value in values:
                row += 1
                entry = {
                    "from": first,
                    "to": second,
                    "how": how,
                    "read": cell_of(value),
                    "tool": tool,
                }
                entry["within"] = cell_of(line.get("sigma", ""))
                found |= {f"{name}.{row}": words for name, words in entry.items()}
    found = {name: words for name, words in found.items() if words}
    again = Entry({name: [words] for name, words in found.items()}).data()
    lost = {*_cells(data)} - {*_cells(again)}
    if lost:
        keys = listed(sorted(key for key, _ in lost)[:5])
        message, hint = f"the page has no field for {keys}", "Correct the file first."
        if "scanned" in data:
            message = "the page has no fields for places that scans tell"
            hint = "Fill the file itself in, or go on with the scans."
        raise InputError.of("survey.no-field", message, key=keys, hint=hint)
    return found


def survey_toml(data: Toml) -> str:
    """The values of a survey as a survey file."""
    plain = [f"{key} = {_toml(value)}" for key, value in data.items() if not _is_table(value)]
    for key, table in data.items():
        if isinstance(table, dict):
            plain += ["", f"[{key}]"]
            plain += [f"{_key(name)} = {_toml(value)}" for name, value in table.items()]
    return "\n".join([*plain, ""])


def _read(path: KeyPath, words: str) -> Any:
    """The value of a field; lists may also be written as in a file."""
    if path[0] == "plate" and words.startswith(("[", '"')):
        try:
            return json.loads(words)
        except ValueError:
            return words
    if path[-1] == "pairs":
        return [pair.split("-") for pair in re.split(r"[\s;,]+", words.strip())]
    if path[-1] in _NAMES:
        return re.split(r"[\s;,]+", words) if words else ""
    if path[-1] == "unusual":
        return True
    if path[-1] == "boot":
        words = " ".join(re.sub(r",(?=\s)|[-–;]", " ", words).split())
    return words if path[-1] in ("units", "datum", "pair") else value_of(path, words)


def put(data: Toml, path: KeyPath, value: Any) -> None:
    """Set the value at `path`, and the tables around it."""
    for part in path[:-1]:
        data = data.setdefault(str(part), {})
    data[str(path[-1])] = value


def _at(data: Any, path: KeyPath) -> Any:
    for part in path:
        data = data.get(part, "") if isinstance(data, dict) else ""
    return "on" if data is True else "" if data is False else data


def _tables(value: Any) -> Iterator[tuple[str, Toml]]:
    for key, line in value.items() if isinstance(value, dict) else ():
        if isinstance(line, dict):
            yield key, line


def _each(value: Any) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else [value]


def _cells(data: Toml) -> Iterator[tuple[str, str]]:
    """Every value that is not empty as text, with its key; numbers however they are written."""
    for path, value in leaves(data):
        if (words := cell_of(value).split()) and value is not False:
            numbers = map(number_in, words)
            plain = (
                word if size is None else size for word, size in zip(words, numbers, strict=True)
            )
            yield key_text(path), " ".join(map(str, plain))


def _is_table(value: Any) -> bool:
    return isinstance(value, dict)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{_key(key)} = {_toml(one)}' for key, one in value.items())} }}"
    return json.dumps(value, ensure_ascii=False)
