from __future__ import annotations

import os
from pathlib import Path

import pytest

from jiggen.errors import InputError
from jiggen.files import write_whole


def test_text_and_bytes_are_written_as_they_are(tmp_path: Path):
    write_whole(tmp_path / "a.svg", "ä\n")
    write_whole(tmp_path / "b.dxf", b"\x00\r\n")
    assert (tmp_path / "a.svg").read_bytes() == "ä\n".encode()
    assert (tmp_path / "b.dxf").read_bytes() == b"\x00\r\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.svg", "b.dxf"]


def test_a_new_file_has_the_permissions_of_any_new_file(tmp_path: Path):
    (tmp_path / "plain").write_bytes(b"")
    write_whole(tmp_path / "ours", b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_an_old_file_is_replaced_and_a_link_followed(tmp_path: Path):
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_text("old")
    link.symlink_to(target)
    write_whole(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"


def test_nothing_changes_when_writing_fails_half_way(tmp_path: Path, monkeypatch):
    target = tmp_path / "target"
    target.write_text("old")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left") as caught:
        write_whole(target, "new", "--svg")
    assert caught.value.findings[0].key == "--svg"
    assert target.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["target"]


@pytest.mark.parametrize("name", ["missing/a.svg", "", "zero\0byte", "n" * 300])
def test_a_place_that_cannot_be_written(tmp_path: Path, name: str):
    with pytest.raises(InputError) as caught:
        write_whole(f"{tmp_path}/{name}", "new")
    assert caught.value.findings[0].code == "files.cannot-write"
    assert not list(tmp_path.iterdir())
