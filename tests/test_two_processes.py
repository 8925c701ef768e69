"""Builds that end while the verifier's process works for them: it ends too, all is as before.

Each is a command in a process of its own.  It lays a built folder's files down as a build does,
and stands still once the verifier has begun with them.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from killing import litter, tree
from test_stopping import NOTHING, PROGRAM

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="other signals and limits there")
BODY = """
    import resource
    from pathlib import Path
    from jiggen.cores import counted_as_enough
    from jiggen.pipeline.build import verified_folder
    from jiggen.pipeline.witness import Process, witness
    from jiggen.record import read_jig
    import shutil

    good = Path("good")

    def lay_down(place):
        shutil.copytree(good, place, dirs_exist_ok=True)
        for path in sorted(place.rglob("*.stl")):
            other.read_ahead(path)
        return read_jig(good)

    def stand_still(place, record):
        print("now", other.process.pid, flush=True)
        sys.stdin.readline()
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
        (place / "preview.png").write_bytes(bytes(8192))

    with counted_as_enough(False), witness() as other:
        assert isinstance(other, Process)
        verified_folder(Path("jig"), lay_down, meanwhile=stand_still, force=False, verifier=other)
"""


@pytest.fixture
def place(folder: Path, tmp_path: Path) -> Path:
    """Where the command runs: files to lay down, and an older jig where they are to go."""
    place = tmp_path / "place"
    shutil.copytree(folder, place / "good")
    (place / "jig").mkdir()
    shutil.copy(folder / "manifest.json", place / "jig")
    (place / "jig" / "notes.txt").write_text("mine")
    return place


@contextmanager
def at_work(place: Path) -> Iterator[subprocess.Popen[str]]:
    """The command while it stands still, and the verifier's process is alive.

    Both have its standard error: where that ends, both have ended.
    """
    before = tree(place / "jig")
    (place / "program.py").write_text(PROGRAM.format(body=BODY))
    command = [sys.executable, "program.py"]
    how = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    with subprocess.Popen(command, cwd=place, start_new_session=True, text=True, **how) as running:
        word, number = running.stdout.readline().split()
        assert word == "now" and int(number) != running.pid
        os.kill(int(number), 0)
        yield running
    assert tree(place / "jig") == before


def test_a_full_disk(place: Path):
    with at_work(place) as running:
        out, said = running.communicate("go on\n")
    assert out == ""
    assert said.splitlines() == [
        "error: jig: operating system error: File too large; nothing was changed",
        "    Check the space left and your right to write there, or choose another one (--out).",
    ]
    assert running.returncode == 2
    assert litter(place / "jig") == ["good", "program.py"]


def test_ctrl_c(place: Path):
    with at_work(place) as running:
        os.killpg(running.pid, signal.SIGINT)
        assert running.communicate() == ("", NOTHING)
    assert running.returncode == 130
    assert litter(place / "jig") == ["good", "program.py"]


def test_a_kill(place: Path):
    with at_work(place) as running:
        running.kill()
        assert running.communicate() == ("", "")  # the verifier's process says nothing
    assert running.returncode == -signal.SIGKILL
    assert len(litter(place / "jig")) == 4  # its lock and what it had made, for the next to clear
