"""Whether there is a core for a helper: threads of the CAD kernel, a process that verifies."""

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

ENOUGH = threading.Event()


def processes_enough() -> bool:
    """Whether a helper would find no core: several processes are at work, or there is but one."""
    return ENOUGH.is_set() or (os.cpu_count() or 1) < 2


@contextmanager
def counted_as_enough(enough: bool) -> Iterator[None]:
    """Within, `processes_enough` says so, in all threads."""
    before = ENOUGH.is_set()
    (ENOUGH.set if enough else ENOUGH.clear)()
    try:
        yield
    finally:
        (ENOUGH.set if before else ENOUGH.clear)()
