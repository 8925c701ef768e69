"""Seeded random pairs of jobs, the second within the first: fewer boots, fewer widths of skis."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

from jiggen.design import Bed, Settings, SkiRange
from jiggen.job import Job
from jiggen.pattern import read_pattern, shipped_patterns
from jiggen.pattern.model import Pattern

BEDS = (180.0, 200.0, 220.0, 256.0, 300.0)
BOOTS, SKIS = (258, 345), (58, 140)  # mm, of boots all shipped patterns serve
WIDEST = 45  # mm between the narrowest and the widest ski of a job


@cache
def shipped() -> tuple[Pattern, ...]:
    """The shipped patterns in the order of their names."""
    return tuple(read_pattern(path) for path in sorted(shipped_patterns()))


def nested_pairs(seed: int, count: int) -> Iterator[tuple[Job, Job]]:
    """`count` pairs of jobs, the wider one first; every range of boots has two lengths or more."""
    chance = random.Random(seed)
    for _ in range(count):
        pattern, bed = chance.choice(shipped()), chance.choice(BEDS)
        boots = _range(chance, *BOOTS, least=4, most=60)
        skis = _range(chance, *SKIS, least=2, most=WIDEST)
        settings = Settings(SkiRange(*skis), Bed(bed, bed, 250.0))
        core = chance.choice(("plain", "metal"))
        wide = Job(pattern, boots, settings, core, shift=float(chance.randint(-15, 15)))
        less = _within(chance, skis, least=1)
        narrow = replace(settings, ski=SkiRange(*less))
        yield wide, replace(wide, boots=_within(chance, boots, least=1), settings=narrow)


def _range(
    chance: random.Random, low: int, high: int, *, least: int, most: int
) -> tuple[float, float]:
    """Two whole lengths from `low` to `high`, `least` to `most` apart."""
    start = chance.randint(low, high - least)
    return float(start), float(chance.randint(start + least, min(high, start + most)))


def _within(
    chance: random.Random, whole: tuple[float, float], *, least: int
) -> tuple[float, float]:
    """A range within another."""
    low, high = map(int, whole)
    return _range(chance, low, high, least=least, most=high - low)
