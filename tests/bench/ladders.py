"""The verification of every boot length of reusable jigs, line by line, as found in their files.

    python tests/bench/ladders.py [PATTERN …] [--boot 265-345] [--ski 84-112]

Builds a jig a pattern (club-piste and step-track by default), verifies it from its files alone and
prints where each line was found, how far the farthest hole lies from the layout of that boot, and
how high the line's lower end is above the ski, in the STL.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patterns", nargs="*", default=["club-piste", "step-track"])
    parser.add_argument("--boot", default="265-345")
    parser.add_argument("--ski", default="84-112")
    wanted = parser.parse_args()

    from jiggen.design import Settings, SkiRange
    from jiggen.job import Job
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.pipeline.products import build_jig
    from jiggen.units import length_range
    from jiggen.verify import verdict

    settings = Settings(SkiRange(*length_range(wanted.ski)))
    for name in wanted.patterns:
        pattern = read_pattern(find_pattern(name))
        start = time.process_time()
        with tempfile.TemporaryDirectory() as place:
            job = Job(pattern, length_range(wanted.boot), settings)
            done = build_jig(job, Path(place) / name)
        taken = time.process_time() - start
        lines = done.verification.ladders
        worst = max((line.deviation or 0.0 for line in lines), default=0.0)
        ends = [line.end for line in lines if line.end is not None]
        print(pattern.name)
        for line in lines:
            print(line.part, line.boot, line.step, line.stl, line.deviation, line.end)
        print(f"{len({line.boot for line in lines})} boot lengths, farthest {worst:.6f} mm off")
        print(f"{len(ends)} lines, lower ends {min(ends):.4f} to {max(ends):.4f} mm above the ski")
        print(f"{verdict(done.verification)}\n{taken:.1f} s of processor time\n")


if __name__ == "__main__":
    main()
