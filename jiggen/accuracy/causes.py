"""What moves a hole off its place: for the jig, and for a printed paper sheet.

Both lists are in the ski frame, mm, and about the mounting mark: a scale error grows with the
distance from the mark in x and from the centre line in y.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jiggen.accuracy.centring import find_centring
from jiggen.accuracy.terms import NORMAL_BOUND, Distributed, Distribution, Sized, Terms, Thermal
from jiggen.design import Design
from jiggen.design.guides import Guide
from jiggen.design.plan import JointPlay
from jiggen.layout import Layout
from jiggen.tables import deviation
from jiggen.tables.materials import material

Array = NDArray[np.float64]
Draw = Literal["shared", "each", "round"]

PRINT_SCALE = "Measure the 100.0 mm scale, correct the print by it, and state what is left."
PRINTER = "Print slower, or on a stiffer printer."
ROOM = "Measure and use the print at one temperature, and state the range."
CENTRING = "A stiffer material, a narrower ski range or a larger bed centres better."
MARK = "Read both windows from straight above in good light."
JOINT = "A larger bed makes the jig in one piece."
DRILL = "A press-fit bush guides the drill closer."

SCALE_LENGTH = 100.0  # mm: what the engraved check scale, and a rule on paper, are read over
LEAST_SPAN = 40.0  # mm between the two marks of a centre line (common practice, no source)


# Half-width over standard deviation: uniform and triangular from JCGM 100:2008, 4.3.7 and 4.3.9,
# arcsine from JCGM 101:2008, 6.4.6.  From memory, all three; the tests integrate them.
DIVISORS: dict[Distribution, float] = {
    "uniform": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
    "normal": NORMAL_BOUND,
}


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
    draw: Draw
    effect: Array

    @property
    def deviation(self) -> Array:
        """Standard deviation in mm, with the effect's sign, (n, 2)."""
        return np.asarray(self.effect / DIVISORS[self.term.distribution])


def jig_causes(design: Design, terms: Terms, bound: ArrayLike | None = None) -> tuple[Cause, ...]:
    """The causes of error of a hole drilled through `design`.

    `bound` (n,) is the greatest sideways error of each hole in mm, in the layout's order; None
    takes that of `find_centring`, pressed and locked.
    Raises InputError for a drill that the tables of limits do not list.
    """
    sideways = find_centring(design).loaded if bound is None else bound
    return tuple(_jig_causes(design, terms, np.asarray(sideways, dtype=np.float64)))


def sheet_causes(layout: Layout, terms: Terms) -> tuple[Cause, ...]:
    """The causes of error of a hole punched through a printed sheet and drilled by hand."""
    return tuple(_sheet_causes(layout, terms))


def _jig_causes(design: Design, terms: Terms, bound: Array) -> Iterator[Cause]:
    at, jig = design.layout.positions, terms.jig
    yield from _scale(at, jig.print_scale)
    yield from _each("printer repeatability", jig.repeatability, at, PRINTER)
    yield _thermal(at, jig.thermal, design.settings.material)
    if design.settings.bush != "none":
        yield from _each("bush in its pocket", jig.bush_seat, at)
    yield from _leaning(design, terms)
    yield from _centring(design, terms, bound)
    yield _along("reading the mark", jig.mark_reading, at, MARK)
    if design.joint:
        for half in (at[:, 0] >= 0, at[:, 0] < 0):
            yield _along("joint of the halves", jig.joint, at, JOINT, half)
    yield from _each("the hand", jig.hand, at)


def _sheet_causes(layout: Layout, terms: Terms) -> Iterator[Cause]:
    at, sheet = layout.positions, terms.sheet
    marks = sheet.centre_marks
    ends = at[:, 0].min() - marks.beyond, at[:, 0].max() + marks.beyond
    if ends[1] - ends[0] < LEAST_SPAN:  # a centre line is not marked at one place
        middle = (ends[0] + ends[1]) / 2
        ends = middle - LEAST_SPAN / 2, middle + LEAST_SPAN / 2
    yield from _scale(at, sheet.print_scale)
    yield from _lever("two centre marks", marks, at, ends)
    yield from _lever("pencil line", sheet.pencil, at, ends)
    yield _along("reading the mark", sheet.mark_reading, at)
    yield _along("tape slip", sheet.tape_slip, at)
    yield from _lever("tape slip", sheet.tape_slip, at, ends)
    yield Cause(_sized("fold check", sheet.fold), "shared", _effect(at, y=sheet.fold.reach))
    yield from _each("punch", sheet.punch, at)
    yield from _each("drill wander", sheet.drill_wander, at)


def _scale(at: Array, size: Sized) -> Iterator[Cause]:
    """Print scale along and across the ski: a printer's axes are off independently."""
    term = _term("print scale", size, f"{size.size} mm on {SCALE_LENGTH:g} mm", PRINT_SCALE)
    for axis in np.eye(2):
        yield Cause(term, "shared", at * axis * size.reach / SCALE_LENGTH)


def _thermal(at: Array, warm: Thermal, plastic: str) -> Cause:
    """The print growing with the room: as stated, or as its plastic grows at most."""
    growth = warm.expansion
    if growth is None:
        growth = material(plastic).expansion.high * 1e-6
    size = f"{warm.size} °C, {1e6 * growth:g} µm/m and °C"
    term = _term("room temperature", warm, size, ROOM)
    return Cause(term, "shared", at * growth * warm.reach)


def _each(name: str, size: Sized, at: Array, hint: str = "") -> Iterator[Cause]:
    """By as much at each hole, whatever the others are off by."""
    return _own(_sized(name, size, hint), np.full(len(at), size.reach))


