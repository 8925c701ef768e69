"""Interference and least gaps of the written parts, by booleans of another library.

    python tests/bench/interference.py [PATTERN …] [--boot 305] [--ski 84-112 …] [--bed 220]

Builds a jig a pattern and ski range (all shipped patterns, and one for many boots), and puts its
STL files together as the verification does, on the narrowest, middle and widest ski.
Prints, by kinds of parts, the volume that any two share and the least gap; asserts nothing.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patterns", nargs="*")
    parser.add_argument("--boot", nargs="*", default=["305", "299-311"])
    parser.add_argument("--ski", nargs="*", default=["84-112"])
    parser.add_argument("--bed", type=float, default=220.0)
    asked = parser.parse_args()

    from assembled import TURN, evidence_of, near_ones, ski_of
    from sharing import build_parts

    from jiggen.design import Bed, Settings, SkiRange
    from jiggen.errors import JiggenError
    from jiggen.job import Job
    from jiggen.pattern import read_pattern, shipped_patterns
    from jiggen.units import length_range
    from jiggen.verify.assembly import Assembly

    paths = [
        path for path in shipped_patterns() if not asked.patterns or path.stem in asked.patterns
    ]
    worst: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for path in paths:
        for ski in asked.ski:
            for boot in asked.boot:
                name = f"{path.stem}, boot {boot}, skis {ski}"
                least, most = length_range(ski)
                settings = Settings(SkiRange(least, most), bed=Bed(asked.bed, asked.bed))
                job = Job(read_pattern(path), length_range(boot), settings)
                with tempfile.TemporaryDirectory() as place:
                    try:
                        folder = build_parts(job, Path(place) / "jig").folder
                        jig = Assembly.of(evidence_of(folder))
                    except JiggenError as error:
                        print(f"{name}: refused, {error.findings[0].code}")
                        continue
                shared = 0.0
                for width in (least, (least + most) / 2, most):
                    pieces = jig.at(width, TURN) | {"ski": ski_of(width)}
                    for met in near_ones(jig, pieces):
                        pair = sorted(jig.kinds.get(one, one) for one in (met.one, met.other))
                        worst[pair[0], pair[1]].append((met.gap, met.shared))
                        shared = max(shared, met.shared)
                print(f"{name}: two parts share at most {shared:.6f} mm³", flush=True)
    print(f"\n{'parts':<16} {'least gap, mm':>14} {'shared, mm³':>14}")
    for (one, other), found in sorted(worst.items()):
        gaps, volumes = zip(*found, strict=True)
        print(f"{f'{one}, {other}':<16} {min(gaps):14.4f} {max(volumes):14.6f}")


if __name__ == "__main__":
    main()
