"""How often the gauge's fit is right, over seeded printers that scale, lean and print holes small.

python tests/bench/printer.py
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from printer_trials import RUNS, calibration, compensated, finished_jigs, misreadings


def main() -> None:
    start = time.perf_counter()
    found = calibration()
    print(f"{RUNS} printers, caliper noise 0.02 mm; truth within its 95 % uncertainty:")
    for name, share in found.covered.items():
        typical = found.deviations[name]
        print(f"  {name:<9}{100 * share:6.1f} %   standard uncertainty {typical:.2g}")
    print(f"faultless readings called contradictory: {100 * found.contradicts:.1f} %")
    print(f"one misread value, named as the wrong one: {100 * misreadings():.1f} % of 200")
    print("compensated by the fit, then printed: worst hole of 200 printers, mm")
    for pattern, off in compensated().items():
        print(f"  {pattern:<12}{off:8.3f}")
    print("finished jigs measured as their blank files say: holes within what is said of them,")
    print("faultless readings called contradictory, one misread value named; 200 prints each")
    for pattern, bed in (("club-piste", 220.0), ("hut-plate", 220.0), ("step-track", 220.0)):
        with tempfile.TemporaryDirectory() as folder:
            told = finished_jigs(pattern, bed, Path(folder), runs=200)
        shares = (told.covered, told.contradicts, told.named)
        print(f"  {pattern:<12}" + "".join(f"{100 * share:8.1f} %" for share in shares))
    print(f"{time.perf_counter() - start:.1f} s")


if __name__ == "__main__":
    main()
