"""A folder of files made, verified and put in place: whole or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from jiggen.export import check_target, listing, put_in_place, workshop, write_manifest
from jiggen.files import plain_name
from jiggen.record import Record
from jiggen.record.results import Printing
from jiggen.record.results import Verification as VerificationEntry
from jiggen.verify import Verification, printing_dict, verify_folder

Progress = Callable[[str], None]
R = TypeVar("R", bound=Record)


def folder_name(pattern: str, *boots: float) -> str:
    """A plain folder name for a pattern and its boot, or its shortest and longest one.

    Letters, digits and hyphens only, and a point where a boot has one.
    """
    return "-".join([plain_name(pattern, "jig"), *(f"{boot:g}" for boot in boots)])


def verified_folder(
    target: Path,
    make: Callable[[Path], R],
    *,
    finish: Callable[[Path, R], None] = lambda _folder, _record: None,
    force: bool,
    progress: Progress,
) -> tuple[Path, R, Verification]:
    """What `make` writes into a folder, with its record and verification.

    `make` returns the record so far; `finish` may write more files, by a record that has its
    verification, passed or not.  `target` is replaced whole; what fails its verification is left
    beside it as ``…-failed``.  Raises InputError when `target` may not be replaced, and what
    `make` raises; then nothing is written.
    """
    check_target(target, force=force)
    with workshop(target) as folder:
        check_target(target, force=force)  # now that no other jiggen writes there
        record = _listed(make(folder), folder)
        write_manifest(folder, record)
        progress("verification")
        verification = verify_folder(folder)
        results = {
            "verification": VerificationEntry.model_validate(verification.as_dict()),
            "printing": Printing.model_validate(printing_dict(verification.printing)),
        }
        record = record.model_copy(update=results)
        finish(folder, record)
        record = _listed(record, folder)
        write_manifest(folder, record)
        final = target if verification.passed else target.with_name(target.name + "-failed")
        check_target(final, force=force)  # building takes time: something may have been put there
        put_in_place(folder, final)
    return final, record, verification


def _listed(record: R, folder: Path) -> R:
    """`record` with the files that are in `folder` now."""
    return record.model_copy(update={"files": listing(folder)})
