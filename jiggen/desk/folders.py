"""The folders that were built in the workshop: found by the server, named to a browser by a key.

No path ever comes from a page: a key is looked up among what is there, and a file of a folder among
those that its own record lists.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from starlette.exceptions import HTTPException

from jiggen.desk.works import Work, Works
from jiggen.errors import Finding, InputError, JiggenError
from jiggen.export.bundle import read_listed
from jiggen.files import MANIFEST
from jiggen.record import AnyRecord, JigRecord, check_usable, read_record
from jiggen.request.products import OUT_FOLDER
from jiggen.shelf.folders import folders_below
from jiggen.verify.certificate import certify, is_remembered, seal_of

R = TypeVar("R", bound=AnyRecord)
KEY_LENGTH = 16  # figures: enough that no two folders of a workshop share one


@dataclass(frozen=True, eq=False)
class BuiltFolder:
    """A folder with a record in it, by its key."""

    key: str
    path: Path

    @property
    def name(self) -> str:
        """Its name."""
        return self.path.name

    @property
    def address(self) -> str:
        """Its page."""
        return address_of(self.path)

    def record(self) -> AnyRecord:
        """Its record.  Raises InputError."""
        return read_record(self.path)

    def certified(self) -> AnyRecord:
        """Its record, if it passes its verification now.  Raises JiggenError."""
        record = _usable(self.record())
        certify(self.path)
        return record

    def file(self, name: str) -> bytes:
        """A file that the record lists, of a folder that passes its verification now.

        Raises InputError ``desk.file`` where there is none, JiggenError for what must not be used.
        """
        record = self.certified()
        if name not in record.files:
            message = "there is no such file in this folder"
            raise InputError.of("desk.file", message, where=self.name)
        return read_listed(self.path, record, name)


def key_of(path: Path) -> str:
    """What names a folder to a browser."""
    return hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:KEY_LENGTH]


def address_of(path: Path) -> str:
    """The page of a built folder."""
    return f"/made/{key_of(path)}"


def built_of(kind: type[R], key: str) -> tuple[BuiltFolder, R]:
    """The folder of that `key`, and its record; HTTPException where it has none of that `kind`."""
    folder = find_folder(key)
    record = folder.record() if folder else None
    if folder is None or not isinstance(record, kind):
        raise HTTPException(404)
    return folder, record


def built_folders(out: Path = OUT_FOLDER) -> tuple[BuiltFolder, ...]:
    """Every built folder below `out`, the latest first; none that is being built."""
    found = [(-one.joinpath(MANIFEST).stat().st_mtime_ns, one) for one in folders_below(out)]
    return tuple(BuiltFolder(key_of(folder), folder) for _, folder in sorted(found))


def find_folder(key: str, out: Path = OUT_FOLDER) -> BuiltFolder | None:
    """The built folder of that key, or None."""
    return next((folder for folder in built_folders(out) if folder.key == key), None)


@dataclass(frozen=True)
class Standing:
    """Whether a folder may be used, or why not; neither while `work`, its verification, goes on."""

    passed: bool
    findings: tuple[Finding, ...] = ()
    work: Work | None = None


def standing(folder: BuiltFolder, record: AnyRecord, works: Works, address: str = "") -> Standing:
    """Whether `folder` may be used; where that is not known, its verification is begun.

    `address` is the page to go on with then, by default the folder's own.
    """
    if not record.passed:
        return Standing(False)
    try:
        _usable(record)
    except JiggenError as error:
        return Standing(False, error.findings)
    seal = seal_of(folder.path)
    if is_remembered(seal):
        return Standing(True)
    key, address = f"verification {seal}", address or folder.address
    for known in works.latest():
        if known.key == key and known.state in ("done", "failed"):
            return Standing(known.state == "done", known.findings)
    title, path = f"Verification of {folder.name}", folder.path.absolute()
    work = works.start(title, certify, path, key=key, address=address, then=lambda _: address)
    return Standing(False, work=work)


def _usable(record: AnyRecord) -> AnyRecord:
    """`record` of what may be used by its own words.  Raises CheckFailed."""
    if isinstance(record, JigRecord):
        check_usable(record)
    return record
