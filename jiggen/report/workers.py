"""The same task done for many jobs on several processes, none of which spoils the others.

Every process starts clean (spawn), whatever the program has loaded and whichever threads it has,
and does one job after the other, so what its task has to load is loaded once.  A process that
dies takes only its own job with it and is replaced.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from typing import Any, Generic, TypeVar

from jiggen.errors import Finding, JiggenError

Job = TypeVar("Job")
Value = TypeVar("Value")

CONTEXT = multiprocessing.get_context("spawn")
PATIENCE = 5.0  # s that a process gets to end by itself


@dataclass(frozen=True, eq=False)
class Done(Generic[Job, Value]):
    """What became of a job: the task's value, or None and what went wrong; the time in s."""

    job: Job
    value: Value | None
    findings: tuple[Finding, ...]
    seconds: float


def do_all(
    task: Callable[[Job], Value],
    jobs: Iterable[Job],
    processes: int,
    prepare: Callable[[], None] | None = None,
) -> Iterator[Done[Job, Value]]:
    """Do `task` for all `jobs`, on at most so many `processes`; each is told of as it is done.

    `task` and `prepare`, which each process calls first, are functions at a module's top level;
    jobs and values go from process to process by pickle.  What a task raises, and a process
    that dies, are findings of that job alone.  A reader who stops early ends the processes.
    """
    waiting = list(reversed(list(jobs)))
    busy: list[_Worker[Job]] = []
    idle: list[_Worker[Job]] = []

    def give(worker: _Worker[Job] | None) -> None:
        """The next job to `worker`, or to a new one where it is None or gone."""
        job = waiting.pop()
        if worker is None or not worker.takes(job):
            if worker is not None:
                worker.dismiss()
            worker = _Worker(task, prepare)
            worker.takes(job)  # if it is gone already, its end is what the job comes to
        busy.append(worker)

    try:
        while waiting and len(busy) < max(1, processes):
            give(None)
        while busy:
            ready = wait([worker.pipe for worker in busy])
            for worker in [worker for worker in busy if worker.pipe in ready]:
                busy.remove(worker)
                done = worker.done()
                if waiting:
                    give(worker)
                else:
                    worker.dismiss()
                    idle.append(worker)
                yield done
    finally:
        for worker in busy:
            worker.process.terminate()
        for worker in (*busy, *idle):
            worker.end()


class _Worker(Generic[Job]):
    """One process and the job it has."""

    def __init__(self, task: Callable[[Job], Any], prepare: Callable[[], None] | None) -> None:
        self.pipe, theirs = CONTEXT.Pipe()
        self.process = CONTEXT.Process(target=_work, args=(theirs, task, prepare), daemon=True)
        self.process.start()
        theirs.close()  # so that the pipe ends with the process
        self._started = time.monotonic()

    def takes(self, job: Job) -> bool:
        """Whether the process was there to take `job`."""
        self.job, self._started = job, time.monotonic()
        try:
            self.pipe.send(job)
        except OSError:
            return False
        return True

    def done(self) -> Done[Job, Any]:
        """What became of the job; of a process that died, that."""
        value: Any = None
        findings: tuple[Finding, ...]
        try:
            value, findings = self.pipe.recv()
        except (EOFError, OSError):
            self.process.join(PATIENCE)
            findings = (_death(self.process.exitcode),)
        return Done(self.job, value, findings, time.monotonic() - self._started)

    def dismiss(self) -> None:
        """Let the process see that no more jobs come."""
        self.pipe.close()

    def end(self) -> None:
        """Wait for the process to end, not for ever."""
        self.dismiss()
        self.process.join(PATIENCE)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()


def _death(code: int | None) -> Finding:
    how = f"by signal {-code}" if code and code < 0 else f"with exit code {code}"
    return Finding(
        "batch.worker-died",
        f"the process that did this job ended {how}",
        hint="Out of memory, perhaps: do fewer at once. The other jobs are not touched.",
    )


def _work(pipe: Connection, task: Callable[[Any], Any], prepare: Callable[[], None] | None) -> None:
    """What a process does: job after job, until no more come."""
    with suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the first process decides what ^C means
    os.environ.setdefault("LP_NUM_THREADS", "1")  # the picture's: there are processes enough
    if prepare:
        prepare()
    # What is loaded by now stays: the collector need not walk it again at every job.
    gc.collect()
    gc.freeze()
    with suppress(EOFError, OSError):
        while True:
            pipe.send(outcome_of(task, pipe.recv()))


def outcome_of(task: Callable[[Any], Any], job: Any) -> tuple[Any, tuple[Finding, ...]]:
    """What `task` makes of `job`, or None and what went wrong."""
    try:
        return task(job), ()
    except JiggenError as error:
        return None, error.findings
    except Exception as error:
        said = " ".join(f"{type(error).__name__}: {error}".split())
        hint = "A fault in jiggen, or of the system: build this one alone to see more."
        return None, (Finding("batch.fault", said, hint=hint),)
