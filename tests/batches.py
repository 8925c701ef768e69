"""Ordinary jigs built by the workers that an evening is built by, for tests and benchmarks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jiggen.design.settings import Settings
from jiggen.drilling import DrillingLimits, Screw, SkiState
from jiggen.errors import Finding
from jiggen.executors import Done, OwnProcesses, do_all
from jiggen.layout.model import Layout


@dataclass(frozen=True, eq=False)
class JigJob:
    """One jig to build, as `jiggen.report.job.build_jig` takes it; `name` tells it from others."""

    name: str
    layout: Layout
    settings: Settings
    target: Path
    state: SkiState = field(default_factory=SkiState)
    limits: DrillingLimits = field(default_factory=DrillingLimits)
    screws: Mapping[str, Screw] = field(default_factory=dict)
    force: bool = False


@dataclass(frozen=True, eq=False)
class BuiltJig:
    """A built folder: its manifest, whether its verification passed, and what to beware of."""

    folder: Path
    manifest: dict[str, Any]
    passed: bool
    warnings: tuple[Finding, ...]


def build_all(jobs: Iterable[JigJob], processes: int = 2) -> Iterator[Done[JigJob, BuiltJig]]:
    """Build every job, so many at once; each is told of as it is done, in no fixed order.

    What `build_jig` raises, and a process that dies, are findings of that job alone; a jig that
    failed its verification has a value whose `passed` is False.
    """
    with OwnProcesses(processes, prepare) as executor:
        yield from do_all(build_one, jobs, executor)


def build_one(job: JigJob) -> BuiltJig:
    """Build one job in this process. Raises what `build_jig` raises."""
    from jiggen.report.job import build_jig

    built = build_jig(
        job.layout,
        job.settings,
        job.target,
        state=job.state,
        limits=job.limits,
        screws=job.screws,
        force=job.force,
    )
    return BuiltJig(built.folder, built.record.values(), built.verification.passed, built.warnings)


def prepare() -> None:
    """Load all that a build needs."""
    import jiggen.report.job  # noqa: F401
