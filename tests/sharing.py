"""What takes seconds to build is built once a run, however many processes test it."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import pytest
from filelock import FileLock

from jiggen.job import Job
from jiggen.pipeline.build import Built, build
from jiggen.pipeline.products import JIG, PlannedJig, plan_jig
from jiggen.record import JigRecord

T = TypeVar("T")


def built_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], T]) -> T:
    """What `make` returns, given a folder of that `name` that all processes of this run share.

    The first process to ask makes it while the others wait; they get a copy of its value, and
    look at the same files: nobody may change them.
    """
    base = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent
    shared = base / "shared"
    shared.mkdir(exist_ok=True)
    stored = shared / f"{name}.pickle"
    with FileLock(shared / f"{name}.lock"):
        if stored.is_file():
            value: T = pickle.loads(stored.read_bytes())
            return value
        made = make(shared / name)
        stored.write_bytes(pickle.dumps(made))
        return made


def build_parts(job: Job, target: Path) -> Built[PlannedJig, JigRecord]:
    """A jig built and verified without what is drawn beside its parts: picture, sheet and page."""
    return build(replace(JIG, outputs=()), partial(plan_jig, job), target)
