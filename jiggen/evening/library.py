"""The files that rows name: patterns and old holes, each read once."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from pathlib import Path
from typing import TypeVar

from jiggen.errors import Finding, InputError
from jiggen.inputs.faults import quoted
from jiggen.pattern import Pattern, find_pattern, read_pattern
from jiggen.remount import OldHole, read_old_holes

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class Library:
    """Reads files named from `folder`, that of the jobs file, and keeps what they hold."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._patterns: dict[str, Pattern | None] = {}
        self._holes: dict[Path, tuple[OldHole, ...] | None] = {}

    def pattern(self, name: str) -> Pattern:
        """The pattern called `name`: a file beside the jobs file, or any that its name finds.

        Raises InputError; where its file is at fault, with all its faults the first time alone.
        """
        hint = "Its faults are said with the first row that names it."
        again = Finding("evening.pattern", f"no use of {quoted(name)}: it has faults", hint=hint)
        return _once(self._patterns, name, self._read_pattern, again)

    def old_holes(self, path: Path) -> tuple[OldHole, ...]:
        """The old holes in the file at `path`.  Raises InputError as `pattern` does."""
        hint = "Its faults are said with the first row that names it."
        again = Finding("evening.file", f"no use of {quoted(str(path))}: it has faults", hint=hint)
        return _once(self._holes, path, _read_holes, again)

    def _read_pattern(self, name: str) -> Pattern:
        beside = self._folder / name
        path = beside if _is_file(beside) else find_pattern(name)
        if not _is_file(path):  # a pipe, say: reading it would wait for ever
            hint = "Name a pattern, or the path of a pattern file."
            raise InputError(Finding("evening.file", f"{quoted(name)} is no file", hint=hint))
        return read_pattern(path)


def _read_holes(path: Path) -> tuple[OldHole, ...]:
    if not _is_file(path):
        hint = "The name is read from the folder of the jobs file on."
        said = f"there is no file {quoted(str(path), 200)}"
        raise InputError(Finding("evening.file", said, hint=hint))
    return read_old_holes(path)


def _once(known: dict[K, V | None], key: K, read: Callable[[K], V], again: Finding) -> V:
    """What `read` returns, or returned; a file that had faults raises `again` from then on.

    What is wrong with the name alone is raised each time.
    """
    if key not in known:
        try:
            known[key] = read(key)
        except InputError as error:
            if any(finding.where for finding in error.findings):
                known[key] = None
            raise
    found = known[key]
    if found is None:
        raise InputError(again)
    return found


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # no name that a file can have
        return False
