"""The tables' files, row by row."""

from __future__ import annotations

import csv
from importlib.resources import files


def rows_of(table: str) -> list[dict[str, str]]:
    """The rows of a CSV file beside this module, by its name without the ending."""
    text = files(__package__ or "").joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
