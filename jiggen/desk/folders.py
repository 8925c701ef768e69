"""The folders that were built in the workshop: found by the server, named to a browser by a key.

No path ever comes from a page: a key is looked up among what is there, and a file of a folder among
those that its own record lists.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from jiggen.errors import InputError
from jiggen.files import MANIFEST, within
from jiggen.record import LARGEST, AnyRecord, read_record

OUT = Path("out")
KEY_LENGTH = 16  # figures: enough that no two folders of a workshop share one
DEEPEST = 3  # folders within one another, an evening's for one
LARGEST_FILE = 512 * 2**20  # bytes


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

    def file(self, name: str) -> Path:
        """The path of a file that the record lists.  Raises InputError ``desk.file``."""
        if name in self.record().files:
            try:
                return within(self.path, name, LARGEST_FILE)
            except OSError:
                pass
        raise InputError.of("desk.file", "there is no such file in this folder", where=self.name)


def key_of(path: Path) -> str:
    """What names a folder to a browser."""
    return hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:KEY_LENGTH]


def address_of(path: Path) -> str:
    """The page of a built folder."""
    return f"/made/{key_of(path)}"


def built_folders(out: Path = OUT) -> tuple[BuiltFolder, ...]:
    """Every built folder below `out`, the latest first; none that is being built."""
    found = []
    for depth in range(1, DEEPEST + 1):
        for manifest in out.glob("/".join(["*"] * depth + [MANIFEST])):
            folder = manifest.parent
            hidden = any(part.startswith(".") for part in folder.relative_to(out).parts)
            if not hidden and manifest.is_file() and manifest.stat().st_size <= LARGEST:
                found.append((manifest.stat().st_mtime_ns, folder))
    found.sort(key=lambda one: (-one[0], str(one[1])))
    return tuple(BuiltFolder(key_of(folder), folder) for _, folder in found)


def find_folder(key: str, out: Path = OUT) -> BuiltFolder | None:
    """The built folder of that key, or None."""
    return next((folder for folder in built_folders(out) if folder.key == key), None)
