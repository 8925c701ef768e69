"""Jigs in batches on one and two processes, and the memory of a process over many jigs.

    python tests/bench/batch.py [--jigs 1 2 4 8 16] [--memory 50]

Prints; asserts nothing. All jigs are of one pattern, at boots from 260 mm in steps of 1.5 mm. The
time is on the clock, with the start of the processes; `cpu` is what they used together.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from batches import JigJob, build_all, build_one, prepare

from jiggen.design.settings import Settings, SkiRange
from jiggen.executors import OwnProcesses, do_all
from jiggen.job import Job
from jiggen.pattern import find_pattern, read_pattern


def jobs(count: int, folder: Path) -> list[JigJob]:
    pattern = read_pattern(find_pattern("club-piste"))
    settings = Settings(ski=SkiRange(84, 112))
    lengths = [260.0 + 1.5 * (number % 64) for number in range(count)]
    return [JigJob(f"{b:g}", Job(pattern, (b, b), settings), folder / f"{b:g}") for b in lengths]


def batch(count: int, processes: int) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        done = list(build_all(jobs(count, Path(folder)), processes))
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    verified = sum(1 for one in done if one.value and one.value.verification.passed)
    print(
        f"{count:4} jigs on {processes} process{'es' if processes > 1 else '  '}"
        f"{wall:9.1f} s{cpu:9.1f} s cpu{cpu / count:7.2f} s cpu a jig, {verified} verified",
        flush=True,
    )
    return wall


def measured(job: JigJob) -> float:
    """Build a jig; the process's memory after it, in MB."""
    build_one(job)
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGESIZE") / 2**20


def memory(count: int) -> None:
    """The process's memory as jig after jig is built in it."""
    sizes: list[float] = []
    with tempfile.TemporaryDirectory() as folder, OwnProcesses(1, prepare) as executor:
        for done in do_all(measured, jobs(count, Path(folder)), executor):
            sizes.append(done.value or 0.0)
            if len(sizes) in (1, 2, 5, count) or len(sizes) % 10 == 0:
                print(f"{sizes[-1]:6.0f} MB after {len(sizes)} jigs", flush=True)
    half = len(sizes) // 2
    if half:
        growth = (sizes[-1] - sizes[half - 1]) / (len(sizes) - half)
        print(f"growth over the second half: {growth:+.2f} MB a jig")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jigs", type=int, nargs="*", default=[1, 2, 4, 8, 16])
    parser.add_argument("--memory", type=int, default=50, help="jigs in a row; 0 for none")
    wanted = parser.parse_args()
    print(f"other load on the machine at the start: {os.getloadavg()[0]:.1f}")
    for count in wanted.jigs:
        one, two = batch(count, 1), batch(count, 2)
        print(f"     two processes: {one / two:.2f} times as fast")
    if wanted.memory:
        memory(wanted.memory)


if __name__ == "__main__":
    main()
