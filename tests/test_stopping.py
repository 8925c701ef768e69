"""Ctrl-C, by the real signal: what is said, the exit code, and that no import swallows it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = """
import sys, time
import typer
from jiggen.cli import run
from jiggen.cli.program import command
from jiggen.files import write_whole

app = typer.Typer()

@app.callback()
def root() -> None:
    pass

def wait() -> None:
    print("now", flush=True)
    time.sleep(20)

@command(None, group=app)
def do() -> None:
{body}

if __name__ == "__main__":
    sys.exit(run(app, ["do"]))
"""
# As libraries have it: whatever goes wrong is "not installed", and the loading goes on.
SWALLOWING = """
import time
print("now", flush=True)
try:
    time.sleep(0.5)
except:
    print("not installed", flush=True)
"""
NOTHING = "stopped: nothing was written\n"


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("    wait()", NOTHING),
        ("    import swallowing\n    time.sleep(20)", NOTHING),
        (
            "    try:\n        wait()\n    except KeyboardInterrupt:\n"
            "        raise ImportError('initialization failed')",
            NOTHING,
        ),
        (
            "    from jiggen.executors import OwnProcesses\n    with OwnProcesses(1) as pool:\n"
            "        pool.submit(time.sleep, 20)\n        wait()",
            NOTHING,
        ),
        (
            "    write_whole('a.svg', 'one')\n    wait()",
            "stopped: written before that, each whole: a.svg; nothing else\n",
        ),
    ],
)
@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT to another process there")
def test_what_ctrl_c_says(body: str, said: str, tmp_path: Path):
    (tmp_path / "swallowing.py").write_text(SWALLOWING)
    assert pressed(body, tmp_path) == (130, "", said)


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT to another process there")
def test_ctrl_c_ends_the_process_that_verifies(tmp_path: Path):
    body = (
        "    from jiggen.pipeline.witness import witness\n    with witness() as other:\n"
        "        open('number', 'w').write(str(other.process.pid))\n        wait()"
    )
    assert pressed(body, tmp_path) == (130, "", NOTHING)
    with pytest.raises(ProcessLookupError):
        os.kill(int((tmp_path / "number").read_text()), 0)


def pressed(body: str, tmp_path: Path) -> tuple[int, str, str]:
    """Exit code, output and errors of a command of that `body` at Ctrl-C once it waits."""
    program = tmp_path / "program.py"
    program.write_text(PROGRAM.format(body=body))
    how = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    how |= {"cwd": tmp_path, "start_new_session": True}
    with subprocess.Popen([sys.executable, program], **how) as running:
        assert running.stdout.readline() == "now\n"
        os.killpg(running.pid, signal.SIGINT)  # a terminal's goes to all processes of the command
        out, err = running.communicate(timeout=60)
    return running.returncode, out, err
