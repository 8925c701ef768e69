"""All entities of one type in a STEP file at once, as columns of numbers.

A solid's shape is ten thousands of entities of a dozen types: read one by one they cost more than
all checks of them.  Whatever is not of the plain form that every writer writes is read with care,
by :class:`jiggen.verify.reading.step_text.Entity`, which tells what is wrong with it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.step_text import (
    COMMA,
    ONE_REF,
    REAL,
    SOME_REALS,
    SOME_REFS,
    Entity,
    StepError,
    StepFile,
)

Rows = NDArray[np.int64]
Kind = Literal["skip", "ref", "maybe", "refs", "real", "reals", "flag"]
"""What a column holds; of a reference that is left out, of `maybe`, −1 is kept."""
PLAIN = {
    "skip": r"(?:'[^'\\]*+'|[$*])",
    "ref": ONE_REF,
    "maybe": r"(#\d++|\$)",
    "refs": SOME_REFS,
    "real": rf"({REAL})",
    "reals": SOME_REALS,
    "flag": r"\.([TF])\.",
}
NUMBER_LIMIT = 2**62  # entities' numbers are kept in 64 bits


@dataclass(frozen=True, eq=False)
class Lists:
    """A list of numbers or references of each row, one behind the other in `flat`."""

    flat: NDArray[Any]
    first: Rows
    count: Rows

    def of(self, rows: Rows) -> tuple[NDArray[Any], Rows]:
        """What the lists of `rows` hold, and for each the place of its row among them."""
        index, owner = ranges(self.first[rows], self.count[rows])
        return self.flat[index], owner


def ranges(first: Rows, count: Rows) -> tuple[Rows, Rows]:
    """The numbers first, first + 1 … of each range, and for each the place of its range."""
    owner = np.repeat(np.arange(len(count)), count)
    before = np.cumsum(count) - count
    return np.arange(len(owner)) - np.repeat(before - first, count), owner


@dataclass(frozen=True, eq=False)
class Columns:
    """The entities of one type by number, ascending, and what each argument that is asked for is:
    references and flags (n,), reals (n,), lists.
    """

    keyword: str
    numbers: Rows
    columns: tuple[Any, ...]

    def __getitem__(self, index: int) -> Any:
        return self.columns[index]

    def rows(self, numbers: Rows) -> Rows:
        """Where the entities of these numbers are.  Raises StepError if one is of another type."""
        if not len(self.numbers) or not len(numbers):
            found, known = np.zeros(len(numbers), np.int64), np.zeros(len(numbers), bool)
        else:
            found = np.minimum(np.searchsorted(self.numbers, numbers), len(self.numbers) - 1)
            known = self.numbers[found] == numbers
        if not known.all():
            raise StepError(f"#{numbers[~known][0]}: not of the type {self.keyword}")
        return found


def columns(file: StepFile, keyword: str, *kinds: Kind) -> Columns:
    """Every plain instance of a type, its arguments as `kinds` say, one for each of them.

    Raises StepError when one is not what is asked for.
    """
    numbers = file.by_keyword.get(keyword, ())
    if numbers and max(numbers) >= NUMBER_LIMIT:
        raise StepError(f"#{max(numbers)}: a number beyond all measure")
    found = _plainly([file.sources[number] for number in numbers], kinds)
    if found is None:
        found = _carefully([file[number] for number in numbers], kinds)
    order = np.array(numbers, dtype=np.int64)
    if (order[1:] < order[:-1]).any():
        by = np.argsort(order)
        order, found = order[by], [_taken(column, by) for column in found]
    return Columns(keyword, order, tuple(found))


def _taken(column: Any, rows: Rows) -> Any:
    if isinstance(column, Lists):
        return Lists(column.flat, column.first[rows], column.count[rows])
    return column[rows]


@cache
def _form(kinds: tuple[Kind, ...]) -> re.Pattern[str]:
    inside = COMMA.join(PLAIN[kind] for kind in kinds)
    return re.compile(rf"(?<=;)\({inside}\s*+\)\s*+(?=;)", re.ASCII)


def _plainly(sources: list[str], kinds: tuple[Kind, ...]) -> list[Any] | None:
    """The columns of sources that are all of the plain form; None if one is not."""
    joined = f";{';'.join(sources)};"
    if joined.count(";") != len(sources) + 1:  # one within a string
        return None
    matches: list[Any] = _form(kinds).findall(joined) if sources else []
    if len(matches) != len(sources):
        return None
    asked = [kind for kind in kinds if kind != "skip"]
    parts = [matches] if len(asked) == 1 else list(zip(*matches, strict=True)) or [()] * len(asked)
    found = [_column(list(words), kind) for words, kind in zip(parts, asked, strict=True)]
    finite = all(np.isfinite(c.flat if isinstance(c, Lists) else c).all() for c in found)
    return found if finite else None


def _column(words: list[str], kind: Kind) -> Any:
    if kind == "flag":
        return np.array([word == "T" for word in words], dtype=bool)
    if kind == "maybe":
        words = ["-1" if word == "$" else word for word in words]
    listed = ",".join(words).replace("#", "")
    number = np.float64 if kind in ("real", "reals") else np.int64
    flat = np.fromstring(listed, dtype=number, sep=",")
    if kind not in ("refs", "reals"):
        return flat
    return _lists(flat, [word.count(",") + 1 for word in words])


def _lists(flat: NDArray[Any], counts: list[int]) -> Lists:
    count = np.array(counts, dtype=np.int64)
    return Lists(flat, np.cumsum(count) - count, count)


def _carefully(entities: list[Entity], kinds: tuple[Kind, ...]) -> list[Any]:
    """The columns of entities that may be written in any way that the standard allows."""
    found: list[Any] = []
    for index, kind in enumerate(kinds):
        if kind == "flag":
            found.append(np.array([one.true(index) for one in entities], dtype=bool))
        elif kind == "ref":
            found.append(np.array([one.ref(index) for one in entities], dtype=np.int64))
        elif kind == "maybe":
            maybe = (one.optional_ref(index) for one in entities)
            found.append(np.array([-1 if r is None else r for r in maybe], dtype=np.int64))
        elif kind == "real":
            found.append(np.array([one.number(index) for one in entities], dtype=np.float64))
        elif kind in ("refs", "reals"):
            reals = kind == "reals"
            lists = [one.numbers(index) if reals else one.refs(index) for one in entities]
            number = np.float64 if reals else np.int64
            flat: Array = np.array([v for one in lists for v in one], dtype=number)
            found.append(_lists(flat, [len(one) for one in lists]))
    return found
