"""Which distances of a finished jig are worth measuring, and a file to write them into."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from jiggen.measure.adjustment import Array
from jiggen.measure.printer.jig import PrintedJig
from jiggen.measure.printer.measured import PINS, Distance, PinReadings
from jiggen.measure.printer.printed import LIMIT, PrintedFit, fit_printed

MOST = 20  # readings that a person takes in a quarter of an hour (common practice, no source)
LEAST = 8  # readings of which one that is wrong can be told (our choice)
_ENOUGH = 0.5  # of the limit: what a hole is known to may take so much of it

LOOSE = "# Measure each half by itself: how far apart they lie is set on the ski, by its mark."

Pair = tuple[str, str]


def worth_measuring(jig: PrintedJig, limit: float = LIMIT) -> tuple[Pair, ...]:
    """Pairs of holes: longest along, widest across, both diagonals, then what tells most.

    Of the whole jig and of each body, but never from one loose half to another; then more until
    there are enough to tell a misread one and every hole would be known well within `limit` in
    mm, up to 20.  Of loose halves pairs may be there twice.
    """
    groups: list[Sequence[str]] = [one.holes for one in jig.rigid]
    if jig.joined:
        groups += [body.holes for body in jig.bodies]
    asked = dict(zip(jig.holes, jig.asked, strict=True))
    chosen = list(dict.fromkeys(pair for group in groups for pair in _outermost(group, asked)))
    times = 2 if jig.loose else 1  # a half has few pairs, and its holes lie far from its line
    while len(chosen) < min(MOST, times * len(jig.pairs)):
        found = _as_asked(jig, chosen, limit)
        known = all(hole.known <= _ENOUGH * limit for hole in found.expected)
        if known and len(chosen) >= LEAST:
            break
        chosen.append(found.telling)
    return tuple(chosen)


def blank_text(jig: PrintedJig, limit: float = LIMIT) -> str:
    """A file of measurements for `jig`, its values to be filled in."""
    drills = dict(zip(jig.holes, jig.drills, strict=True))
    usual = max(set(jig.drills), key=lambda drill: (jig.drills.count(drill), drill))
    asked = dict(zip(jig.holes, jig.asked, strict=True))
    lines = [
        f"# The finished jig {_plain(jig.name)}, measured with a caliper over pins in its bushes.",
        "# Stand straight pins or drill shanks without play in the bushes, measure over their",
        '# outsides close above the jig, and write what the caliper shows in place of "".',
        "# Leave out what the caliper does not reach. Measure at room temperature.",
        *([LOOSE] if jig.loose else []),
        "",
        "measurements = 1",
        'units = "mm"                    # what the caliper shows: "mm" or "in"',
        f"caliper = {PINS:g}                  # how far off a reading is, two times in three, with",
        "                                # the pins' play; inches where the caliper shows them",
        f"over = {usual:g}                      # the pins' diameter, measured",
    ]
    listed = worth_measuring(jig, limit)
    for row, (one, other) in enumerate(listed):
        over = (drills[one], drills[other])
        true = float(np.hypot(*(asked[one] - asked[other]))) + sum(over) / 2
        lines += [
            "",
            *(["# Once more, the pins stood in anew."] if (one, other) in listed[:row] else []),
            "[[distance]]",
            f'between = ["{one}", "{other}"]',
            f'edges = "outside"               # {true:.2f} if the jig were true',
            *([] if over == (usual, usual) else [f"over = [{over[0]:g}, {over[1]:g}]"]),
            'value = ""',
        ]
    return "\n".join(lines) + "\n"


def _outermost(holes: Sequence[str], asked: dict[str, Array]) -> list[Pair]:
    """The longest pair along, the widest across, and the longest diagonal either way."""
    pairs = list(combinations(holes, 2))
    if not pairs:
        return []
    x, y = np.array([asked[one] - asked[other] for one, other in pairs]).T
    wanted = (abs(x) - 2 * abs(y), abs(y) - 2 * abs(x), x * y, -x * y)
    return [pairs[int(worth.argmax())] for worth in wanted if worth.max(initial=0.0) > 0]


def _as_asked(jig: PrintedJig, pairs: Sequence[Pair], limit: float) -> PrintedFit:
    """The fit that `pairs` would give on a true print: how well each hole would be known."""
    asked = dict(zip(jig.holes, jig.asked, strict=True))
    distances = tuple(
        Distance(one, other, "centre", float(np.hypot(*(asked[one] - asked[other]))))
        for one, other in pairs
    )
    return fit_printed(jig, PinReadings(distances), limit)


def _plain(name: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in name)
