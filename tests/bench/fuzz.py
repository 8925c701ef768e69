"""Spoilt files given to every reader: what became of them, the slowest case, the peak memory.

    python tests/bench/fuzz.py --cases 10000 --seed 1
    python tests/bench/fuzz.py --seed 1 --only "survey:212"     # one case again, with its file

Exit code 1 when any case ended in a traceback, a hang, or with a file written.
"""

from __future__ import annotations

import argparse
import resource
import sys
from collections import Counter
from pathlib import Path
from random import Random

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]
from fuzz_readers import READERS, Case, peak_memory, run, shared  # noqa: E402 - its place
from spoiling import spoilt  # noqa: E402

MEMORY = 6 * 2**30  # bytes of address space: a reader that wants more fails its case


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", metavar="READER[:NUMBER]", default="")
    wanted = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    name, _, number = wanted.only.partition(":")
    if number:
        return again(name, int(number), wanted.seed)
    cases: list[Case] = []
    print(
        f"{'reader':<12}{'cases':>7}{'read':>7}{'refused':>9}{'FAULT':>7}{'slowest':>10}{'peak':>9}"
    )
    for reader, count in shared(wanted.cases):
        if name and reader.name != name:
            continue
        found = list(run(reader, range(count), wanted.seed))
        cases += found
        tell(reader.name, found)
    tell("all", cases)
    slowest, hungriest = (max(cases, key=lambda c: c.seconds), max(cases, key=lambda c: c.growth))
    print(f"slowest case {slowest.label} ({slowest.file}), {slowest.seconds:.2f} s")
    print(f"hungriest case {hungriest.label} ({hungriest.file}), {hungriest.growth:.0f} MB more")
    faults = [case for case in cases if case.fault]
    for case in faults:
        print(f"\n{case.label} ({case.file})\n{case.fault}")
    return 1 if faults else 0


def tell(name: str, cases: list[Case]) -> None:
    count = Counter("FAULT" if case.fault else case.outcome for case in cases)
    slowest = max(case.seconds for case in cases)
    print(
        f"{name:<12}{len(cases):>7}{count['read']:>7}{count['refused']:>9}{count['FAULT']:>7}"
        f"{slowest:>8.2f} s{peak_memory():>6.0f} MB",
        flush=True,
    )


def again(name: str, number: int, seed: int) -> int:
    reader = next(reader for reader in READERS if reader.name == name)
    rng, seeds = Random(f"{seed} {name} {number}"), reader.seeds()
    file = rng.choice(sorted(seeds))
    sys.stdout.buffer.write(spoilt(seeds[file], rng, Path(file).suffix)[:20_000] + b"\n")
    (case,) = run(reader, range(number, number + 1), seed)
    print(f"{case.label} ({case.file}): {case.outcome}, {case.seconds:.2f} s\n{case.fault}")
    return 1 if case.fault else 0


if __name__ == "__main__":
    sys.exit(main())
