"""ZIP archives written by hand, so that any field of them can be wrong."""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path


@dataclass(frozen=True)
class Entry:
    """A member, and what its two headers say of it where that is not the truth."""

    name: bytes
    content: bytes
    method: int = 8
    flags: int = 0
    version: int = 20
    extra: bytes = b""
    comment: bytes = b""
    mode: int = 0o644 << 16
    size: int | None = None
    checksum: int | None = None
    behind: bytes = b""  # the packed content
    directory: Mapping[str, object] | None = None  # what the directory says instead

    def fields(self) -> tuple[bytes, bytes]:
        """What both headers hold, and the packed content."""
        packing = zlib.compressobj(6, zlib.DEFLATED, -15)
        packed = self.content
        if self.method == 8:
            packed = packing.compress(self.content) + packing.flush()
        packed += self.behind
        size = len(self.content) if self.size is None else self.size
        checksum = zlib.crc32(self.content) if self.checksum is None else self.checksum
        head = struct.pack("<5H", self.version, self.flags, self.method, 0, 33)
        head += struct.pack("<3L", checksum, len(packed), size)
        return head + struct.pack("<2H", len(self.name), len(self.extra)), packed


def archive(
    entries: list[Entry],
    *,
    before: bytes = b"",
    between: bytes = b"",
    after: bytes = b"",
    comment: bytes = b"",
    count: int | None = None,
) -> bytes:
    """The bytes of an archive of `entries`, with more before, within and behind it."""
    data, directory = before, b""
    for entry in entries:
        head, packed = entry.fields()
        offset = len(data)
        data += b"PK\3\4" + head + entry.name + entry.extra + packed + between
        other = replace(entry, **(entry.directory or {}))  # type: ignore[arg-type]
        directory += b"PK\1\2" + struct.pack("<H", 0x314) + other.fields()[0]
        directory += struct.pack("<3H2L", len(other.comment), 0, 0, other.mode, offset)
        directory += other.name + other.extra + other.comment
    number = len(entries) if count is None else count
    end = struct.pack("<4H2LH", 0, 0, number, number, len(directory), len(data), len(comment))
    return data + directory + b"PK\5\6" + end + comment + after


def entries(path: Path) -> list[Entry]:
    """The members of an archive."""
    with zipfile.ZipFile(path) as package:
        return [Entry(name.encode(), package.read(name)) for name in package.namelist()]
