"""One way to write an archive; every other is refused, and none unpacks to more than allowed."""

from __future__ import annotations

import io
import tracemalloc
import zipfile
from dataclasses import replace

import pytest
from zip_samples import Entry, archive

from jiggen.verify.reading.archive import ArchiveError, read_archive

ONE, OTHER = Entry(b"a/one.xml", b"one" * 100), Entry(b"other.xml", b"other")
MOST = 1000


def test_members_are_read_as_they_are():
    wanted = {"a/one.xml": b"one" * 100, "other.xml": b"other"}
    assert read_archive(archive([ONE, OTHER]), MOST) == wanted
    assert read_archive(archive([replace(ONE, method=0), OTHER]), MOST) == wanted
    for how in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", how) as package:
            for name, content in wanted.items():
                package.writestr(name, content)
        assert read_archive(buffer.getvalue(), MOST) == wanted


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "begin"),
        (b"PK\3\4", "cut short"),
        (archive([ONE])[:60], "cut short|directory"),
        (archive([ONE])[:-1], "cut short"),
        (archive([], count=0), "begin"),
        (archive([ONE], before=b"#!/bin/sh\n"), "begin"),
        (archive([ONE, OTHER], between=b"\0"), "directory"),
        (archive([ONE], after=b"\n"), "follows"),
        (archive([ONE], after=archive([OTHER])), "follows"),
        (archive([ONE], comment=b"words"), "follows"),
        (archive([ONE, OTHER], count=1), "what its end says"),
        (archive([ONE] * 51), "more than 50"),
        (archive([ONE, ONE]), "two files"),
        (archive([ONE, replace(ONE, name=b"A/One.xml")]), "two files"),
        (archive([replace(ONE, extra=b"\1\0\0\0")]), "extra fields"),
        (archive([replace(ONE, comment=b"words")]), "ordinary file"),
        (archive([replace(ONE, mode=0o120777 << 16)]), "ordinary file"),
        (archive([replace(ONE, mode=0o40755 << 16)]), "ordinary file"),
        (archive([replace(ONE, mode=0x10)]), "ordinary file"),
        (archive([replace(ONE, flags=1)]), "encrypted"),
        (archive([replace(ONE, flags=8)]), "encrypted"),
        (archive([replace(ONE, version=45)]), "unusual"),
        (archive([replace(ONE, method=12)]), "unusual"),
        (archive([replace(ONE, method=0, size=5)]), "damaged"),
        (archive([replace(ONE, size=5)]), "damaged"),
        (archive([replace(ONE, size=400)]), "damaged"),
        (archive([replace(ONE, checksum=5)]), "damaged"),
        (archive([replace(ONE, behind=b"more")]), "damaged"),
        (archive([replace(ONE, directory={"name": b"a/two.xml"})]), "disagree"),
        (archive([replace(ONE, directory={"size": 5})]), "disagree"),
        (archive([replace(ONE, directory={"content": b"two" * 100})]), "disagree"),
        (archive([replace(ONE, directory={"flags": 8})]), "disagree"),
        (archive([replace(ONE, name=b"../one.xml")]), "no name"),
        (archive([replace(ONE, name=b"/one.xml")]), "no name"),
        (archive([replace(ONE, name=b"a\\one.xml")]), "no name"),
        (archive([replace(ONE, name=b"")]), "no name"),
        (archive([replace(ONE, name=b"a\x1b[31m")]), "no name"),
        (archive([replace(ONE, name="ä".encode())]), "no name"),
        (archive([replace(ONE, content=b"1" * 1001)]), "more than"),
        (archive([replace(ONE, content=b"1" * 600), replace(OTHER, content=b"1" * 600)]), "more"),
    ],
)
def test_every_other_way_is_refused(data: bytes, said: str):
    with pytest.raises(ArchiveError, match=said):
        read_archive(data, MOST)


@pytest.mark.parametrize("size", [5, None, 2**32 - 1])
def test_what_is_unpacked_is_bounded_whatever_size_is_declared(size: int | None):
    data = archive([replace(ONE, content=b"1" * 50_000_000, size=size)])
    tracemalloc.start()
    with pytest.raises(ArchiveError):
        read_archive(data, 1_000_000)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


@pytest.mark.parametrize("at", range(0, 230, 7))
def test_a_spoilt_byte_is_refused_or_changes_nothing(at: int):
    sound = archive([ONE, OTHER])
    spoilt = bytearray(sound)
    spoilt[at % len(sound)] ^= 0x55
    try:
        found = read_archive(bytes(spoilt), MOST)
    except ArchiveError:
        return
    assert found == read_archive(sound, MOST)
