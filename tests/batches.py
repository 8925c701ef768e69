"""Ordinary jigs built by the workers that an evening is built by, for tests and benchmarks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from jiggen.executors import Done, OwnProcesses, do_all
from jiggen.job import Job
from jiggen.pipeline.build import Built


@dataclass(frozen=True, eq=False)
class JigJob:
    """One jig to build into `target`; `name` tells it from others."""

    name: str
    job: Job
    target: Path
    force: bool = False


def build_all(jobs: Iterable[JigJob], processes: int = 2) -> Iterator[Done[JigJob, Built]]:
    """Build every job, so many at once; each is told of as it is done, in no fixed order.

    What `build_jig` raises, and a process that dies, are findings of that job alone; a jig that
    failed its verification has a value whose verification has not passed.
    """
    with OwnProcesses(processes, prepare) as executor:
        yield from do_all(build_one, jobs, executor)


def build_one(job: JigJob) -> Built:
    """Build one job in this process. Raises what `build_jig` raises."""
    from jiggen.pipeline.products import build_jig

    return build_jig(job.job, job.target, force=job.force)


def prepare() -> None:
    """Load all that a build needs."""
    import jiggen.pipeline.products
    import jiggen.solid  # noqa: F401
