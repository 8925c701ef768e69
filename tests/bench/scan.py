"""How often the true place of a hole lies within the stated 95 % region, over seeded scanners;
what is wrong with seeded scans, and how often it is named; and how long four pictures take.

nice python tests/bench/scan.py --runs 500
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only wait
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from PIL import Image
from scan_trials import LENGTHS, TURNS, WRONG, Trial, trial, wrong
from scanner import Lying, a_plate, a_scanner

from jiggen.measure.scan.files import measure_scans
from jiggen.measure.scan.findings import refusals

LONG = (250.0, 250.01)  # mm, of plates that show what holds over 250 mm
NEAR = 0.08  # mm
HEAD = (
    "plates         turns  holes  within stated 95 %   of plates  median  95 % error  <= 0.08 mm"
    "  stated median  lost  refused"
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=40, help="scanners and plates for each row")
    parser.add_argument("--seed", type=int, default=0, help="of the first of them")
    parser.add_argument("--long", type=int, help="plates of 250 mm; default: a fifth of the runs")
    parser.add_argument("--wrong", type=int, help="seeds of what is wrong; default: a fifth")
    parser.add_argument("--workers", type=int, default=1, help="processes that do the trials")
    parser.add_argument("--measure", nargs="+", type=Path, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.measure:
        _measure(chosen.measure)
        return
    fifth, first = max(1, chosen.runs // 5), chosen.seed
    print(HEAD)
    with ProcessPoolExecutor(chosen.workers, get_context("spawn")) as pool:
        _coverage(pool, "120 to 250 mm", LENGTHS, range(first, first + chosen.runs), (4, 2, 1))
        count = fifth if chosen.long is None else chosen.long
        _coverage(pool, "250 mm", LONG, range(first, first + count), (4, 2))
        count = fifth if chosen.wrong is None else chosen.wrong
        _wrong([*pool.map(wrong, range(first, first + count))])
    _speed()


def _tried(one: tuple[int, int, tuple[float, float]]) -> Trial | str:
    """The trial of a seed, so many turns and lengths; what was said where there is none."""
    seed, turns, length = one
    try:
        return trial(seed, turns, length=length)
    except Exception as error:  # counted, and shown
        return str(error)


def _coverage(pool, title, length, seeds, kinds) -> None:
    done: dict[int, list[Trial]] = {turns: [] for turns in kinds}
    refused = dict.fromkeys(kinds, 0)
    asked = [(seed, turns, length) for seed in seeds for turns in kinds]
    for (seed, turns, _), found in zip(asked, pool.map(_tried, asked), strict=True):
        bad = found if isinstance(found, str) else next(iter(refusals(found.fitted)), None)
        if not isinstance(found, str):
            done[turns].append(found)
        if bad:
            refused[turns] += 1
            print(f"  {seed}, {turns} turns: {bad}")
    for turns, trials in done.items():
        if not trials:
            continue
        errors = np.concatenate([one.errors for one in trials])
        ratios = np.concatenate([one.ratios for one in trials])
        within = np.concatenate([one.fitted.within for one in trials])
        # holes of one plate are wrong together: how far the share may be off is by plates
        shares = [float((one.ratios < 1).mean()) for one in trials]
        print(
            f"{title:13}  {turns:5}  {len(errors):5}  {(ratios < 1).mean():9.1%}"
            f" ± {np.std(shares) / len(shares) ** 0.5:.1%}    {len(trials):9}"
            f"  {np.median(errors):6.3f}  {np.quantile(errors, 0.95):10.3f}"
            f"  {(errors <= NEAR).mean():10.1%}  {np.median(within):13.3f}"
            f"  {sum(one.lost for one in trials):4}  {refused[turns]:7}",
            flush=True,
        )


def _wrong(said) -> None:
    print(f"\nwhat is wrong, {len(said)} seeds                     named   named or refused")
    for kind, code in WRONG.items():
        named = sum(code in one[kind] for one in said) / len(said)
        noticed = sum(bool(one[kind]) for one in said) / len(said)
        print(f"{kind:40}  {named:6.1%}  {noticed:6.1%}")


def _speed() -> None:
    """Four whole pictures of A4 at 600 dpi, measured by a process of its own."""
    drawn = a_plate(7, length=(200.0, 201.0), holes=(9, 10))
    plate = replace(drawn, text="BENCH PLATE 70")
    with tempfile.TemporaryDirectory() as folder:
        paths = [str(Path(folder) / f"turn-{turn}.png") for turn in TURNS[4]]
        for path, turn in zip(paths, TURNS[4], strict=True):
            laid = Lying(a_scanner(7), plate, turn + 91.0, (1.0, 2.0), seed=turn, supersampling=2)
            Image.fromarray(laid.picture()).save(path, dpi=(600, 600), compress_level=1)
        subprocess.run([sys.executable, __file__, "--measure", *paths], check=True)


def _measure(paths: list[Path]) -> None:
    start = time.perf_counter()
    found = measure_scans(paths)
    seconds = time.perf_counter() - start
    status = Path("/proc/self/status").read_text()  # rusage would count who started it as well
    peak = int(status.split("VmHWM:")[1].split()[0]) / 1024
    print(
        f"\n{len(paths)} scans of A4 at 600 dpi: {len(found.seen.names)} holes in {seconds:.1f} s, "
        f"{peak:.0f} MB at most (allowed 30 s, 2048 MB)"
    )


if __name__ == "__main__":
    main()
