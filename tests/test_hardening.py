"""Builds that are killed, refused by the system, or two at once; names from files."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path, PurePosixPath, PureWindowsPath

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from killing import litter, small_record, tree

from jiggen.cli.new import local_target
from jiggen.errors import InputError
from jiggen.export.folder import check_target, put_in_place, workshop
from jiggen.files import (
    DEVICES,
    LONGEST_NAME,
    STALE,
    inner_path,
    make_folder,
    plain_name,
    within,
    write_whole,
)
from jiggen.job import folder_name
from jiggen.record import Record

HERE = Path(__file__).parent
SCRIPT = HERE / "killing.py"


def stand_in(*words: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(SCRIPT), *map(str, words)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
    )


def built(*words: object) -> tuple[int, str]:
    process = stand_in("build", *words)
    _, said = process.communicate()
    return process.returncode, said


# -- killed and refused ---------------------------------------------------------------------------


@pytest.mark.parametrize("ways", [(), ("--two-renames",)], ids=["exchange", "two renames"])
@pytest.mark.parametrize("how", ["kill", "refuse"])
def test_a_build_ended_before_any_of_its_operations(how: str, ways: tuple[str, ...]):
    run = stand_in("every", how, *ways)
    said, wrong = run.communicate()
    assert (run.returncode, wrong) == (0, "")
    ends = [json.loads(line) for line in said.splitlines()]
    assert len(ends) > 30  # so many operations there are
    assert {end["there"] for end in ends} - {"missing"} == {"one", "two"}
    for end in ends:
        assert end["opened"] in ("one", "two"), end
        assert (end["next"], end["then"], end["litter then"]) == (0, "three", []), end
        if how == "refuse":
            # Refused while it cleared up, it has done its work all the same.
            assert (end["code"], end["there"]) in ((2, "one"), (0, "two")), end
        else:
            assert end["code"] == -9, end
    missing = [end["moment"] for end in ends if end["there"] == "missing"]
    assert len(missing) == (1 if how == "kill" and ways else 0)


def test_nothing_that_is_not_ours_is_cleared(tmp_path: Path):
    target = tmp_path / "jig"
    kept = [".jig.part", ".jig.abc.part", "jig.abcd1234.part", ".jig.b.abcd1234.part", ".o.old"]
    for name in kept:
        (tmp_path / name).mkdir()
    for name in (".jig.abcd1234.part", ".jig.abcd1235.old"):
        (tmp_path / name / "parts").mkdir(parents=True)
    (target / "parts").mkdir(parents=True)
    with workshop(target):
        assert len(litter(target)) == len(kept) + 2  # its own, and its lock
    assert litter(target) == sorted(kept)


def test_a_linked_target_stays_a_link(tmp_path: Path):
    real, link = tmp_path / "real", tmp_path / "link"
    real.mkdir()
    link.symlink_to(real)
    with workshop(link) as folder:
        (folder / "manifest.json").write_text('{"manifest": 1}')
        put_in_place(folder, link)
    assert link.is_symlink() and (real / "manifest.json").is_file()
    assert litter(real) == ["link"]


def test_what_came_while_it_was_built_is_not_replaced(tmp_path: Path, monkeypatch):
    import jiggen.pipeline.build
    from jiggen.verify import Verification

    verifier = sys.modules["jiggen.verify"]
    monkeypatch.setattr(verifier, "verify_folder", lambda folder: Verification(True, 1, {}, ()))
    monkeypatch.setattr(verifier, "verify_papers", lambda folder: ())
    target = tmp_path / "jig"

    def make(folder: Path) -> Record:
        target.mkdir()
        (target / "holiday.jpg").write_text("sun")
        return small_record("new")

    with pytest.raises(InputError, match="did not make"):
        jiggen.pipeline.build.verified_folder(target, make, force=False)
    assert tree(target) == {"holiday.jpg": b"sun"}
    assert litter(target) == []


@pytest.mark.parametrize("text", ["[" * 100_000, "{", "\0", '{"manifest": "1"}'])
def test_a_folder_with_a_spoilt_manifest_is_not_ours(tmp_path: Path, text: str):
    (tmp_path / "manifest.json").write_text(text)
    with pytest.raises(InputError, match="did not make"):
        check_target(tmp_path, force=False)


def test_what_a_killed_process_left_of_a_file_goes_when_it_is_old(tmp_path: Path):
    old, young = tmp_path / ".jiggen-1.part", tmp_path / ".jiggen-2.part"
    for path in (old, young):
        path.write_text("half")
    long_ago = time.time() - STALE - 60
    os.utime(old, (long_ago, long_ago))
    write_whole(tmp_path / "a.svg", "whole")
    assert litter(tmp_path / "a.svg") == [young.name]


# -- two at once ----------------------------------------------------------------------------------


def test_of_two_builds_into_one_folder_one_fails_cleanly(tmp_path: Path):
    target = tmp_path / "jig"
    assert built(target, "before")[0] == 0
    before = tree(target)
    first = stand_in("build", target, "first", "--wait")
    assert first.stdout.readline() == "ready\n"
    code, said = built(target, "second")
    assert (code, first.poll()) == (2, None)
    assert "another jiggen is building into this folder" in said
    assert tree(target) == before
    assert built(tmp_path / "another", "free")[0] == 0  # a neighbour is free
    assert first.communicate("now\n") == ("done\n", "") and first.returncode == 0
    assert b"of first" in tree(target)["jig.step"]
    assert litter(target) == ["another"]


def test_a_killed_build_holds_its_folder_no_longer(tmp_path: Path):
    target = tmp_path / "jig"
    first = stand_in("build", target, "first", "--wait")
    first.stdout.readline()
    first.kill()
    first.communicate()
    assert len(litter(target)) == 2  # its lock and what it had made
    assert built(target, "second") == (0, "")
    assert litter(target) == []


# -- a full disk ----------------------------------------------------------------------------------


def test_a_file_that_the_system_cuts_short(tmp_path: Path):
    target = tmp_path / "jig"
    assert built(target, "before")[0] == 0
    before = tree(target)
    code, said = built(target, "after", "--fill", 300, "--most", 100)
    assert code == 2
    assert "operating system error: File too large; nothing was changed" in said
    assert (tree(target), litter(target)) == (before, [])


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of one megabyte."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "jiggen-test", str(place)]
    if sys.platform != "linux" or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("no right to mount a file system")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_is_full(tiny_disk: Path):
    target = tiny_disk / "jig"
    assert built(target, "before")[0] == 0
    before = tree(target)
    code, said = built(target, "after", "--fill", 400)  # three files of 400 KB
    assert code == 2
    assert "No space left on device; nothing was changed" in said
    assert (tree(target), litter(target)) == (before, [])
    with pytest.raises(InputError, match="No space left"):
        write_whole(tiny_disk / "a.svg", b"x" * 2**20)
    assert litter(target) == []


def test_the_renderer_says_when_a_file_is_cut_short(tmp_path: Path):
    """It writes on its own and raises nothing: its word is looked at instead."""
    program = """
