"""A shelf made anew from the folders of its jigs, which are the truth for what each jig is."""

import shutil
from collections.abc import Iterable
from contextlib import closing, suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from jiggen.errors import Finding, InputError, JiggenError
from jiggen.files import write_whole
from jiggen.shelf.file import as_file, in_memory
from jiggen.shelf.folders import folders_below
from jiggen.shelf.jigs import OwnedJig
from jiggen.shelf.store import Shelf, open_shelf

BESIDE = ("-wal", "-shm")  # what SQLite keeps beside a file that is open, or was when it stopped


@dataclass(frozen=True)
class Rebuilt:
    """What a shelf has after it was made anew; `aside` is where a damaged one is now.

    `refused` are folders that are not on it, and why.
    """

    jigs: tuple[OwnedJig, ...]
    refused: tuple[Finding, ...]
    aside: Path | None = None


def rebuild(path: Path, tops: Iterable[Path], by: str) -> Rebuilt:
    """Put every jig below `tops` on the shelf at `path`.

    What was done with the jigs of a shelf that can be read stays.  One that cannot be is put
    aside whole, and a new one takes its place at once.  Raises InputError as `connect` otherwise.
    """
    folders = [folder for top in tops for folder in folders_below(top)]
    try:
        with open_shelf(path) as shelf:
            return Rebuilt(*_filled(shelf, folders, by))
    except InputError as error:
        if error.findings[0].code != "shelf.damaged":
            raise
    with closing(in_memory()) as base:
        made = _filled(Shelf(path, base), folders, by)
        aside = _put_aside(path)
        write_whole(path, as_file(base), "shelf")
    return Rebuilt(*made, aside)


def _filled(
    shelf: Shelf, folders: Iterable[Path], by: str
) -> tuple[tuple[OwnedJig, ...], tuple[Finding, ...]]:
    """All that is on the shelf then, and what is not."""
    refused: list[Finding] = []
    seen: dict[str, Path] = {}
    for folder in folders:
        try:
            jig = shelf.add(folder, by)
        except JiggenError as error:
            if any(finding.code == "shelf.damaged" for finding in error.findings):
                raise
            refused += error.findings
            continue
        if (first := seen.setdefault(jig.mark, folder)) != folder:
            shelf.add(first, by)  # of two copies of one folder, the first
            message = f"the same jig as {first}, {jig.mark}: that folder is the shelf's"
            hint = "Another print of it is built as another copy, with a mark of its own."
            refused.append(Finding("shelf.twice", message, where=str(folder), hint=hint))
    return shelf.jigs(), tuple(refused)


def _put_aside(path: Path) -> Path:
    """Keep a damaged file under another name, with what belongs to it; where it is now."""
    names = (path.with_name(f"{path.name}.damaged-{number}") for number in count(1))
    aside = next(name for name in names if not name.exists())
    try:
        shutil.copy2(path, aside)
        for more in BESIDE:  # or they would be taken for those of the new file
            with suppress(FileNotFoundError):
                shutil.copy2(f"{path}{more}", f"{aside}{more}")
                Path(f"{path}{more}").unlink()
    except OSError as error:
        message = f"the damaged file cannot be put aside: {error.strerror or error}"
        hint = "Check the folder, your right to write there, and the space left; it is as it was."
        raise InputError.of("shelf.cannot-write", message, where=str(path), hint=hint) from error
    return aside
