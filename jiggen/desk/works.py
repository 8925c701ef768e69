"""Long work, done by processes that have the CAD kernel loaded, and told while it goes on.

What is done is known here, not in a page: a page that is loaded again, or twice, shows the same.
"""

from __future__ import annotations

import itertools
import json
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Future
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from time import monotonic, sleep
from typing import Any, Literal

from jiggen.cores import counted_as_enough
from jiggen.desk.answers import Answers
from jiggen.errors import Finding, JiggenError
from jiggen.executors import OwnProcesses, fault_of
from jiggen.export.folder import clear_leftovers
from jiggen.progress import announcing_to

State = Literal["waiting", "running", "done", "failed", "cancelled"]
LINGERING = 5.0  # s until a process that is ended is gone
MOST_STEPS = 200  # of one work that are kept
_SENDER: list[Connection] = []  # in a process: where it tells what it does


@dataclass
class Work:
    """One thing that is being done, or was; `address` is the page it was asked for on.

    `result` is what the task returned; `findings` why there is none; `steps` what was announced,
    the latest last.
    """

    number: int
    title: str
    address: str
    key: str
    target: Path | None
    then: Callable[[Any], str]
    begun: float = field(default_factory=monotonic)
    state: State = "waiting"
    steps: list[str] = field(default_factory=list)
    result: Any = None
    findings: tuple[Finding, ...] = ()
    ended: float | None = None

    @property
    def over(self) -> bool:
        """Whether nothing more becomes of it."""
        return self.state in ("done", "failed", "cancelled")

    @property
    def seconds(self) -> int:
        """How long it has taken up to now."""
        return round((self.ended or monotonic()) - self.begun)

    @property
    def next_address(self) -> str:
        """The page of what was made of it; empty while there is none."""
        return self.then(self.result) if self.state == "done" else ""


class Works:
    """Everything that is done in the background.  All methods may be called by any thread."""

    def __init__(self, processes: int = 0) -> None:
        """Start `processes`, by default two where there are as many, and load what they need."""
        reader, sender = get_context("spawn").Pipe(duplex=False)
        count = processes or min(2, os.cpu_count() or 1)
        self.executor = OwnProcesses(count, partial(_prepare, sender))
        self.answers = Answers(self.executor)
        self._reader, self._sender = reader, sender
        self._works: dict[int, Work] = {}
        self._futures: dict[int, Future[Any]] = {}
        self._numbers = itertools.count(1)
        self._changed = threading.Condition()
        self._version = 0
        self.closed = False
        threading.Thread(target=self._listen, daemon=True).start()

    def warm(self) -> None:
        """Have the processes load the kernel now, so that the first work need not wait for it."""
        self.executor.submit(_nothing)

    def start(
        self,
        title: str,
        task: Callable[..., Any],
        *args: Any,
        key: str,
        address: str,
        target: Path | None = None,
        then: Callable[[Any], str] = lambda _: "",
    ) -> Work:
        """Begin `task`, a function at a module's top level, unless one of the same `key` goes on.

        `target` is the folder that it builds: what a killed process leaves there is cleared.
        `then` gives the address of what was made by the task's result.
        """
        with self._changed:
            for known in self._works.values():
                if known.key == key and not known.over:
                    return known
            alone = all(known.over for known in self._works.values())
            work = Work(next(self._numbers), title, address, key, target, then)
            self._works[work.number] = work
        future = self.executor.submit(_do, work.number, alone, task, args)
        self._futures[work.number] = future
        future.add_done_callback(partial(self._finish, work))
        return work

    def find(self, number: int) -> Work | None:
        """The work of that number, or None."""
        return self._works.get(number)

    def latest(self) -> list[Work]:
        """Every work, the latest first."""
        return [self._works[number] for number in sorted(self._works, reverse=True)]

    def cancel(self, work: Work) -> None:
        """End a work, in the middle of it if it has begun; nothing stays of it."""
        if future := self._futures.get(work.number):
            future.cancel()

    def changes(self, patience: float) -> Iterator[int]:
        """A number whenever anything has changed, and again after `patience` s; until the end."""
        seen = -1
        while not self.closed:
            with self._changed:
                if seen == self._version:
                    self._changed.wait(patience)
                seen = self._version
            yield seen

    def end_news(self) -> None:
        """Let everybody go who waits for changes."""
        self.closed = True
        self.tell()

    def close(self) -> None:
        """End all work and all processes; what they left is cleared."""
        self.end_news()
        self.executor.shutdown(cancel_futures=True)
        for work in self._works.values():
            if work.target and work.state != "done":
                _clear(work.target)
        self._sender.close()

    def tell(self) -> None:
        """Let every page know that something has changed."""
        with self._changed:
            self._version += 1
            self._changed.notify_all()

    def _listen(self) -> None:
        """Note what the processes tell, until they all are ended."""
        with suppress(EOFError, OSError):
            while True:
                number, step = json.loads(self._reader.recv_bytes())
                if work := self._works.get(number):
                    work.state = "running" if not work.over else work.state
                    work.steps = [*work.steps, *filter(None, [step])][-MOST_STEPS:]
                    self.tell()

    def _finish(self, work: Work, future: Future[Any]) -> None:
        """Note how a work has ended."""
        work.ended = monotonic()
        try:
            work.result = future.result()
            work.state = "done"
        except CancelledError:
            work.state = "cancelled"
        except JiggenError as error:
            work.state, work.findings = "failed", error.findings
        except Exception as error:
            work.state, work.findings = "failed", (fault_of(error),)
        if work.state != "done" and work.target:
            threading.Thread(target=_clear, args=(work.target,), daemon=True).start()
        self.tell()


def _clear(target: Path) -> None:
    """Undo what a process left of `target`: it may live a moment longer than its work."""
    until = monotonic() + LINGERING
    while True:
        try:
            clear_leftovers(target)
        except JiggenError:  # its own, or another jiggen's: what that has is its own
            if monotonic() > until:
                return
            sleep(0.1)
        else:
            return


def _prepare(sender: Connection) -> None:
    """What a process does before its first work."""
    from jiggen.pipeline.evening import load_kernel

    _SENDER[:] = [sender]
    load_kernel()


def _nothing() -> None:
    """Done as soon as a process is ready."""


def _do(number: int, alone: bool, task: Callable[..., Any], args: tuple[Any, ...]) -> Any:
    """Do a task in a process, and tell every step of it; one `alone` may use the other core."""

    def tell(step: str) -> None:
        # Shorter than PIPE_BUF, 512 at the least by POSIX: one write, whole or not at all.
        text = json.dumps([number, step[:100]])
        for sender in _SENDER:
            with suppress(OSError):
                sender.send_bytes(text.encode())

    tell("")
    with announcing_to(tell), counted_as_enough(not alone):
        return task(*args)
