"""What moves a hole off its place, for the jig and for a printed paper sheet: terms and causes.

Causes are what the terms (`terms`) do at each hole, in the ski frame, mm, and about the mounting
mark: a scale error grows with the distance from the mark in x and from the centre line in y.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from jiggen.accuracy.centring import BETTER, find_centring
from jiggen.accuracy.sections import Array
from jiggen.accuracy.terms import DIVISORS, Centring, Clearance, Distribution, Sized, Terms
from jiggen.design import Design
from jiggen.layout import Layout
from jiggen.tables import deviation, material

SCALE_LENGTH = 100.0  # mm: what the engraved check scale, and a rule on paper, are read over
LEAST_SPAN = 40.0  # mm between the two marks of a centre line (common practice, no source)
ALONG, ACROSS = np.eye(2)

PRINT_SCALE = "Measure the 100.0 mm scale, correct the print by it, and state what is left."
PRINTER = "Print slower, or on a stiffer printer."
ROOM = "Measure and use the print at one temperature, and state the range."
MARK = "Read both windows from straight above in good light."
JOINT = "A larger bed makes the jig in one piece."
DRILL = "A press-fit bush guides the drill closer."


@dataclass(frozen=True)
class Term:
    """One line of a budget as a person reads it: what, how much, how spread, and its source.

    `hint` says what makes it smaller; empty where that is for the user to know.
    """

    name: str
    size: str
    distribution: Distribution
    source: str
    hint: str = ""


@dataclass(frozen=True, eq=False)
class Cause:
    """One independent cause of `term` and its `effect`, (n, 2) float: mm in x and y at each hole.

    The effect is that of the distribution's half-width (3 sigma where it is normal).  ``shared``:
    one draw moves all holes of a mounting; ``each``: every hole has a draw of its own;
    ``round``: every hole is off by effect[:, 0] in a direction of its own, any as likely as
    another, which makes an arcsine of x and of y.
    """

    term: Term
    draw: Literal["shared", "each", "round"]
    effect: Array

    @property
    def deviation(self) -> Array:
        """Standard deviation in mm, with the effect's sign, (n, 2)."""
        return np.asarray(self.effect / DIVISORS[self.term.distribution])


def jig_causes(design: Design, terms: Terms, bound: ArrayLike | None = None) -> Iterator[Cause]:
    """The causes of error of a hole drilled through `design`: see `jig_budget`."""
    at, jig = design.layout.positions, terms.jig
    along = np.tile(ALONG, (len(at), 1))
    yield from _scale(at, jig.print_scale)
    yield from _each("printer repeatability", jig.repeatability, at, PRINTER)
    growth = jig.thermal.expansion  # else as its plastic grows at most
    if growth is None:
        growth = material(design.settings.material).expansion.high * 1e-6
    words = f"{jig.thermal.size} °C, {1e6 * growth:g} µm/m and °C"
    yield from _shared("room temperature", jig.thermal, [at * growth], ROOM, words)
    if design.settings.bush != "none":
        yield from _each("bush in its pocket", jig.bush_seat, at)
    yield from _leaning(design, jig.drill_clearance)
    sideways = find_centring(design).loaded if bound is None else bound
    yield from _centring(design, jig.centring, np.asarray(sideways, dtype=np.float64))
    yield from _shared("reading the mark", jig.mark_reading, [along], MARK)
    if design.joint:
        halves = (along * half for half in (at[:, :1] >= 0, at[:, :1] < 0))
        yield from _shared("joint of the halves", jig.joint, halves, JOINT)
    yield from _each("the hand", jig.hand, at)


def sheet_causes(layout: Layout, terms: Terms) -> Iterator[Cause]:
    """The causes of error of a hole punched through a printed sheet and drilled by hand."""
    at, sheet = layout.positions, terms.sheet
    along, across = (np.tile(axis, (len(at), 1)) for axis in (ALONG, ACROSS))
    beyond = sheet.centre_marks.beyond
    low, high = at[:, 0].min() - beyond, at[:, 0].max() + beyond
    wider = max(0.0, LEAST_SPAN - (high - low)) / 2  # a centre line is not marked at one place
    levers = tuple(_levers(at, (low - wider, high + wider)))
    yield from _scale(at, sheet.print_scale)
    yield from _shared("two centre marks", sheet.centre_marks, levers)
    yield from _shared("pencil line", sheet.pencil, levers)
    yield from _shared("reading the mark", sheet.mark_reading, [along])
    yield from _shared("tape slip", sheet.tape_slip, [along, *levers])
    yield from _shared("fold check", sheet.fold, [across])
    yield from _each("punch", sheet.punch, at)
    yield from _each("drill wander", sheet.drill_wander, at)


