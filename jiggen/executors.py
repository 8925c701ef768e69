"""The same task done for many jobs by any `concurrent.futures.Executor`, each job on its own.

`OwnProcesses` is the executor of one computer.  A print farm's scheduler can hand in its own
instead, `dask.distributed.Client(address).get_executor()` for one.
"""

import gc
import os
import pickle
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, InvalidStateError, as_completed
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import get_context
from time import sleep
from typing import Any, Generic, ParamSpec, TypeVar

from pebble import ProcessExpired, ProcessPool

from jiggen import cores
from jiggen.errors import Finding, InputError, JiggenError

Task = TypeVar("Task")
Value = TypeVar("Value")
P = ParamSpec("P")

PATIENCE = 30.0  # s that a cluster gets to answer
LOOK = 0.5  # s between two looks at whether the processes are there
MOMENT = 0.05  # s between two looks at whether the last job is done
LONGEST = 5.0  # s that a stopped pool's reading thread gets to end


@dataclass(frozen=True, eq=False)
class Done(Generic[Task, Value]):
    """The result of one job: its value, or None and what went wrong."""

    job: Task
    value: Value | None
    findings: tuple[Finding, ...]


def do_all(
    task: Callable[[Task], Value], jobs: Iterable[Task], executor: Executor
) -> Iterator[Done[Task, Value]]:
    """Do `task`, a function at a module's top level, for all `jobs` on `executor`.

    Each result is yielded as soon as it is there.  An exception in a task, and a process that
    dies, are findings of that job alone.  If the reader stops, jobs not begun are cancelled.
    """
    futures = {executor.submit(outcome_of, task, job): job for job in jobs}
    try:
        for future in as_completed(futures):
            try:
                value, findings = future.result()
            except Exception as error:  # a process that died, a value that cannot be pickled
                value, findings = None, (fault_of(error),)
            yield Done(futures[future], value, findings)
    finally:
        for future in futures:
            future.cancel()


def outcome_of(
    task: Callable[[Task], Value], job: Task
) -> tuple[Value | None, tuple[Finding, ...]]:
    """What `task` makes of `job`, or None and what went wrong."""
    try:
        return task(job), ()
    except JiggenError as error:
        return None, error.findings
    except Exception as error:
        return None, (fault_of(error),)


def fault_of(error: Exception) -> Finding:
    """An unforeseen error in a task, and the end of the process that did it, as a finding."""
    hint = "Perhaps out of memory: do fewer at once. The other jobs are not affected."
    if isinstance(error, BrokenExecutor):
        message = "the process that was to do this job ended before it began"
        return Finding("batch.worker-died", message, hint=hint)
    if isinstance(error, ProcessExpired):
        code = error.exitcode
        how = f"by signal {-code}" if code < 0 else f"with exit code {code}"
        message = f"the process that did this job ended {how}"
        return Finding("batch.worker-died", message, hint=hint)
    hint = "An error in jiggen or in the system: build this one alone to see more."
    message = " ".join(f"{type(error).__name__}: {error}".split())
    return Finding("batch.fault", message, hint=hint)


