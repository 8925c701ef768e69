"""How often the true place of a hole lies within the stated 95 % region, over seeded scanners.

nice python tests/bench/scan.py --runs 500
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only wait
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from scan_trials import TURNS, WRONG, trial, wrong

from jiggen.measure.scan.findings import refusals


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100, help="scanners and plates for each row")
    parser.add_argument("--seed", type=int, default=0, help="of the first of them")
    parser.add_argument("--turns", type=int, choices=TURNS, nargs="*", default=(4, 2))
    parser.add_argument("--wrong", type=int, default=0, help="seeds of each thing that is wrong")
    chosen = parser.parse_args()
    if chosen.wrong:
        _wrong(chosen.wrong, chosen.seed)
        return
    print(
        "turns  holes  within stated 95 %   median  95 % error  stated median  lost  refused  each"
    )
    for turns in chosen.turns:
        start, done, refused, failed = time.perf_counter(), [], 0, 0
        for seed in range(chosen.seed, chosen.seed + chosen.runs):
            try:
                done.append(trial(seed, turns))
            except Exception as error:  # counted, and shown
                failed += 1
                print(f"  {seed}: {error}")
                continue
            if bad := refusals(done[-1].fitted):
                refused += 1
                print(f"  {seed}: {bad[0]}")
        errors = np.concatenate([one.errors for one in done])
        ratios = np.concatenate([one.ratios for one in done])
        within = np.concatenate([one.fitted.within for one in done])
        print(
            f"{turns:5}  {len(errors):5}  {(ratios < 1).mean():18.1%}  {np.median(errors):7.3f}"
            f"  {np.quantile(errors, 0.95):10.3f}  {np.median(within):13.3f}"
            f"  {sum(one.lost for one in done):4}  {refused + failed:7}"
            f"  {(time.perf_counter() - start) / chosen.runs:.1f} s",
            flush=True,
        )


def _wrong(count: int, first: int) -> None:
    print("what is wrong                    named   named or refused")
    for kind, code in WRONG.items():
        found = [wrong(kind, seed) - {""} for seed in range(first, first + count)]
        named, noticed = sum(code in one for one in found), sum(map(bool, found))
        print(f"{kind:31}  {named / count:6.1%}  {noticed / count:6.1%}", flush=True)


if __name__ == "__main__":
    main()
