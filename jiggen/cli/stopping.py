"""Ctrl-C: a command stops between two steps, never while a module is being imported."""

import _thread
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType

from jiggen.progress import announce

IMPORTING = "<frozen importlib._bootstrap>"
AGAIN = 0.05  # s until a wish to stop is looked at again


@dataclass
class Stop:
    """Whether Ctrl-C was pressed; `due` while a wish that had to wait is looked at again."""

    wanted: bool = False
    due: bool = False


@contextmanager
def stoppable() -> Iterator[Stop]:
    """Within, Ctrl-C is a KeyboardInterrupt, but not before an import that is going on is done.

    There it would leave a module half loaded, or be swallowed; one pressed again does not wait.
    """
    stop = Stop()
    if (
        threading.current_thread() is not threading.main_thread()
        or signal.getsignal(signal.SIGINT) is not signal.default_int_handler
    ):
        yield stop
        return
    waiting: list[threading.Timer] = []

    def look_again() -> None:
        stop.due = True
        if main := threading.main_thread().ident if sys.platform != "win32" else None:
            signal.pthread_kill(main, signal.SIGINT)  # ends a wait too
        else:
            _thread.interrupt_main()

    def pressed(_: int, frame: FrameType | None) -> None:
        may_wait = stop.due or not stop.wanted
        stop.wanted, stop.due = True, False
        while may_wait and frame:
            if frame.f_code.co_filename == IMPORTING:
                waiting[:] = [threading.Timer(AGAIN, look_again)]
                waiting[0].daemon = True
                waiting[0].start()
                announce("stopping, once the libraries are loaded")
                return
            frame = frame.f_back
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, pressed)
    try:
        yield stop
    finally:
        for timer in waiting:
            timer.cancel()
        signal.signal(signal.SIGINT, signal.default_int_handler)