class OwnProcesses(Executor):
    """An executor of several processes; one that dies fails only its own job, and is replaced.

    Processes start clean (spawn) and call `prepare` first, which loads once what every job needs.
    """

    def __init__(self, processes: int, prepare: Callable[[], None] | None = None) -> None:
        self._processes, self._prepare = max(1, processes), prepare
        self._pool, self._ended = self._new_pool(), False
        self._readers: list[threading.Thread] = []  # the pool's threads that read its results
        self._given: set[Future[Any]] = set()  # what no process has done yet
        self._lock = threading.Lock()

    def _new_pool(self) -> ProcessPool:
        return ProcessPool(
            self._processes,
            initializer=_begin_process,
            initargs=(self._prepare,),
            context=get_context("spawn"),
        )

    def submit(
        self, task: Callable[P, Value], /, *args: P.args, **kwargs: P.kwargs
    ) -> Future[Value]:
        """The future result of ``task(*args, **kwargs)``; ProcessExpired if the process died."""
        with self._lock, _deaf():  # the first one starts the processes
            try:
                future = self._scheduled(task, args, kwargs)
            except RuntimeError:
                if self._ended:
                    raise
                self._begin_anew()
                future = self._scheduled(task, args, kwargs)
            self._given.add(future)
            if len(self._given) == 1:
                threading.Thread(target=self._watch, daemon=True).start()
        future.add_done_callback(self._given.discard)  # which takes no lock: it is one step
        return future

    def _scheduled(
        self, task: Callable[P, Value], args: tuple[Any, ...], kwargs: dict[str, Any]
    ) -> Future[Value]:
        before = threading.enumerate()
        future: Future[Value] = self._pool.schedule(_sendable, (task, args, kwargs))
        begun = [thread for thread in threading.enumerate() if thread not in before]
        self._readers += [thread for thread in begun if "message" in thread.name]
        return future

    def _watch(self) -> None:
        """Fail what is waiting, while anything is, if the pool has given up."""
        while not self._ended:
            with self._lock:
                if not self._given:
                    return
                lost = set() if self._pool.active else self._given.copy()
                if self._ended:  # and so the pool: its futures are its own affair
                    return
                if lost:
                    self._begin_anew()
            for future in lost:
                with suppress(InvalidStateError):
                    future.set_exception(BrokenExecutor())
            sleep(LOOK)

    def _begin_anew(self) -> None:
        """Replace the pool: Pebble gives up when a process is killed that has no job yet."""
        self._end_pool()
        self._pool = self._new_pool()

    def _end_pool(self) -> None:
        """End all processes of the pool, when nothing reads from them any more.

        Pebble closes the channel under its reading thread, which then prints a traceback if it
        was about to read; once stopped it ends by itself within a tenth of a second.
        """
        self._pool.stop()  # type: ignore[no-untyped-call]
        for thread in self._readers:
            thread.join(LONGEST)
        self._readers.clear()
        self._pool.join()

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End all processes; with `cancel_futures` at once, in the middle of their jobs."""
        self._ended = True
        if not wait:
            end = self._pool.stop if cancel_futures else self._pool.close
            end()  # type: ignore[no-untyped-call]
            return
        if not cancel_futures:
            self._pool.close()  # type: ignore[no-untyped-call]
            while self._given and self._pool.active:
                sleep(MOMENT)
        self._end_pool()

    def __exit__(self, *_: object) -> None:
        """Whoever leaves needs no more results."""
        self.shutdown(cancel_futures=True)


@contextmanager
def _deaf() -> Iterator[None]:
    """Within, processes are started that ^C does not reach, not even while they load Python."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # they inherit that
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before or signal.SIG_DFL)


def _sendable(task: Callable[..., Value], args: tuple[Any, ...], kwargs: dict[str, Any]) -> Value:
    """What a task returns; a value that cannot be sent back is the task's own error."""
    value = task(*args, **kwargs)
    pickle.dumps(value)
    return value


def _begin_process(prepare: Callable[[], None] | None) -> None:
    """What a process does before its first job."""
    with suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the first process decides what ^C means
    cores.ENOUGH.set()
    os.environ.setdefault("LP_NUM_THREADS", "1")  # the picture's: there are processes enough
    if prepare:
        prepare()
    # What is loaded by now stays: the collector need not walk through it again at every job.
    gc.collect()
    gc.freeze()


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """The executor of the Dask cluster whose scheduler listens at `address` (tcp://host:port).

    Its workers need jiggen, one thread each, and the folders of the jobs under the same paths.
    Raises InputError ``batch.cluster`` when Dask is not installed or nothing answers.
    """
    try:
        from distributed import Client

        client = Client(address, timeout=PATIENCE)
    except ImportError as error:
        hint = "Install it: pip install 'jiggen[cluster]'."
        raise InputError.of(
            "batch.cluster", "Dask is not installed", key="cluster", hint=hint
        ) from error
    except (OSError, ValueError) as error:
        message = f"no cluster answers at {address}: {' '.join(str(error).split())}"
        hint = "Give the scheduler's address, for example tcp://farm:8786."
        raise InputError.of("batch.cluster", message, key="cluster", hint=hint) from error
    with client:
        yield client.get_executor(pure=False)
