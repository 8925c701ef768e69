"""What of a finished jig is worth measuring, and the file in which it is written down."""

import math
from collections.abc import Collection, Sequence
from itertools import combinations

import numpy as np

from jiggen.measure.printer.jig import CALIPER_SPARE, USUAL_CALIPER, PrintedJig
from jiggen.measure.printer.printed import Pair, fit_printed, usual_limit
from jiggen.measure.printer.read import PINS, PinDistance, PinReadings

MOST = 20  # readings that a person takes in a quarter of an hour (common practice, no source)
LEAST = 8  # readings of which a single gross error can be identified (our choice)
_ENOUGH = 0.4  # of the limit: what a hole is known to may take so much of it


def worth_measuring(
    jig: PrintedJig, limit: float | None = None, reach: float = math.inf
) -> tuple[Pair, ...]:
    """Pairs of holes: longest along, widest across, both diagonals, then what adds most.

    Of the whole jig and of each body, but never from one loose half to another, nor over more than
    a caliper of `reach` mm opens; up to 20, until they identify a gross error and every hole would
    be known well within `limit` in mm.
    """
    limit = usual_limit(jig) if limit is None else limit
    groups = [*(one.holes for one in jig.rigid), *(body.holes for body in jig.bodies)]
    within = jig.within(reach)
    chosen = list(
        dict.fromkeys(pair for group in groups for pair in _outermost(jig, group, within))
    )
    times = len(jig.rigid)  # a half has few pairs, and its holes lie far from its line
    while len(chosen) < min(MOST, times * len(within)):
        # how well each hole would be known, were these the readings of a true print
        lengths = [float(np.hypot(*jig.apart(pair))) for pair in chosen]
        read = tuple(
            PinDistance.model_construct(between=pair, edges="centre", value=length)
            for pair, length in zip(chosen, lengths, strict=True)
        )
        found = fit_printed(jig, PinReadings(read), limit)
        if len(chosen) >= LEAST and all(one.known <= _ENOUGH * limit for one in found.expected):
            break
        chosen.append(found.next_pair)
    return tuple(chosen)


def _outermost(jig: PrintedJig, holes: Sequence[str], within: Collection[Pair]) -> list[Pair]:
    """Of pairs `within` reach: longest along, widest across, longest diagonal either way."""
    pairs = [pair for pair in combinations(holes, 2) if pair in within]
    if not pairs:
        return []
    x, y = np.array([jig.apart(pair) for pair in pairs]).T
    wanted = (abs(x) - 2 * abs(y), abs(y) - 2 * abs(x), x * y, -x * y)
    return [pairs[int(worth.argmax())] for worth in wanted if worth.max(initial=0.0) > 0]


def blank_text(jig: PrintedJig, limit: float | None = None, reach: float = math.inf) -> str:
    """A file of measurements for `jig`, its values to be filled in; see `worth_measuring`.

    What the usual caliper does not reach stands at the end.
    """
    drills = dict(zip(jig.holes, jig.drills, strict=True))
    usual = max(set(jig.drills), key=lambda drill: (jig.drills.count(drill), drill))
    name = "".join(c if c.isprintable() else "?" for c in jig.name)
    loose = "# Measure each half by itself: how far apart they lie is set on the ski, by its mark."
    lines = [
        f"# The finished jig {name}, measured with a caliper over pins in its bushes.",
        "# Stand straight pins or drill shanks without play in the bushes, measure over their",
        '# outsides close above the jig, and write what the caliper shows in place of "".',
        "# Leave out what the caliper does not reach. Measure at room temperature.",
        *([loose] if len(jig.rigid) > 1 else []),
        "",
        "measurements = 1",
        'units = "mm"                    # what the caliper shows: "mm" or "in"',
        f"caliper = {PINS:g}                  # standard uncertainty (1 σ) of one reading, with",
        "                                # the pins' play; inches where the caliper shows them",
        f"over = {usual:g}                      # the pins' diameter, measured",
    ]
    listed = worth_measuring(jig, limit, reach)
    long = [pair for pair in listed if jig.over_pins(pair) > USUAL_CALIPER - CALIPER_SPARE]
    short = [pair for pair in listed if pair not in long]
    for row, pair in enumerate([*short, *long]):
        one, other = (drills[hole] for hole in pair)
        if row == len(short):
            lines += [
                "",
                f"# From here on for a caliper that opens more than {USUAL_CALIPER:g} mm.",
            ]
        again = (
            ["# Once more, after re-inserting the pins."] if pair in [*short, *long][:row] else []
        )
        lines += [
            "",
            *again,
            "[[distance]]",
            f'between = ["{pair[0]}", "{pair[1]}"]',
            f'edges = "outside"               # {jig.over_pins(pair):.2f} if the jig were true',
            *([] if one == other == usual else [f"over = [{one:g}, {other:g}]"]),
            'value = ""',
        ]
    for length in jig.lengths:
        if length.nominal > reach - CALIPER_SPARE:
            continue
        lines += [
            "",
            "[[length]]                      # of the body itself, outside jaws at half its height",
            f"# {length.words}: {length.nominal:.2f} if the jig were true",
            f'of = "{length.body}"',
            f'direction = "{length.direction}"',
            'value = ""',
        ]
    return "\n".join(lines) + "\n"
