"""Built folders by key: nothing that a browser says is a path."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from jiggen.desk.folders import BuiltFolder, built_folders, find_folder
from jiggen.errors import CheckFailed, InputError
from jiggen.record.entries import FileEntry


@pytest.fixture
def out(tmp_path: Path) -> Path:
    for name in ("a", "evening/b", ".c.1234.part", "evening/.d.part", "a/h"):
        folder = tmp_path / "out" / name
        folder.mkdir(parents=True)
        (folder / "manifest.json").write_text("{}")
    return tmp_path / "out"


def test_finished_folders_alone_are_found_by_their_keys(out: Path):
    found = built_folders(out)
    names = {folder.path.relative_to(out).as_posix() for folder in found}
    assert names == {"a", "a/h", "evening/b"}
    for folder in found:
        again = find_folder(folder.key, out)
        assert again is not None and again.path == folder.path
        assert folder.address == f"/made/{folder.key}"
    assert len({folder.key for folder in found}) == len(found)


@pytest.mark.parametrize("key", ["", "..", "../a", "a", "%2e%2e", "/etc", "out/a"])
def test_a_path_is_no_key(out: Path, key: str):
    assert find_folder(key, out) is None


@pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "notes.txt", "manifest.json/..", ""])
def test_only_what_the_record_lists_is_a_file(
    out: Path, name: str, monkeypatch: pytest.MonkeyPatch
):
    (out / "secret").write_text("secret")
    (out / "a" / "notes.txt").write_text("mine")
    (out / "a" / "a.stl").write_text("solid")
    entry = FileEntry(bytes=5, sha256=hashlib.sha256(b"solid").hexdigest())
    listed = type("Listed", (), {"files": {"gone.stl": entry, "a.stl": entry}})()
    monkeypatch.setattr(BuiltFolder, "certified", lambda _: listed)
    folder = next(one for one in built_folders(out) if one.name == "a")
    assert folder.file("a.stl") == b"solid"
    with pytest.raises(InputError, match="no such file"):
        folder.file(name)
    with pytest.raises(CheckFailed, match="changed since"):
        folder.file("gone.stl")
