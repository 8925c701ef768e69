"""Plans of evenings, worked out beside the pages: the latest that is asked for comes first."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Generic, TypeVar

from jiggen.errors import Finding, JiggenError
from jiggen.executors import fault_of
from jiggen.progress import announcing_to

T = TypeVar("T")
PATIENCE = 0.4  # s: a page waits that long; what takes longer comes to it as news
KEPT, WAITING = 24, 4  # answers, and questions behind the one being worked out


@dataclass(frozen=True)
class Answer(Generic[T]):
    """What was worked out, None with what is wrong where nothing was."""

    value: T | None
    findings: tuple[Finding, ...] = ()


class _Stale(BaseException):
    """A later question waits: what is being worked out is not what anybody looks at."""


class Thinker(Generic[T]):
    """Answers one question after the other in a thread; what was answered is kept."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, Answer[T]] = OrderedDict()
        self._waiting: OrderedDict[str, tuple[Callable[[], T], Callable[[], None]]] = OrderedDict()
        self._changed = threading.Condition()
        self._busy = ""
        self._asked = self._begun = 0

    def ask(
        self,
        key: str,
        make: Callable[[], T],
        tell: Callable[[], None],
        patience: float = PATIENCE,
    ) -> Answer[T] | None:
        """The answer of `key`, which `make` works out; None if it takes longer than `patience`.

        `tell` is called once it is there.  A question asked later comes before, and what was begun
        is begun again behind it.
        """
        with self._changed:
            if key not in self._known and key != self._busy:
                self._waiting[key] = make, tell
                self._waiting.move_to_end(key)
                self._asked += 1
                while len(self._waiting) > WAITING:
                    self._waiting.popitem(last=False)
                if not self._busy:
                    self._busy = key
                    threading.Thread(target=self._work, daemon=True).start()
            self._changed.wait_for(lambda: key in self._known, patience)
            if key in self._known:
                self._known.move_to_end(key)
            return self._known.get(key)

    def _work(self) -> None:
        while True:
            with self._changed:
                if not self._waiting:
                    self._busy = ""
                    return
                self._busy, (make, tell) = self._waiting.popitem()
                self._begun = self._asked
            try:
                with announcing_to(self._look_up):
                    answer = _answer(make)
            except _Stale:
                with self._changed:
                    self._waiting[self._busy] = make, tell
                    self._waiting.move_to_end(self._busy, last=False)
                continue
            with self._changed:
                self._known[self._busy] = answer
                while len(self._known) > KEPT:
                    self._known.popitem(last=False)
                self._changed.notify_all()
            with suppress(Exception):  # whoever asked may be gone
                tell()

    def _look_up(self, _: str) -> None:
        """Called at every step: leaves off for what was asked since."""
        with self._changed:
            if self._asked > self._begun:
                raise _Stale


def _answer(make: Callable[[], T]) -> Answer[T]:
    try:
        return Answer(make())
    except JiggenError as error:
        return Answer(None, error.findings)
    except Exception as error:
        return Answer(None, (fault_of(error),))
