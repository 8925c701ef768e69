"""Work spread over processes, none of which can spoil more than its own."""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")


def in_processes(
    work: Callable[[T], R],
    tasks: Sequence[T],
    workers: int,
    lost: Callable[[T], R],
    done: Callable[[R], None] = lambda _: None,
) -> list[R]:
    """What `work` returns for each of `tasks`, in their order, up to `workers` at a time.

    Workers start clean (spawned) and keep what they have loaded from task to task.  `work` and
    its tasks must be picklable, and `work` must not raise.  When a worker is killed, nobody can
    tell whose fault it was: each task then in hand is tried again in a process of its own, and
    one that is killed there once more has the result of `lost`.  `done` is told each result as
    it comes.
    """
    results: dict[int, R] = {}

    def settle(number: int, result: R) -> None:
        results[number] = result
        done(result)

    waiting = deque(enumerate(tasks))
    while waiting:
        in_hand = _pooled(work, waiting, workers, settle)
        for number, task in in_hand:
            if _pooled(work, deque([(number, task)]), 1, settle):
                settle(number, lost(task))
    return [results[number] for number in range(len(tasks))]


def _pooled(
    work: Callable[[T], R],
    waiting: deque[tuple[int, T]],
    workers: int,
    settle: Callable[[int, R], None],
) -> list[tuple[int, T]]:
    """Work off `waiting` in one pool; what was in hand when a worker of it was killed."""
    running: dict[Future[R], tuple[int, T]] = {}
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(waiting)), mp_context=context) as pool:
        try:
            while waiting or running:
                # Handed out one by one: what waits in a broken pool would be lost with it.
                while waiting and len(running) < workers:
                    number, task = waiting[0]
                    running[pool.submit(work, task)] = (number, task)
                    waiting.popleft()
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    result = future.result()
                    number, _ = running.pop(future)
                    settle(number, result)
        except BrokenProcessPool:
            return list(running.values())
    return []
