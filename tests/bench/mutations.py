"""Every mutation of the lists, each by which checks it was caught, and what survived.

    python tests/bench/mutations.py [--match WORD] [--seed N --share K] [--json FILE] [-j JOBS]

Exit code 1 if one survived that is not said to be harmless, or none of its checks caught it.
The last lines name every check, by how many mutations it was tried, and of how many it alone
caught the fault.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial
from multiprocessing import get_context
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from mutation import PLANS, Mutation, caught, every_mutation, make
from sharing import read_once

from jiggen.verify import beds, parts, printing

FINDINGS = Path(__file__).parents[2] / ".docs" / "findings.md"
BROKEN = "BROKEN:"
Row = tuple[str, tuple[str, ...], tuple[str, ...], str, float]


def read_files_once() -> None:
    """In a process of the bench: what one mutation left alone is not read again for the next."""
    for module, name in ((parts, "read_assembly"), (parts, "read_stl"), (beds, "read_3mf")):
        setattr(module, name, read_once(getattr(module, name)))
    printing._checks = lru_cache(64)(printing._checks.__wrapped__)


def tried(index: int, good: Path) -> Row:
    """One mutation: its name, its checks, those that caught it, why it is harmless, seconds."""
    mutation, start = every_mutation()[index], time.perf_counter()
    with tempfile.TemporaryDirectory() as scratch:
        try:
            found = caught(mutation, good / mutation.product, Path(scratch))
        except Exception as error:  # the mutation or the verification is broken: the table says it
            found = (f"{BROKEN} {type(error).__name__}: {error}".replace("\n", " ")[:200],)
    took = time.perf_counter() - start
    return str(mutation), mutation.caught_by, found, mutation.harmless, took


def held(row: Row) -> bool:
    """Whether one of its checks caught it, or nothing had to."""
    _, wanted, found, harmless, _ = row
    return bool(set(wanted) & set(found)) or bool(harmless)


def told(row: Row) -> str:
    """A line of the table."""
    name, wanted, found, harmless, took = row
    if not held(row):
        word = "SURVIVED" if not found else f"not by {' '.join(wanted)}, by"
    else:
        word = "caught by" if found else f"harmless: {harmless}"
    return f"{took:5.1f} s  {name:<80} {word} {' '.join(found)}".rstrip()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--match", default="", help="only those with this word in their name")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--share", type=int, default=0, help="only so many, by the seed")
    parser.add_argument("--json", type=Path)
    parser.add_argument("-j", "--jobs", type=int, default=2)
    args = parser.parse_args()
    chosen: list[tuple[int, Mutation]] = [
        (n, one) for n, one in enumerate(every_mutation()) if args.match in str(one)
    ]
    if args.share:
        chosen = Random(args.seed).sample(chosen, min(args.share, len(chosen)))
    with tempfile.TemporaryDirectory() as scratch:
        good = Path(scratch)
        for kind in PLANS:
            if any(one.product == kind and one.where != "solid" for _, one in chosen):
                _, verification = make(kind, good / kind)
                assert verification.passed, (kind, verification.faults)
        rows = []
        with ProcessPoolExecutor(args.jobs, get_context("spawn"), read_files_once) as pool:
            for row in pool.map(partial(tried, good=good), [index for index, _ in chosen]):
                rows.append(row)
                print(told(row), flush=True)
    bad = [row for row in rows if not held(row)]
    by_check = Counter(code for row in rows for code in row[2])
    alone = Counter(row[2][0] for row in rows if len(row[2]) == 1)
    stated = re.findall(r"`(verify\.[a-z-]+)`", FINDINGS.read_text(encoding="utf-8"))
    print()
    for code in dict.fromkeys((*sorted(stated), *by_check)):
        print(f"{code:<32} in {by_check[code]:3d}, alone in {alone[code]:3d}")
    harmless = sum(1 for row in rows if not row[2] and row[3])
    print(f"\n{len(rows)} mutations: {len(rows) - len(bad) - harmless} caught, {len(bad)} not as")
    print(f"stated or not at all, {harmless} harmless and not caught")
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
