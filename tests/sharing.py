"""What takes seconds to build is built once a run, however many processes test it."""

from __future__ import annotations

import hashlib
import os
import pickle
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import pytest
from filelock import FileLock

from jiggen.files import PICTURE
from jiggen.job import Job
from jiggen.pipeline.build import Built, build
from jiggen.pipeline.products import JIG, PlannedJig, plan_jig
from jiggen.record import JigRecord

T = TypeVar("T")
KEPT = 16  # files whose contents a process keeps


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


def read_once(read: Callable[..., T]) -> Callable[..., T]:
    """`read`, a reader of files, that reads the same content once, whatever file it is in.

    A test harms one file of a folder, and the verification reads all the others again.
    """
    kept: OrderedDict[tuple[object, ...], T] = OrderedDict()

    def found(path: Path, **how: object) -> T:
        key = (hashlib.sha256(path.read_bytes()).digest(), *sorted(how.items()))
        if key not in kept:
            kept[key] = read(path, **how)
        kept.move_to_end(key)
        if len(kept) > KEPT:
            kept.popitem(last=False)
        return kept[key]

    return found


def build_parts(job: Job, target: Path, *, told: bool = False) -> Built[PlannedJig, JigRecord]:
    """A jig built and verified, of what else is drawn of it the plans, sheet and page if `told`."""
    outputs = tuple(output for output in JIG.outputs if told and output.name != PICTURE)
    return build(replace(JIG, outputs=outputs), partial(plan_jig, job), target)
