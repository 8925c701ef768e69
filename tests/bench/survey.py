"""How often a survey measured as its blank asks is refused without a fault, or a misreading named.

python tests/bench/survey.py --runs 300
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from survey_trials import SEED, SIGMA, shares


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=300, help="plates for each row")
    parser.add_argument("--seed", type=int, default=SEED, help="of the plates and their noise")
    parser.add_argument("--off", type=float, default=1.0, help="mm that one reading is wrong by")
    chosen = parser.parse_args()
    start = time.perf_counter()
    print(f"{chosen.runs} plates a row, noise {SIGMA:g} mm; one reading {chosen.off:g} mm wrong")
    print("holes  twins   sound, refused   named   among those named   accepted")
    for twins in (False, True):
        for holes in (4, 6, 8, 10, 12):
            found = shares(holes, chosen.runs, twins=twins, off=chosen.off, seed=chosen.seed)
            cells = (found.refused, found.named, found.among, found.accepted)
            print(
                f"{holes:5}  {'yes' if twins else 'no':5}"
                + "".join(
                    f"{100 * cell:{wide}.1f} %"
                    for cell, wide in zip(cells, (14, 8, 14, 14), strict=True)
                )
            )
    print(f"{time.perf_counter() - start:.1f} s")


if __name__ == "__main__":
    main()
