"""Python's garbage collector, set for a program that lives for a minute."""

from __future__ import annotations

import gc

SELDOM = 100_000  # objects made before it looks for rings among them


def collect_seldom() -> None:
    """Let it walk over all that the CAD kernel has loaded now and then, not a thousand times.

    What is in no ring is freed at once all the same.  At Python's own 700 objects it took 1.2 s
    of a build's 16 s (by `gc.callbacks`), at SELDOM 0.5 s, with the same peak of memory.  Not
    for what does job after job: solids are in rings, and those of many jobs would wait in memory.
    """
    gc.set_threshold(SELDOM)
