"""The pool with small tasks: what a job does to itself, it does to no other."""

import os
import time
from pathlib import Path

import pytest

from jiggen.errors import Finding, InputError
from jiggen.report.workers import do_all


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


def by_job(jobs, processes=2):
    return {done.job: done for done in do_all(task, jobs, processes)}


def test_every_job_is_done_once_on_few_processes():
    assert {job: done.value for job, done in by_job(range(20)).items()} == {
        n: 2 * n for n in range(20)
    }
    pids = {done.value for done in do_all(task, ["who"] * 6, 2)}
    assert 1 <= len(pids) <= 2
    assert os.getpid() not in pids


def test_one_bad_job_never_spoils_the_others():
    found = by_job([1, "refuse", 2, "break", 3, "die", 4, "unsendable", 5])
    assert [found[n].value for n in (1, 2, 3, 4, 5)] == [2, 4, 6, 8, 10]
    assert all(not found[n].findings for n in (1, 2, 3, 4, 5))
    codes = {job: [f.code for f in found[job].findings] for job in found if isinstance(job, str)}
    assert codes == {
        "refuse": ["layout.bad"],
        "break": ["batch.fault"],
        "die": ["batch.worker-died"],
        "unsendable": ["batch.worker-died"],
    }
    assert "exit code 9" in found["die"].findings[0].message
    assert "ZeroDivisionError: by nothing" in found["break"].findings[0].message


def test_all_may_die():
    codes = [done.findings[0].code for done in do_all(task, ["die"] * 3, 2)]
    assert codes == ["batch.worker-died"] * 3


def test_no_jobs_start_no_process():
    assert list(do_all(task, [], 2)) == []


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for the process in /proc")
def test_who_stops_reading_ends_the_processes():
    done = do_all(task, ["who", "slow"], 1)
    pid = next(done).value
    done.close()
    assert not Path(f"/proc/{pid}").exists()
