"""A stand-in for a build, ended at chosen moments: the true workshop, small files, no kernel.

    python tests/killing.py build TARGET LABEL [--pause SECONDS] [--wait] [--fill KB] [--most KB]
    python tests/killing.py every kill|refuse [--two-renames]

The first builds once, in a process of its own: it says ``ready`` when it starts to write and
``done`` at its end, and ends with jiggen's exit code; with ``--wait`` it writes once it is given a
line; ``--most`` is the largest file the system lets it write.  The second ends a build of ``two``
over ``one`` before its first operation on a file, before its second, and so on to the last, by
SIGKILL or as a full disk does, and prints a line of JSON each.
"""

from __future__ import annotations

import argparse
import errno
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import filelock  # noqa: F401 - before its own opening of files is counted
from moments import OPERATIONS, UNREACHED, in_a_child

import jiggen.export.folder
import jiggen.pipeline.build
from jiggen.errors import JiggenError
from jiggen.record import Record
from jiggen.record.entries import Guide, Hole, Part, PlacedPart
from jiggen.verify import Verification

PASSED = Verification(True, 1, {}, ())
Tree = dict[str, bytes]


def tree(folder: Path) -> Tree | None:
    """Every file in `folder` with its bytes; None when there is no such folder."""
    if not folder.is_dir():
        return None
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def litter(target: Path) -> list[str]:
    """What lies beside `target`."""
    return sorted(path.name for path in target.parent.iterdir() if path != target)


def small_record(label: str) -> Record:
    """The least that a record may say."""
    ways = {"bore": 7.1, "bore_z": (2.0, 14.0), "throat": 4.6, "throat_z": (0.0, 2.0)}
    row = (1.0, 0.0, 0.0, 0.0)
    pose = (row, row, row, row)
    return Record(
        kind=label,
        versions={},
        holes=(Hole(id="toe-1", group="toe", x=0.0, y=0.0, diameter=3.6, depth=9.2),),
        guides=(Guide(id="toe-1", part="body", **ways),),
        parts=(
            Part(
                name="body",
                kind="body",
                file="parts/body.stl",
                count=1,
                volume=1.0,
                to_ski=pose,
                placed=(PlacedPart(name="body", to_ski=pose),),
            ),
        ),
        beds=(),
    )


def build(
    target: Path, label: str, *, pause: float = 0.0, wait: bool = False, fill: int = 1
) -> int:
    """A folder whose every file says `label`, made and put in place; the exit code."""

    def make(folder: Path) -> Record:
        print("ready", flush=True)
        if wait:
            sys.stdin.readline()
        (folder / "parts").mkdir()
        for name in ("jig.step", "parts/a.stl", "parts/b.stl"):
            (folder / name).write_text(f"{name} of {label}\n" + "x" * 1024 * fill)
            time.sleep(pause)
        return small_record(label)

    def finish(folder: Path, record: Record) -> None:
        (folder / "sheet.pdf").write_text(label)

    verifier = sys.modules["jiggen.verify"]  # `jiggen.verify` is a function
    verifier.verify_folder = lambda folder: PASSED
    verifier.verify_papers = lambda folder: ()
    try:
        jiggen.pipeline.build.verified_folder(target, make, finish=finish, force=False)
    except JiggenError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    print("done", flush=True)
    return 0


# -- every moment ---------------------------------------------------------------------------------


def kill(_event: str) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def refuse(event: str) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), event)


def every(how: Callable[[str], None], work: Path, *, exchange: bool) -> None:
    """Print what a build ended at each moment left, and what the next one made of that."""
    whole: dict[str, Tree | None] = {}
    for label in ("one", "two", "three"):
        in_a_child(build, work / label, label)
        whole[label] = tree(work / label)
    for moment in range(1, 1000):
        target = work / str(moment) / "jig"
        shutil.copytree(work / "one", target)
        code = in_a_child(ended, target, moment, how, exchange)
        left = {"moment": moment, "code": code, "there": named(whole, tree(target))}
        left["litter"] = litter(target)
        in_a_child(opened, target)
        left["opened"] = named(whole, tree(target))
        left["next"] = in_a_child(build, target, "three")
        left |= {"then": named(whole, tree(target)), "litter then": litter(target)}
        if code == UNREACHED:
            return
        print(json.dumps(left), flush=True)


def named(whole: dict[str, Tree | None], found: Tree | None) -> str:
    if found is None:
        return "missing"
    return next((label for label, content in whole.items() if content == found), "MIX")


def ended(target: Path, moment: int, how: Callable[[str], None], exchange: bool) -> int:
    """Build ``two``, with `how` done before the `moment`-th operation."""
    left = moment
    if not exchange:
        jiggen.export.folder._exchange = lambda one, other: False

    def hook(event: str, _arguments: tuple[Any, ...]) -> None:
        nonlocal left
        if event in OPERATIONS:
            left -= 1
            if left == 0:
                how(event)

    sys.addaudithook(hook)
    code = build(target, "two")
    return code if left <= 0 else UNREACHED


def opened(target: Path) -> int:
    """The next run that only starts: what a killed one left is cleared, nothing is built."""
    with jiggen.export.folder.workshop(target):
        return 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    modes = parser.add_subparsers(dest="mode", required=True)
    once = modes.add_parser("build")
    once.add_argument("target", type=Path)
    once.add_argument("label")
    once.add_argument("--pause", type=float, default=0.0)
    once.add_argument("--wait", action="store_true")
    once.add_argument("--fill", type=int, default=1)
    once.add_argument("--most", type=int, default=0)
    all_moments = modes.add_parser("every")
    all_moments.add_argument("how", choices=("kill", "refuse"))
    all_moments.add_argument("--two-renames", action="store_true")
    said = parser.parse_args()
    if said.mode == "build":
        if said.most:
            resource.setrlimit(resource.RLIMIT_FSIZE, (said.most * 1024, said.most * 1024))
        return build(said.target, said.label, pause=said.pause, wait=said.wait, fill=said.fill)
    with tempfile.TemporaryDirectory() as work:
        every({"kill": kill, "refuse": refuse}[said.how], Path(work), exchange=not said.two_renames)
    return 0


if __name__ == "__main__":
    sys.exit(main())