def _shared(
    name: str, size: Sized, effects: Iterable[Array], hint: str = "", words: str = ""
) -> Iterator[Cause]:
    """One draw for all holes by each of `effects`, (n, 2), those of 1 mm, or as `words`."""
    term = Term(name, words or f"{size.size} mm", size.distribution, size.source, hint)
    for effect in effects:
        yield Cause(term, "shared", size.reach * effect)


def _scale(at: Array, size: Sized) -> Iterator[Cause]:
    """Print scale along and across the ski: a printer's axes are off independently."""
    effects = (at * axis / SCALE_LENGTH for axis in (ALONG, ACROSS))
    words = f"{size.size} mm on {SCALE_LENGTH:g} mm"
    return _shared("print scale", size, effects, PRINT_SCALE, words)


def _each(name: str, size: Sized, at: Array, hint: str = "") -> Iterator[Cause]:
    """By as much at each hole, whatever the others are off by."""
    term = Term(name, f"{size.size} mm", size.distribution, size.source, hint)
    return _own(term, np.full(len(at), size.reach))


def _own(term: Term, reach: Array) -> Iterator[Cause]:
    """Independently in x and in y at each hole, or on a circle about it where it is an arcsine."""
    if term.distribution == "arcsine":
        yield Cause(term, "round", np.column_stack([reach, reach]))
        return
    for axis in (ALONG, ACROSS):
        yield Cause(term, "each", reach[:, None] * axis)


def _levers(at: Array, ends: tuple[float, float]) -> Iterator[Array]:
    """What 1 mm sideways at one end of a line, then at its other, does at each hole, (n, 2).

    Through the ends a and b the line lies off by e_a·(b-x)/(b-a) + e_b·(x-a)/(b-a) at x; it
    turns by (e_b - e_a)/(b-a), which takes a hole at y back by y times that in x.
    """
    a, b = ends
    x, y = at.T
    yield np.column_stack([y, b - x]) / (b - a)
    yield np.column_stack([-y, x - a]) / (b - a)


def _centring(design: Design, size: Centring, bound: Array) -> Iterator[Cause]:
    """What makes up the sideways `bound` (n,) at each hole: stations and joint, each independent.

    The joint's play has the equations of `design.plan.worst_error` with both stations true: either
    half turns about its own station, by the play over the stations' distance, or by the angle
    times the other station's share of it.  What the joint leaves of the bound is laid to the two
    stations, the nearer one's error more: so holes move together, and each at worst by its bound.
    """
    at, (heel, toe) = design.layout.positions, (station.x for station in design.stations)
    joint: list[Array] = []
    if size.half_width is not None:
        bound = np.full(len(at), size.half_width)
    elif design.joint:
        own, other = (np.where(at[:, 0] >= 0, *pair) for pair in ((toe, heel), (heel, toe)))
        play, arms = design.joint.play, np.column_stack([-at[:, 1], at[:, 0] - own])
        joint += [arms * play.sideways / (heel - toe)]
        joint += [arms * (play.angle * other / (heel - toe))[:, None]]
    stations = list(_levers(at, (heel, toe)))
    of_joint, of_stations = (sum(abs(each[:, 1]) for each in one) for one in (joint, stations))
    left = np.maximum(bound - of_joint, 0.0) / of_stations
    words = f"± {bound.min():.2f} to {bound.max():.2f} mm"
    term = Term("centring", words, size.distribution, size.source, BETTER)
    for effect in (*joint, *(effect * left[:, None] for effect in stations)):
        yield Cause(term, "shared", effect)


def _leaning(design: Design, size: Clearance) -> Iterator[Cause]:
    """The drill leaning in its guide by the greatest clearance, at half the hole's depth.

    At worst it touches one wall at the guide's lower end and the opposite wall at its upper end:
    clearance/2 off at the lower end, and on from there by clearance/length for each mm below.
    """
    reach = []
    for guide, depth in zip(design.guides, design.layout.depths, strict=True):
        if guide.bush:
            widest = deviation(size.bore, guide.drill)[0]
            lower, length = guide.seat_z, guide.bush.length
        else:
            widest = design.settings.guide_clearance
            lower, length = guide.throat_z[0], guide.bore_z[1] - guide.throat_z[0]
        clearance = widest - deviation(size.drill, guide.drill)[1]
        reach.append(clearance / 2 + clearance / length * (lower + float(depth) / 2))
    fit = "printed guide" if design.settings.bush == "none" else f"{size.bore} bush"
    words = f"± {max(reach):.3f} mm, {fit}, {size.drill} drill"
    term = Term("drill in its guide", words, size.distribution, size.source, DRILL)
    return _own(term, np.array(reach))
