"""Processes side by side: a killed one costs its own task and no other."""

from __future__ import annotations

from evening_tasks import killed_once, process, square, square_unless_killed

from jiggen.report.evening.pool import in_processes


def test_results_come_in_the_order_of_the_tasks():
    done = []
    assert in_processes(square, range(7), 2, lambda _: -1, done.append) == [
        0, 1, 4, 9, 16, 25, 36,
    ]  # fmt: skip
    assert sorted(done) == [0, 1, 4, 9, 16, 25, 36]


def test_a_killed_process_is_the_failure_of_its_own_task_alone():
    done = []
    found = in_processes(square_unless_killed, [1, 2, 3, 4, 5], 3, lambda n: -n, done.append)
    assert found == [1, 4, -3, 16, 25]
    assert sorted(done) == sorted(found), "each is told once"


def test_a_task_that_was_killed_from_outside_once_is_tried_again(tmp_path):
    paths = [str(tmp_path / name) for name in "ab"]
    assert in_processes(killed_once, paths[:1], 1, lambda _: "lost") == ["done"]
    assert in_processes(killed_once, paths, 2, lambda _: "lost") == ["done", "done"]


def test_workers_are_kept_from_task_to_task():
    assert len(set(in_processes(process, range(8), 2, lambda _: 0))) <= 2


def test_no_more_workers_than_tasks_and_none_without():
    assert in_processes(square, [3], 8, lambda _: -1) == [9]
    assert in_processes(square, [], 8, lambda _: -1) == []
