"""ZIP archives, strictly: of the many ways to write one, the one that every reader reads alike.

Local headers from the first byte on, one behind the other, then the central directory that repeats
each, then its end: no gaps, no comments, no extra fields, no encryption, no two names that some
system takes for one (PKWARE, APPNOTE.TXT 6.3.10, sections 4.3 and 4.4).  What is unpacked is
bounded by what is read, whatever sizes are declared.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

LOCAL, CENTRAL, END = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
LOCAL_FORM, CENTRAL_FORM = struct.Struct("<4s5H3L2H"), struct.Struct("<4s6H3L5H2L")
END_FORM = struct.Struct("<4s4H2LH")
STORED, DEFLATED = 0, 8
NEWEST = 20  # version needed to extract: 2.0, deflated
FILE_MODES = (0, 0o10)  # upper four bits of a Unix mode: not said, or an ordinary file
MOST_MEMBERS = 50


class ArchiveError(ValueError):
    """What is not an archive, is damaged, or is written in a way that readers read differently."""


@dataclass(frozen=True)
class _Member:
    """A local header: its `fields` are version, flags, method, time, date, checksum and sizes."""

    name: bytes
    offset: int
    fields: tuple[int, ...]
    packed: bytes

    @property
    def shown(self) -> str:
        return repr(self.name.decode("ascii", "backslashreplace")[:120])


def read_archive(data: bytes, most: int) -> dict[str, bytes]:
    """The members of an archive by name, unpacked to `most` bytes together.

    Raises ArchiveError.
    """
    members = list(_local(data))
    offset = len(members) and members[-1].offset + LOCAL_FORM.size
    offset += len(members) and len(members[-1].name) + len(members[-1].packed)
    _check_directory(data, members, offset)
    found: dict[str, bytes] = {}
    for member in members:
        name = _name(member)
        if any(name.lower() == other.lower() for other in found):
            raise ArchiveError(f"two files in it are called {member.shown}")
        found[name] = _unpacked(member, most)
        most -= len(found[name])
    return found


def _local(data: bytes) -> Iterator[_Member]:
    """What stands before the directory."""
    offset, count = 0, 0
    if data[:4] != LOCAL:
        raise ArchiveError("it does not begin as an archive does")
    while data[offset : offset + 4] == LOCAL:
        count += 1
        if count > MOST_MEMBERS:
            raise ArchiveError(f"more than {MOST_MEMBERS} files in it")
        _, *fields, name_size, more = _unpack(LOCAL_FORM, data, offset)
        begin = offset + LOCAL_FORM.size
        end = begin + name_size + fields[6]
        member = _Member(
            data[begin : begin + name_size], offset, tuple(fields), data[begin + name_size : end]
        )
        if more:
            raise ArchiveError(f"{member.shown} has extra fields")
        if end > len(data):
            raise ArchiveError(f"{member.shown} is cut short")
        yield member
        offset = end


def _check_directory(data: bytes, members: list[_Member], offset: int) -> None:
    """The directory at `offset` must repeat every local header, and the file end with it."""
    begin = offset
    for member in members:
        if data[offset : offset + 4] != CENTRAL:
            raise ArchiveError("its directory does not follow on its files, or does not list all")
        found = _unpack(CENTRAL_FORM, data, offset)
        fields, (name_size, more, comment, disk, _, mode, at) = found[2:10], found[10:]
        offset += CENTRAL_FORM.size
        name = data[offset : offset + name_size]
        if (name, tuple(fields), at) != (member.name, member.fields, member.offset):
            raise ArchiveError(f"its directory and the file {member.shown} itself disagree")
        if more or comment or disk or mode >> 28 not in FILE_MODES or mode & 0x10:
            raise ArchiveError(f"{member.shown} is not an ordinary file without comment")
        offset += name_size
    _, disk, other_disk, here, count, size, at, comment = _unpack(END_FORM, data, offset)
    if data[offset : offset + 4] != END or (disk, other_disk, here) != (0, 0, count):
        raise ArchiveError("its directory does not end where it should")
    if (count, size, at) != (len(members), offset - begin, begin):
        raise ArchiveError("its directory is not what its end says")
    if comment or offset + END_FORM.size != len(data):
        raise ArchiveError("something follows on its end")


def _unpack(form: struct.Struct, data: bytes, offset: int) -> tuple[int, ...]:
    if offset + form.size > len(data):
        raise ArchiveError("it is cut short")
    return form.unpack_from(data, offset)


def _name(member: _Member) -> str:
    try:
        name = member.name.decode("ascii")
    except UnicodeDecodeError:
        name = ""
    if not name or not name.isprintable() or "\\" in name or {"", ".", ".."} & {*name.split("/")}:
        raise ArchiveError(f"{member.shown} is no name for a file in it")
    return name


def _unpacked(member: _Member, most: int) -> bytes:
    """A member's content; no more than `most` bytes are ever unpacked."""
    version, flags, method, _, _, checksum, _, size = member.fields
    if flags or version > NEWEST or method not in (STORED, DEFLATED):
        raise ArchiveError(f"{member.shown} is encrypted, or packed in an unusual way")
    content, whole = member.packed, True
    if method == DEFLATED:
        unpacking = zlib.decompressobj(-zlib.MAX_WBITS)
        try:
            content = unpacking.decompress(member.packed, min(size, most) + 1)
        except zlib.error as error:
            raise ArchiveError(f"{member.shown} is damaged: {error}") from None
        whole = unpacking.eof and not unpacking.unused_data
    if len(content) > most:
        raise ArchiveError("it unpacks to more than a jig's does")
    if not whole or len(content) != size or zlib.crc32(content) != checksum:
        raise ArchiveError(f"{member.shown} is damaged, or not of the size that is stated")
    return content
