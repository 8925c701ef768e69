"""Ctrl-C, by the real signal: what is said, the exit code, and that no import swallows it."""

from __future__ import annotations

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
            "    write_whole('a.svg', 'one')\n    wait()",
            "stopped: written before that, each whole: a.svg; nothing else\n",
        ),
    ],
)
@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT to another process there")
def test_what_ctrl_c_says(body: str, said: str, tmp_path: Path):
    (tmp_path / "swallowing.py").write_text(SWALLOWING)
    program = tmp_path / "program.py"
    program.write_text(PROGRAM.format(body=body))
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen([sys.executable, program], cwd=tmp_path, **streams) as running:
        assert running.stdout.readline() == "now\n"
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    assert (running.returncode, out, err) == (130, "", said)
