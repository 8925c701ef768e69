"""A build killed at random moments: what lies in its folder afterwards, and beside it.

    python tests/bench/kill.py                # 50 moments of a stand-in for the slow rooms
    python tests/bench/kill.py --real 5       # and 5 of `jiggen build` itself

Each build is a process of its own, killed (SIGKILL) at a moment drawn between its start to write
and its usual end.  Every build has another label (the real ones another boot), so that a folder
that mixes two shows.  Exit code 1 when one did, or when the last run left anything beside.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent)]
from killing import Tree, litter, tree  # noqa: E402 - its place

from jiggen.export.folder import clear_leftovers  # noqa: E402 - its place

Command = Callable[[Path, int], list[str]]


def stand_in(target: Path, turn: int) -> list[str]:
    words = ["build", str(target), f"label {turn}", "--fill", "200", "--pause", "0.01"]
    return [sys.executable, str(TESTS / "killing.py"), *words]


def real(target: Path, turn: int) -> list[str]:
    words = ["build", "club-piste", "--ski", "84-112", "--boot", str(290 + turn)]
    # Of another boot each, which would be in the way.
    return [sys.executable, "-m", "jiggen", *words, "--out", str(target), "--force"]


def start(command: list[str]) -> subprocess.Popen[bytes]:
    env = {**os.environ, "PYTHONPATH": str(TESTS.parent)}
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env)


def whole(command: list[str], ready: bool) -> float:
    """Seconds that a build takes, from its ``ready`` where it says so."""
    process = start(command)
    if ready:
        process.stdout.readline()
    begin = time.perf_counter()
    process.stdout.readline()  # ``done``, or all that a real build says
    took = time.perf_counter() - begin
    process.communicate()
    assert process.returncode == 0, command
    return took


def killed(command: list[str], ready: bool, after: float) -> bool:
    process = start(command)
    if ready:
        process.stdout.readline()
    time.sleep(after)
    process.kill()
    process.communicate()
    return process.returncode < 0


def rounds(name: str, command: Command, moments: int, ready: bool, rng: random.Random) -> bool:
    """Kill `moments` builds; True when each left the old folder or the new one, whole."""
    with tempfile.TemporaryDirectory() as work:
        target = Path(work) / "jig"
        took = whole(command(target, 0), ready)
        found: Counter[str] = Counter()
        for turn in range(1, moments + 1):
            before = tree(target)
            dead = killed(command(target, turn), ready, rng.uniform(0.0, 1.1 * took))
            between = tree(target) is None  # the two renames: the next run puts the old one back
            if between:
                clear_leftovers(target)
            found[
                f"{outcome(before, tree(target), turn, ready)}, {'' if dead else 'not '}killed"
                + between * " between the renames"
            ] += 1
        most = len(litter(target))
        whole(command(target, moments + 1), ready)
        left = litter(target)
        for what, count in sorted(found.items()):
            print(f"{name}: {count:3} times {what}")
        print(
            f"{name}: {most} leftovers before the last run, {len(left)} after; a build {took:.1f} s"
        )
    return not left and not any("MIX" in what for what in found)


def outcome(before: Tree | None, after: Tree | None, turn: int, ready: bool) -> str:
    if after == before:
        return "the old folder whole"
    if after is None:
        return "no folder, MIX"
    if ready:
        said = {f"label {turn}" in data.decode() for data in after.values()}
        return "the new folder whole" if said == {True} and len(after) == 5 else "MIX"
    # The witness knows every file's hash, and the boot is in the manifest.
    from jiggen.verify import check

    with tempfile.TemporaryDirectory() as place:
        for name, data in after.items():
            (Path(place) / name).parent.mkdir(exist_ok=True)
            (Path(place) / name).write_bytes(data)
        return "the new folder whole" if check(Path(place)).passed else "MIX"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=50)
    parser.add_argument("--real", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    rng = random.Random(said.seed)
    good = rounds("stand-in", stand_in, said.moments, True, rng)
    if said.real:
        good &= rounds("jiggen build", real, said.real, False, rng)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