def _own(term: Term, reach: Array) -> Iterator[Cause]:
    """Independently in x and in y at each hole, or on a circle about it where it is an arcsine."""
    if term.distribution == "arcsine":
        yield Cause(term, "round", np.column_stack([reach, reach]))
        return
    for axis in np.eye(2):
        yield Cause(term, "each", reach[:, None] * axis)


def _along(name: str, size: Sized, at: Array, hint: str = "", where: ArrayLike = True) -> Cause:
    """Along the ski, the same at all holes `where` it acts."""
    effect = _effect(at, x=np.where(where, size.reach, 0.0))
    return Cause(_sized(name, size, hint), "shared", effect)


def _lever(name: str, size: Sized, at: Array, ends: tuple[float, float]) -> Iterator[Cause]:
    """A line laid through two points, each off sideways independently."""
    for effect in _lever_effects(at, ends, np.full(len(at), size.reach)):
        yield Cause(_sized(name, size), "shared", effect)


def _lever_effects(at: Array, ends: tuple[float, float], reach: Array) -> Iterator[Array]:
    """Effects (n, 2) of either end off sideways by `reach` (n,), as it bears on each hole.

    Through the ends a and b the line lies off by e_a·(b-x)/(b-a) + e_b·(x-a)/(b-a) at x; it
    turns by (e_b - e_a)/(b-a), which takes a hole at y back by y times that in x.
    """
    a, b = ends
    for weight, turn in (((b - at[:, 0]) / (b - a), -1.0), ((at[:, 0] - a) / (b - a), 1.0)):
        yield np.column_stack([-at[:, 1] * turn * reach / (b - a), weight * reach])


def _centring(design: Design, terms: Terms, bound: Array) -> Iterator[Cause]:
    """What makes up the sideways `bound` (n,) at each hole: stations and joint, each independent.

    What the joint leaves of the bound is laid to the two stations, of which a hole shares the
    nearer one's error more: so holes move together as they do, and the worst case at each is its
    bound whatever that counts in.
    """
    at, size = design.layout.positions, terms.jig.centring
    joint: tuple[Array, ...] = ()
    if size.half_width is not None:
        bound = np.full(len(at), size.half_width)
    elif design.joint:
        joint = tuple(_joint_effects(design, design.joint.play))
    ends = design.stations[0].x, design.stations[-1].x
    stations = tuple(_lever_effects(at, ends, np.ones(len(at))))
    left = np.maximum(bound - _sideways(joint), 0.0) / _sideways(stations)
    term = _term("centring", size, f"± {bound.min():.2f} to {bound.max():.2f} mm", CENTRING)
    for effect in (*joint, *(effect * left[:, None] for effect in stations)):
        yield Cause(term, "shared", effect)


def _sideways(effects: tuple[Array, ...]) -> Array:
    """What the effects come to sideways at worst, (n,)."""
    return np.asarray(sum(np.abs(effect[:, 1]) for effect in effects))


def _joint_effects(design: Design, play: JointPlay) -> Iterator[Array]:
    """Effects (n, 2) of the halves off sideways by `play.sideways`, and at `play.angle`.

    The equations of `design.places.worst_error` with both stations true: either half turns about
    its own station, by the play over the stations' distance, or by the angle times the other
    station's share of it.
    """
    at, (heel, toe) = design.layout.positions, (station.x for station in design.stations)
    own, other = (np.where(at[:, 0] >= 0, *pair) for pair in ((toe, heel), (heel, toe)))
    for turn in (play.sideways, play.angle * other):
        slope = -turn / (toe - heel)
        yield np.column_stack([-at[:, 1] * slope, (at[:, 0] - own) * slope])


def _leaning(design: Design, terms: Terms) -> Iterator[Cause]:
    """The drill leaning in its guide by the greatest clearance, at half the hole's depth."""
    size = terms.jig.drill_clearance
    pairs = zip(design.guides, design.layout.depths, strict=True)
    lean = [_lean(design, guide, float(depth), size.bore, size.drill) for guide, depth in pairs]
    reach = np.array(lean)
    fit = "printed guide" if design.settings.bush == "none" else f"{size.bore} bush"
    words = f"± {reach.max():.3f} mm, {fit}, {size.drill} drill"
    return _own(_term("drill in its guide", size, words, DRILL), reach)


def _lean(design: Design, guide: Guide, depth: float, bore: str, drill: str) -> float:
    """How far in mm the drill's axis may be off at half the hole's depth.

    At worst it touches one wall at the guide's lower end and the opposite wall at its upper end:
    clearance/2 off at the lower end, and on from there by clearance/length for each mm below.
    """
    smallest_drill = deviation(drill, guide.drill)[1]
    if guide.bush:
        clearance = deviation(bore, guide.drill)[0] - smallest_drill
        lower, length = guide.seat_z, guide.bush.length
    else:
        clearance = design.settings.guide_clearance - smallest_drill
        lower = guide.throat_z[0]
        length = guide.bore_z[1] - lower
    return clearance / 2 + clearance / length * (lower + depth / 2)


def _effect(at: Array, x: ArrayLike = 0.0, y: ArrayLike = 0.0) -> Array:
    n = len(at)
    return np.column_stack([np.broadcast_to(x, n), np.broadcast_to(y, n)]).astype(np.float64)


def _sized(name: str, size: Sized, hint: str = "") -> Term:
    return _term(name, size, f"{size.size} mm", hint)


def _term(name: str, stated: Distributed, size: str, hint: str = "") -> Term:
    return Term(name, size, stated.distribution, stated.source, hint)
