"""How much too deep, or not deep enough, each hole may come out: the depth budget.

Depth stops rest on the guides, so a hole is as much deeper as its guide has come nearer the ski.
Some causes act one way only: each has a reach towards deeper and one towards shallower, beyond
what is usual.  Causes are independent: usual values add, the reaches' deviations about it add as
squares (JCGM 100:2008, 5.1.2, from memory).  Within ONE_SIDED of these lie 95 of 100 on one side.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from jiggen.accuracy.sections import Array
from jiggen.accuracy.support import SAG, STIFFER, find_give
from jiggen.accuracy.terms import DIVISORS, DepthTerms, Sized, Term
from jiggen.design import Design
from jiggen.design.plan import STRIP
from jiggen.record.results import DepthBudget, DepthError, DepthTerm

ONE_SIDED = 1.644854  # sigmas, of a normal distribution: from memory

STOP = "Set the depth stop with a caliper, drill the scrap board and measure it."
PRESS = "Press the bushes home against their seats."


@dataclass(frozen=True, eq=False)
class DepthCause:
    """One cause of `term` at each hole, (n,) mm: what is `usual`, deeper being above zero.

    From there it reaches `deeper` and `shallower` by so much, neither of them below zero.
    """

    term: Term
    usual: Array
    deeper: Array
    shallower: Array


def depth_causes(design: Design, terms: DepthTerms, point_angle: float) -> Iterator[DepthCause]:
    """The causes of a wrong depth at the holes of `design`; `point_angle` is the drill's."""
    thrust, bend = terms.thrust, terms.ski_bend
    usual, most = (find_give(design, force).sag for force in (thrust.usual, thrust.most))
    clamped, *bent = (
        find_give(design, thrust.usual, convex).sag for convex in (0.0, bend.reach, -bend.reach)
    )
    drills = np.array([guide.drill for guide in design.guides])
    across = np.array([guide.y for guide in design.guides])
    shape = np.array(bent) - clamped
    half = design.half_width
    yield from _causes(
        terms,
        point_angle,
        drills,
        sag=(usual, most - usual),
        bend=(shape.max(axis=0).clip(0), (-shape).max(axis=0).clip(0)),
        crown=np.maximum((half - STRIP) ** 2 - across**2, 0.0) / half**2,
    )


def depth_budget(design: Design, terms: DepthTerms, point_angle: float) -> DepthBudget:
    """The depth budget of `design` as plain numbers; mm, to 0.1 µm."""
    causes = tuple(depth_causes(design, terms, point_angle))
    usual = _sum(cause.usual for cause in causes)
    sides = {}
    for side, sign in (("deeper", 1.0), ("shallower", -1.0)):
        deviations = np.array([_deviation(cause, side) for cause in causes])
        reaches = _sum(getattr(cause, side) for cause in causes)
        sides[side] = (
            sign * usual + ONE_SIDED * np.hypot.reduce(deviations, axis=0),
            sign * usual + reaches,
        )
    give = find_give(design, terms.thrust.most)
    rows = zip(usual, *sides["deeper"], *sides["shallower"], strict=True)
    keys = ("usual", "deeper_95", "deeper_worst", "shallower_95", "shallower_worst")
    return DepthBudget(
        thrust=(terms.thrust.usual, terms.thrust.most),
        sag=_mm(give.sag.max()),
        tilt=_mm(give.tilt.max()),
        terms=tuple(
            DepthTerm(
                name=cause.term.name,
                size=cause.term.size,
                distribution=cause.term.distribution,
                source=cause.term.source,
                usual=_mm(cause.usual.max()),
                deeper=_mm(cause.deeper.max()),
                shallower=_mm(cause.shallower.max()),
            )
            for cause in causes
        ),
        holes={
            hole: DepthError(**dict(zip(keys, map(_mm, row), strict=True)))
            for hole, row in zip(design.layout.ids, rows, strict=True)
        },
    )


def join_depths(budgets: Sequence[DepthBudget]) -> DepthBudget:
    """The budgets of several bodies as one; of each term the larger values."""
    every = zip(*(budget.terms for budget in budgets), strict=True)
    values = ("usual", "deeper", "shallower")
    return DepthBudget(
        thrust=budgets[0].thrust,
        sag=max(budget.sag for budget in budgets),
        tilt=max(budget.tilt for budget in budgets),
        terms=tuple(
            same[0].model_copy(update={v: max(getattr(one, v) for one in same) for v in values})
            for same in every
        ),
        holes={hole: error for budget in budgets for hole, error in budget.holes.items()},
    )


def most_too_deep(drill: float, terms: DepthTerms, point_angle: float) -> float:
    """How much too deep (95 %) a hole is at most, through any jig that is not refused; mm.

    For a jig that is not designed yet: it gives way as far as it may, on a flat ski and a bent one.
    """
    share = SAG * terms.thrust.usual / terms.thrust.most
    one, rest = np.array([share]), np.array([SAG - share])
    causes = tuple(
        _causes(
            terms,
            point_angle,
            np.array([drill]),
            sag=(one, rest),
            bend=(rest, rest),
            crown=one / one,
        )
    )
    deviations = [_deviation(cause, "deeper") for cause in causes]
    return float(share + ONE_SIDED * np.hypot.reduce(deviations, axis=0)[0])


def _causes(
    terms: DepthTerms,
    point_angle: float,
    drills: Array,
    sag: tuple[Array, Array],
    bend: tuple[Array, Array],
    crown: Array,
) -> Iterator[DepthCause]:
    """All causes, from what a jig does: `crown` is what 1 mm of it does at each hole."""
    thrust = terms.thrust
    none = np.zeros_like(drills)
    words = f"{thrust.usual:g} N, {thrust.most:g} N at most"
    name, size, way = "the jig gives way under the hand", words, thrust.distribution
    usual, more = sag
    term = Term(name, size, way, thrust.source, STIFFER)
    yield DepthCause(term, usual, more, np.minimum(usual, more))
    yield _sided("ski bent along", terms.ski_bend, " mm over ± 180 mm", *bend)
    reach = terms.crown.reach * crown
    yield _sided("crown of the top sheet", terms.crown, " mm", reach, reach)
    reach = np.full_like(drills, terms.depth_stop.reach)
    yield _sided("setting of the depth stop", terms.depth_stop, " mm", reach, reach, STOP)
    # The point's length r / tan(angle / 2), by a small change of the angle.
    slope = drills / 4 / math.sin(math.radians(point_angle / 2)) ** 2
    reach = slope * math.radians(terms.point.reach)
    yield _sided("grind of the drill's point", terms.point, "°", reach, reach)
    bush = terms.bush
    size = f"{bush.deeper:g} mm low to {bush.shallower:g} mm proud"
    yield DepthCause(
        Term("top of the guide", size, bush.distribution, bush.source, PRESS),
        none,
        none + bush.deeper,
        none + bush.shallower,
    )


def _sided(
    name: str, size: Sized, unit: str, deeper: Array, shallower: Array, hint: str = ""
) -> DepthCause:
    term = Term(name, f"{size.size}{unit}", size.distribution, size.source, hint)
    return DepthCause(term, np.zeros_like(deeper), deeper, shallower)


def _deviation(cause: DepthCause, side: str) -> Array:
    """Towards one side: the root mean square about what is usual, as if it reached both ways."""
    return np.asarray(getattr(cause, side) / DIVISORS[cause.term.distribution])


def _sum(values: Iterator[Array]) -> Array:
    return np.asarray(np.sum(list(values), axis=0))


def _mm(value: float) -> float:
    return round(float(value), 4) + 0.0