import resource, sys
from pathlib import Path
import numpy as np
from jiggen.export.preview import Shown, draw_preview
place = Path(sys.argv[1])
corners = np.array([[0, 0, 0], [50, 0, 0], [0, 50, 0], [0, 0, 50.0]])
faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
shown = [Shown("body", corners, faces)]
draw_preview(shown, place / "whole.png")
for kilobytes in (0, 4):
    resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 1024, resource.RLIM_INFINITY))
    try:
        draw_preview(shown, place / "cut.png")
    except OSError as error:
        print("refused", error.filename)
    else:
        print("WRITTEN")
"""
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
    )
    assert (tmp_path / "whole.png").stat().st_size > 4096
    assert done.stdout.splitlines()[-2:] == [f"refused {tmp_path / 'cut.png'}"] * 2, done.stderr


def test_a_mesh_that_the_kernel_cuts_short_is_the_systems_refusal():
    """It goes through a temporary file, whose disk may be another one."""
    from jiggen.design.pieces import Piece, Placed
    from jiggen.solid import Part, mesh_of
    from jiggen.solid.shapes import cylinder

    piece = Piece("peg", "plate", (Placed("peg", np.eye(4)),), np.eye(4))
    part = Part(piece, cylinder(5.0, 0.0, 5.0), 393.0)
    free = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, free[1]))
    try:
        with pytest.raises(OSError, match="could not write a mesh whole"):
            mesh_of(part)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, free)
    assert len(mesh_of(part)[1]) > 20


def test_the_limit_on_files_is_as_it_was():
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY


def test_a_folder_that_cannot_be_made_is_a_finding(tmp_path: Path):
    (tmp_path / "patterns").write_text("a file")
    with pytest.raises(InputError) as caught:
        make_folder(tmp_path / "patterns", "--out")
    assert caught.value.findings[0].code == "files.cannot-write"
    for name in ("n" * 300, "patterns/jig"):
        with pytest.raises(InputError) as caught, workshop(tmp_path / name):
            raise AssertionError
        assert caught.value.findings[0].code == "export.cannot-write"
        with pytest.raises(InputError):
            check_target(tmp_path / ("n" * 300), force=False)


# -- names ----------------------------------------------------------------------------------------

NASTY = (
    *("..", ".", "", "/", "../../etc/passwd", "/etc/passwd", "a/../../b", "C:\\x", "\\\\host\\x"),
    *("a\0b", "a\nb", "\x1b[31m", "\u202egnp.exe", "\u2066x", "\u200b", "x" * 300, "a/" * 300),
    *("nul", "NUL.toml", "con.tar.gz", "parts/AUX", "com1", "LPT9.stl", "com¹", "a:b", "a|b"),
    *("name.", "name ", "a//b", "/a", "a/", "a*", "a?", '"a"', "<a>", "\ud800"),
)
ANYTHING = st.text(max_size=400) | st.sampled_from(NASTY) | st.sampled_from(sorted(DEVICES))


def is_plain(name: str) -> bool:
    windows = PureWindowsPath(name)
    return (
        0 < len(name) <= LONGEST_NAME + 20
        and name.isascii()
        and name.isprintable()
        and set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-.")
        and windows.parts == PurePosixPath(name).parts == (name,)
        and not windows.is_reserved()
        and name not in (".", "..")
    )


@given(ANYTHING)
def test_names_made_of_anything_are_plain_on_every_system(words: str):
    assert is_plain(plain_name(words, "jig"))
    assert is_plain(folder_name(words, 305.5))
    target = local_target(words)
    assert target.parts == ("patterns", target.name) and is_plain(target.name)


def test_names_stay_as_they_were():
    assert plain_name("Arvenal Club Piste", "jig") == "arvenal-club-piste"
    assert plain_name("Nul", "jig") == "jig-nul"
    assert plain_name("…", "jig") == "jig"


@given(ANYTHING)
def test_a_path_that_a_file_names_stays_in_its_folder(name: str):
    try:
        inner_path(name)
    except ValueError:
        return
    for path in (PurePosixPath(name), PureWindowsPath(name)):
        assert not path.is_absolute() and not path.anchor and ".." not in path.parts
    assert not PureWindowsPath(name).is_reserved()
    assert name.isprintable() and Path(os.path.normpath(f"/out/{name}")).is_relative_to("/out")


@pytest.mark.parametrize("name", NASTY)
def test_a_path_that_does_not_is_refused(name: str):
    with pytest.raises(ValueError, match="inside the folder"):
        inner_path(name)


@pytest.mark.parametrize("name", ["jig.step", "parts/body-toe.stl", "Ärger.svg", ".hidden", "a b"])
def test_plain_paths_are_not(name: str):
    assert inner_path(name) == name


def test_within_finds_plain_files_of_the_folder_alone(tmp_path: Path):
    folder = tmp_path / "jig"
    folder.mkdir()
    (tmp_path / "secret").write_text("secret")
    (folder / "file").write_bytes(b"x" * 100)
    (folder / "link").symlink_to(tmp_path / "secret")
    (folder / "up").symlink_to(tmp_path)
    assert within(folder, "file", 100) == folder / "file"
    for name in ("link", "up/secret", "../secret", str(tmp_path / "secret"), "up", "none", "."):
        with pytest.raises(OSError):
            within(folder, name, 100)
    with pytest.raises(OSError, match="larger"):
        within(folder, "file", 99)
