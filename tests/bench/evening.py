"""An evening in numbers: pairs, jigs beside the fewest possible, changes, and what it took.

    python tests/bench/evening.py [JOBS] [--build DIR] [--workers 2]

Prints; asserts nothing.  Without --build only the plan is made.  One jig a boot and width is what
a workshop would build without a plan: the number of different jigs that pairs ask for one by one.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

DEMO = Path(__file__).parent.parent / "data" / "evening.csv"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("jobs", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--build", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    said = parser.parse_args()

    from jiggen.design import Settings, SkiRange
    from jiggen.drilling import DrillingLimits
    from jiggen.evening import plan_evening
    from jiggen.evening.check import Terms
    from jiggen.evening.families import ski_needed
    from jiggen.evening.order import count_changes
    from jiggen.evening.read import read_jobs
    from jiggen.remount.shifts import RemountLimits

    terms = Terms(Settings(SkiRange(80, 100)), DrillingLimits(), RemountLimits())
    start, busy = time.perf_counter(), time.process_time()
    plan = plan_evening(read_jobs(said.jobs), terms)
    took, worked = time.perf_counter() - start, time.process_time() - busy
    each = {
        (pair.row.pattern, pair.row.boot, pair.row.core, pair.row.shift, ski_needed(pair.row), one)
        for pair in plan.pairs
        for one in (drilled.skis for drilled in pair.drilled)
    }
    # As they come: jigs in the file's order, halves and settings in the pattern's order.
    jigs = sorted(plan.jigs, key=lambda jig: jig.tasks[0].pair.number)
    plain = [[settings_of(jig) for task in jig.tasks for _ in task.skis] for jig in jigs]
    print(f"{'pairs':<40}{len(plan.pairs):8}")
    print(f"{'skis to clamp':<40}{plan.skis:8}")
    print(f"{'clampings, halves by themselves':<40}{plan.clampings:8}")
    print(f"{'jigs, one for each that differs':<40}{len(each):8}")
    print(f"{'jigs planned':<40}{len(plan.jigs):8}")
    print(f"{'lower bound':<40}{plan.bound:8}")
    print(f"{'changes of drill, of stop':<40}{plan.changes.drills:8}{plan.changes.stops:8}")
    _, drills, stops = count_changes(plain)
    print(f"{'the same as the rows come':<40}{drills:8}{stops:8}")
    print(f"{'verified the fewest changes':<40}{plan.exact!s:>8}")
    print(f"{'planning':<40}{took:8.1f} s, {worked:.1f} s of processor")
    if said.build:
        from jiggen.executors import OwnProcesses
        from jiggen.pipeline.evening import build_evening, load_kernel

        start = time.perf_counter()
        with OwnProcesses(said.workers, load_kernel) as executor:
            outcomes = build_evening(plan, said.build, executor=executor)
        took = time.perf_counter() - start
        states = [outcome.state for outcome in outcomes]
        for state in ("built", "found", "failed"):
            print(f"{state:<40}{states.count(state):8}")
        print(f"{f'building, {said.workers} at a time':<40}{took:8.1f} s")


def settings_of(jig):
    """The clampings of one ski as a pattern's file has them."""
    from jiggen.evening import setting_of
    from jiggen.evening.order import Clamping

    layout = jig.job.lay_out()
    stops = sorted(jig.stops, key=lambda stop: layout.ids.index(stop.holes[0]))
    shares = [half.drills(layout) for half in jig.halves] or [set(layout.ids)]
    return [
        Clamping(n, tuple(setting_of(stop) for stop in stops if share & set(stop.holes)))
        for n, share in enumerate(shares)
    ]


if __name__ == "__main__":
    main()
