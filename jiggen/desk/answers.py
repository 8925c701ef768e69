"""Questions that take a moment, answered by a process; of those of one page the latest counts."""

import threading
from collections.abc import Callable
from concurrent.futures import CancelledError, Executor, Future
from typing import Any

from jiggen.errors import Finding
from jiggen.executors import fault_of, outcome_of

Outcome = tuple[Any, tuple[Finding, ...]]
"""An answer, or None and why there is none."""
MOST_ASKERS = 50  # pages whose latest question is known


class Answers:
    """Answers questions.  All methods may be called by any thread."""

    def __init__(self, executor: Executor) -> None:
        self._lock = threading.Lock()
        self._executor = executor
        self._latest: dict[str, Future[Outcome]] = {}

    def ask(self, asker: str, task: Callable[[Any], Any], about: Any) -> Outcome | None:
        """What `task`, a function at a module's top level, says of `about`.

        None when the same asker, a page, has asked something else before its turn came.
        """
        with self._lock:
            before = self._latest.pop(asker, None)
            if before and not before.running():  # the process of one that runs would be ended
                before.cancel()
            while len(self._latest) >= MOST_ASKERS:
                del self._latest[next(iter(self._latest))]
            future = self._executor.submit(outcome_of, task, about)
            self._latest[asker] = future
        try:
            return future.result()
        except CancelledError:
            return None
        except Exception as error:  # the process died
            return None, (fault_of(error),)
