"""How often a survey measured as its blank asks is refused without a fault, or a misreading named.

python tests/bench/survey.py --runs 300
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from survey_trials import SEED, SIGMA, shares


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=300, help="plates for each row")
    parser.add_argument("--seed", type=int, default=SEED, help="of the plates and their noise")
    parser.add_argument("--off", type=float, default=1.0, help="mm that one reading is wrong by")
    parser.add_argument("--quick", action="store_true", help="begin each fit at the true places")
    chosen = parser.parse_args()
    start, rows = time.perf_counter(), []
    print(f"{chosen.runs} plates a row, noise {SIGMA:g} mm; one reading {chosen.off:g} mm wrong")
    print("holes  twins   sound, refused   named   among those named   accepted")
    for twins in (False, True):
        for holes in (4, 6, 8, 10, 12):
            how = {"off": chosen.off, "quick": chosen.quick, "seed": chosen.seed}
            found = shares(holes, chosen.runs, twins=twins, **how)
            rows.append((found.refused, found.named, found.among, found.accepted))
            print(f"{holes:5}  {'yes' if twins else 'no':5}{_cells(rows[-1])}", flush=True)
    print(f"all together{_cells([sum(column) / len(rows) for column in zip(*rows, strict=True)])}")
    print(f"{time.perf_counter() - start:.1f} s")


def _cells(shares_found: Sequence[float]) -> str:
    wide = zip(shares_found, (14, 8, 14, 14), strict=True)
    return "".join(f"{100 * share:{width}.1f} %" for share, width in wide)


if __name__ == "__main__":
    main()
