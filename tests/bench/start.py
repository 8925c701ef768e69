"""Start-up time of the light commands, each in a fresh interpreter: best and median of five.

python tests/bench/start.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

COMMANDS = (
    ["--help"],
    ["build", "--help"],
    ["layout", "club-piste", "--boot", "305"],
    ["layout", "club-piste", "--boot", "305", "--json"],
)


def main() -> None:
    for command in COMMANDS:
        times = []
        for _ in range(5):
            start = time.perf_counter()
            subprocess.run(
                [sys.executable, "-m", "jiggen", *command], check=True, stdout=subprocess.DEVNULL
            )
            times.append(time.perf_counter() - start)
        words = "jiggen " + " ".join(command)
        print(f"{words:<44}{min(times):6.2f} s best {statistics.median(times):6.2f} s median")


if __name__ == "__main__":
    main()
