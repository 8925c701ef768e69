"""Executors with small tasks: what a job does to itself, it does to no other."""

import multiprocessing
import os
import signal
import threading
import time
from concurrent.futures import BrokenExecutor, ThreadPoolExecutor
from pathlib import Path

import pytest
from pebble.pool.channel import Channel

from jiggen.errors import Finding, InputError
from jiggen.executors import OwnProcesses, cluster_executor, do_all, fault_of


def task(job):
    """What a job says: a number to double, or how to fail."""
    if job == "refuse":
        raise InputError(Finding("layout.bad", "no such boot"))
    if job == "break":
        raise ZeroDivisionError("by nothing")
    if job == "die":
        os._exit(9)
    if job == "unsendable":
        return lambda: None
    if job == "who":
        return os.getpid()
    if job == "slow":
        time.sleep(60)
    return 2 * job


def done_by_processes(jobs, processes=2):
    with OwnProcesses(processes) as executor:
        return list(do_all(task, jobs, executor))


def by_job(jobs):
    return {done.job: done for done in done_by_processes(jobs)}


def test_every_job_is_done_once_on_few_processes():
    assert {job: done.value for job, done in by_job(range(20)).items()} == {
        n: 2 * n for n in range(20)
    }
    pids = {done.value for done in done_by_processes(["who"] * 6)}
    assert 1 <= len(pids) <= 2
    assert os.getpid() not in pids


def test_processes_killed_while_they_have_nothing_to_do_are_replaced():
    with OwnProcesses(2) as executor:
        before = executor.submit(task, "who").result()
        idle = {child.pid for child in multiprocessing.active_children()}
        assert before in idle
        os.kill(before, signal.SIGKILL)
        time.sleep(0.5)  # the executor looks after its processes ten times a second
        after = executor.submit(task, "who").result()
        assert after != before
        assert executor.submit(task, 4).result() == 8
    assert not {after, *idle} & {child.pid for child in multiprocessing.active_children()}


def never_ready():
    time.sleep(60)


def test_a_job_whose_process_is_killed_before_it_is_ready_fails_and_the_next_is_done():
    with OwnProcesses(1, never_ready) as executor:
        waiting = executor.submit(task, 1)
        while not (starting := multiprocessing.active_children()):
            time.sleep(0.05)
        executor._prepare = None
        for child in starting:
            os.kill(child.pid, signal.SIGKILL)
        error = waiting.exception(30)
        assert error is not None
        assert fault_of(error).code == "batch.worker-died"
        assert executor.submit(task, 4).result(60) == 8


def test_one_bad_job_never_spoils_the_others():
    found = by_job([1, "refuse", 2, "break", 3, "die", 4, "unsendable", 5])
    assert [found[n].value for n in (1, 2, 3, 4, 5)] == [2, 4, 6, 8, 10]
    assert all(not found[n].findings for n in (1, 2, 3, 4, 5))
    codes = {job: [f.code for f in found[job].findings] for job in found if isinstance(job, str)}
    assert codes == {
        "refuse": ["layout.bad"],
        "break": ["batch.fault"],
        "die": ["batch.worker-died"],
        "unsendable": ["batch.fault"],
    }
    assert "exit code 9" in found["die"].findings[0].message
    assert "ZeroDivisionError: by nothing" in found["break"].findings[0].message


def test_all_may_die():
    codes = [done.findings[0].code for done in done_by_processes(["die"] * 3)]
    assert codes == ["batch.worker-died"] * 3


def test_no_jobs_start_no_process():
    with OwnProcesses(2) as executor:
        assert list(do_all(task, [], executor)) == []
        assert not multiprocessing.active_children()


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for the process in /proc")
def test_who_stops_reading_ends_the_processes():
    with OwnProcesses(1) as executor:
        pid = next(do_all(task, ["who", "slow"], executor)).value
        assert Path(f"/proc/{pid}").exists()
    assert not Path(f"/proc/{pid}").exists()


def test_the_end_is_silent_even_if_a_job_has_its_result_already(monkeypatch):
    looked, began = [], Channel.__init__

    def slowly(channel, reader, writer):
        """The thread that reads results is between its look and its reading at any moment."""
        began(channel, reader, writer)
        look = channel.poll

        def poll(timeout=None):
            answer = look(timeout)
            looked.append(time.sleep(0.3))
            return answer or channel.reader.closed

        channel.poll = poll

    said = []
    monkeypatch.setattr(Channel, "__init__", slowly)
    monkeypatch.setattr(threading, "excepthook", said.append)
    with OwnProcesses(1) as executor:
        executor.submit(task, "slow").set_exception(BrokenExecutor())
    assert looked
    assert [str(each.exc_value) for each in said] == []


def test_any_executor_will_do():
    with ThreadPoolExecutor(2) as executor:
        found = {done.job: done for done in do_all(task, [1, "refuse", 2], executor)}
    assert (found[1].value, found[2].value) == (2, 4)
    assert [finding.code for finding in found["refuse"].findings] == ["layout.bad"]


@pytest.fixture(scope="module")
def cluster():
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as made:
        yield made.scheduler_address


def test_a_cluster_does_jobs_and_one_bad_job_spoils_no_other(cluster):
    with cluster_executor(cluster) as executor:
        found = {done.job: done for done in do_all(task, [1, "refuse", "break", 3], executor)}
        pids = {done.value for done in do_all(task, ["who"] * 4, executor)}
    assert (found[1].value, found[3].value) == (2, 6)
    assert [finding.code for finding in found["refuse"].findings] == ["layout.bad"]
    assert "ZeroDivisionError: by nothing" in found["break"].findings[0].message
    assert os.getpid() not in pids


def test_a_cluster_that_is_not_there(monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("jiggen.executors.PATIENCE", 0.2)
    with pytest.raises(InputError, match="no cluster answers"), cluster_executor("tcp://[::1]:1"):
        pass
