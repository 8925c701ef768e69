"""Work for processes of their own: they must be able to import it."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

# Nothing of jiggen here: each process would load it all.


def square(number: int) -> int:
    return number * number


def square_unless_killed(number: int) -> int:
    """Kills its own process for 3, late enough for its neighbours to be in hand."""
    if number == 3:
        time.sleep(0.2)
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.3)
    return number * number


def killed_once(path: str) -> str:
    """Kills its own process the first time that it is asked for `path`."""
    mark = Path(path)
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return "done"


def process(_: int) -> int:
    time.sleep(0.05)
    return os.getpid()
