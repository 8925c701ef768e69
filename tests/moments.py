"""Moments at which a process can be ended: before any one of its operations on files."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

# What Python announces before it does it; ctypes.dlsym comes before the exchange.
OPERATIONS = {"ctypes.dlsym", "open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.chmod"}
UNREACHED = 99  # exit code: the build was done before the moment came


def in_a_child(action: Callable[..., int], *arguments: Any) -> int:
    """The exit code of `action(*arguments)` in a process of its own; -9 when it was killed."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    code = 70
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = action(*arguments)
    finally:
        os._exit(code)
