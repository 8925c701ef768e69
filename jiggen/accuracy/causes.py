"""What moves a hole off its place, for the jig and for a printed paper sheet: causes.

Causes are what the terms do at each hole, in the ski frame, mm, and about the mounting mark: a
scale error grows with the distance from the mark in x and from the centre line in y.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jiggen.accuracy.centring import BETTER, find_centring
from jiggen.accuracy.sections import Array
from jiggen.accuracy.support import STIFFER, Give, find_give
from jiggen.accuracy.terms import (
    DIVISORS,
    Centring,
    Check,
    Clearance,
    JigTerms,
    PrintTerms,
    Sized,
    Term,
    Terms,
    Thrust,
)
from jiggen.design import Design
from jiggen.design.guides import Guide
from jiggen.layout import Layout
from jiggen.tables import deviation, jobber_drill, material

SCALE_LENGTH = 100.0  # mm: what print scale is stated on
LEAST_SPAN = 40.0  # mm between the two marks of a centre line (common practice, no source)
ALONG, ACROSS = np.eye(2)
REPRINT = 1.0  # % of a length: beyond, the print is not one to correct (common practice, no source)
SHARED_SIDES = math.sqrt(0.5)  # of what a ski's sides do: half of the variance at both stations

TILT = "tilt under the drill's thrust"
CHECK = "Check the print with the caliper before it is used, as the sheet says."
SQUARE = "Measure the finished jig over pins, crosswise too: jiggen printed."
PRINTER = "Print slower, or on a stiffer printer."
ROOM = "Measure and use the print at one temperature, and state the range."
MARK = "Draw the mark fine, and read the line from straight above in good light."
JOINT = "A larger bed makes the jig in one piece."
DRILL = "A press-fit bush guides the drill closer."
POCKETS = "Try the pockets of a gauge with the bush in hand, and build with that printer's profile."


@dataclass(frozen=True)
class Print:
    """What is known of the print that guides the drill; nothing, unless it is said.

    `checked`: its check with the caliper passed.  `scale` (% of length) and `skew` (degrees) are
    standard uncertainties of the printer whose errors it was corrected for, `pockets` says whether
    their allowance was tried on its gauge.
    """

    checked: bool = False
    scale: float | None = None
    skew: float | None = None
    pockets: bool = False


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


@dataclass(frozen=True, eq=False)
class Setting:
    """What is set on the ski by itself: its `holes`, (n,) bool of the layout's, and how.

    It lies on `stations`, x of the rear and the front one.  Its line is read on both sides, which
    is as good as on the centre line: a jig that is turned does not move along the ski.
    """

    holes: NDArray[np.bool_]
    stations: tuple[float, float]


def settings_of(design: Design) -> tuple[Setting, ...]:
    """A jig that is set as a whole."""
    heel, toe = (station.x for station in design.stations)
    return (Setting(np.ones(len(design.layout), dtype=bool), (heel, toe)),)


def jig_causes(
    design: Design,
    terms: Terms,
    bound: ArrayLike | None = None,
    known: Print | None = None,
    alone: Sequence[Setting] | None = None,
    give: Give | None = None,
) -> Iterator[Cause]:
    """The causes of error of a hole drilled through `design`: see `jig_budget`."""
    at, jig, known = design.layout.positions, terms.jig, known or Print()
    alone = settings_of(design) if alone is None else alone
    along = np.tile(ALONG, (len(at), 1))
    yield from _printed(design, terms.print, jig, known)
    yield from _each("printer repeatability", jig.repeatability, at, PRINTER)
    growth = jig.thermal.expansion  # else as its plastic grows at most
    if growth is None:
        growth = material(design.settings.material).expansion.high * 1e-6
    words = f"{jig.thermal.size} °C, {1e6 * growth:g} µm/m and °C"
    yield from _shared("room temperature", jig.thermal, [at * growth], ROOM, words)
    yield from _guided(design, jig, known)
    sideways = find_centring(design).loaded if bound is None else bound
    sideways = np.asarray(sideways, dtype=np.float64)
    yield from _centring(design, alone, jig.centring, sideways)
    yield from _sides(alone, at, jig.side_walls)
    # One mark for all that is laid on it.
    yield from _shared("the mark on the ski", jig.mark, [along], MARK)
    laid = [along * one.holes[:, None] for one in alone]
    yield from _shared("reading the mark", jig.mark_reading, laid, MARK)
    size, height = jig.parallax, design.settings.relief  # of every line's lower end over the ski
    words = f"{size.size}° off plumb, {height:g} mm above the ski"
    term = Term("parallax", words, size.distribution, size.source, MARK)
    slope = math.tan(math.radians(size.reach))
    yield from (Cause(term, "shared", height * slope * one) for one in laid)
    if design.joint:
        halves = (along * half for half in (at[:, :1] >= 0, at[:, :1] < 0))
        yield from _shared("joint of the halves", terms.print.joint_gap, halves, JOINT)
    thrust = terms.depth.thrust
    yield _tilting(design, thrust, give or find_give(design, thrust.usual))
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
    """Print scale along and across the ski, each by itself."""
    effects = (at * axis / SCALE_LENGTH for axis in (ALONG, ACROSS))
    words = f"{size.size} mm on {SCALE_LENGTH:g} mm"
    return _shared("print scale", size, effects, words=words)


def _printed(design: Design, terms: PrintTerms, jig: JigTerms, known: Print) -> Iterator[Cause]:
    """Scale and skew of the print: what its check lets pass, or what is known of the printer.

    Strains stand in the bed's frame, x and y, as they are stated.  Without a notch on every body
    there is nothing to check.
    """
    if known.checked and all(body.notch for body in design.bodies):
        yield from _checked(design, jig)
        return
    x, y = (np.diag(axis) for axis in (ALONG, ACROSS))
    sheared = np.array([[0.0, math.radians(1.0)], [0.0, 0.0]])
    scale, axes, skew = terms.scale, terms.axes, terms.skew
    stated = [("printer scale", scale, (x + y) / 100), ("one axis to the other", axes, y / 100)]
    if known.scale is not None:  # of either axis by itself
        scale = _of_profile(known.scale)
        stated = [("printer scale", scale, one / 100) for one in (x, y)]
    if known.skew is not None:
        skew = _of_profile(known.skew)
    stated.append(("printer skew", skew, sheared))
    whole = [np.ones(len(design.layout), dtype=bool)]
    for name, size, strain in stated:
        yield from _strained(design, name, size, strain, whole)
    for name, size, strain in (
        ("scale, print to print", terms.next_scale, (x + y) / 100),
        ("skew, print to print", terms.next_skew, sheared),
    ):
        yield from _strained(design, name, size, strain, _bodies(design))


def _bodies(design: Design) -> list[NDArray[np.bool_]]:
    """By body, which holes it drills, (n,)."""
    return [np.isin(design.layout.ids, [g.id for g in one.guides]) for one in design.bodies]


def print_limits(length: float, check: Check) -> tuple[float, float]:
    """By how many mm a `length` of a print may be off to be used, and to be scaled and made again.

    What is off by more than REPRINT has another cause than a plastic that shrinks.
    """
    return max(check.reach * length / SCALE_LENGTH, check.least), REPRINT * length / 100


def _checked(design: Design, jig: JigTerms) -> Iterator[Cause]:
    """What the check of each body lets pass, by caliper and try square, and the caliper's error."""
    at, check = design.layout.positions, jig.print_scale
    passed, read, turned = np.zeros_like(at), np.zeros_like(at), np.zeros_like(at)
    for body, mine in zip(design.bodies, _bodies(design), strict=True):
        if body.notch:
            lengths = np.array([one.nominal for one in body.notch.lengths])
            limits = np.array([print_limits(length, check)[0] for length in lengths])
            passed[mine], read[mine] = at[mine] * limits / lengths, at[mine] / lengths
            turned[mine, 0] = at[mine, 1] / body.notch.end_width
    words = f"± {check.reach:g} mm on {SCALE_LENGTH:g} mm, ± {check.least:g} mm at least"
    term = Term("print scale", words, check.distribution, check.source, CHECK)
    for part, axis in product(_bodies(design), (ALONG, ACROSS)):
        # Each body's by itself: prints of one printer differ by as much as the check lets pass.
        yield Cause(term, "shared", passed * axis * part[:, None])
    yield from _shared("caliper on the print", jig.caliper, [read * ALONG, read * ACROSS], CHECK)
    words = f"{jig.square.size} mm over a body's end"
    yield from _shared("skew of the print", jig.square, [turned], SQUARE, words)


def _of_profile(sigma: float) -> Sized:
    return Sized(distribution="normal", sigma=sigma, source="the printer's profile")


def _strained(
    design: Design, name: str, size: Sized, strain: Array, parts: Iterable[ArrayLike]
) -> Iterator[Cause]:
    """What `strain` (2, 2), of 1 unit of `size`, does to each of `parts` (n,) by itself.

    Along the ski the line on the mark holds, and both stations on the ski's centre line, so what
    the strain turns goes into the shear.
    """
    at = design.layout.positions
    effect = np.zeros_like(at)
    for body, mine in zip(design.bodies, _bodies(design), strict=True):
        c, s = math.cos(math.radians(body.turn)), math.sin(math.radians(body.turn))
        to_bed = np.array([[c, s], [s, -c]])  # it is printed top down: its own inverse
        own = to_bed @ strain @ to_bed
        effect[mine] = at[mine] * own.diagonal()
        effect[mine, 0] += at[mine, 1] * (own[0, 1] + own[1, 0])
    words = f"{size.size}°" if "skew" in name else f"{size.size} mm on {SCALE_LENGTH:g} mm"
    effects = (effect * np.asarray(part)[:, None] for part in parts)
    yield from _shared(name, size, effects, CHECK, words)


def _sides(alone: Iterable[Setting], at: Array, size: Sized) -> Iterator[Cause]:
    """The ski's centre line between its sides is off: at all stations alike, and at each."""
    across = np.tile(ACROSS, (len(at), 1))
    each = (one for setting in alone for one in _swings(setting, at))
    return _shared("the ski's side walls", size, (SHARED_SIDES * one for one in (across, *each)))


def _tilting(design: Design, thrust: Thrust, give: Give) -> Cause:
    """The jig's lean under the usual thrust, carried from half the body to half a hole's depth."""
    effect = give.lean * (design.settings.body + design.layout.depths)[:, None] / 2
    words = f"up to {give.tilt.max():.2f}° under {thrust.usual:g} N"
    return Cause(Term(TILT, words, "uniform", thrust.source, STIFFER), "each", effect)


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


def _swings(setting: Setting, at: Array) -> Iterator[Array]:
    """What 1 mm sideways at either of its stations does at the holes of `setting`, (n, 2)."""
    return (setting.holes[:, None] * one for one in _levers(at, setting.stations))


def _centring(
    design: Design, alone: Iterable[Setting], size: Centring, bound: Array
) -> Iterator[Cause]:
    """What makes up the sideways `bound` (n,) at each hole: stations and joint, each independent.

    The joint's play has the equations of `design.plan.worst_error` with both stations true: either
    half turns about its own station, by the play over the stations' distance, or by the angle
    times the other station's share of it.  What the joint leaves of the bound is laid to the two
    stations, the nearer one's error more: so holes move together, and each at worst by its bound.
    """
    at, joint = design.layout.positions, list[Array]()
    if size.half_width is not None:
        bound = np.full(len(at), size.half_width)
    elif design.joint:
        heel, toe = (station.x for station in design.stations)
        own, other = (np.where(at[:, 0] >= 0, *pair) for pair in ((toe, heel), (heel, toe)))
        play, arms = design.joint.play, np.column_stack([-at[:, 1], at[:, 0] - own])
        joint += [arms * play.sideways / (heel - toe)]
        joint += [arms * (play.angle * other / (heel - toe))[:, None]]
    stations = [effect for one in alone for effect in _swings(one, at)]
    of_joint, of_stations = (sum(abs(each[:, 1]) for each in one) for one in (joint, stations))
    left = np.maximum(bound - of_joint, 0.0) / of_stations
    words = f"± {bound.min():.2f} to {bound.max():.2f} mm"
    term = Term("centring", words, size.distribution, size.source, BETTER)
    for effect in (*joint, *(effect * left[:, None] for effect in stations)):
        yield Cause(term, "shared", effect)


def _guided(design: Design, jig: JigTerms, known: Print) -> Iterator[Cause]:
    """What bush or printed guide, and the drill in it, do at half of each hole's depth."""
    at, guides = design.layout.positions, design.guides
    half = [float(depth) / 2 for depth in design.layout.depths]
    if design.settings.bush == "none":
        yield from _each("wear of the guide", jig.guide_wear, at, DRILL)
    else:
        seat, hint = (jig.bush_seat_tried, "") if known.pockets else (jig.bush_seat, POCKETS)
        yield from _each("bush in its pocket", seat, at, hint)
    over = [guide.bush_top_z + below for guide, below in zip(guides, half, strict=True)]
    lean = math.tan(math.radians(jig.lean.reach)) * np.array(over)
    words = f"{jig.lean.size}°, ± {lean.max():.3f} mm"
    term = Term("lean of the pocket", words, jig.lean.distribution, jig.lean.source)
    yield from _own(term, lean)
    yield from _leaning(design, jig.drill_clearance)
    size, reach = jig.run_out, []
    for guide, below in zip(guides, half, strict=True):
        length = jobber_drill(guide.drill).overall
        whole = size.fixed + size.by_length * length / guide.drill
        # The guide holds the drill: the rest of its run-out is the slope from there on.
        reach.append(whole * (_lower(guide) + below) / length)
    words = f"± {max(reach):.3f} mm"
    yield from _own(Term("drill run-out", words, size.distribution, size.source), np.array(reach))


def _lower(guide: Guide) -> float:
    """The height above the ski down to which a guide holds the drill, mm."""
    return guide.seat_z if guide.bush else guide.throat_z[0]


def _leaning(design: Design, size: Clearance) -> Iterator[Cause]:
    """The drill leaning in its guide by the greatest clearance, at half the hole's depth.

    At worst it touches one wall at the guide's lower end and the opposite wall at its upper end:
    clearance/2 off at the lower end, and on from there by clearance/length for each mm below.
    """
    reach = []
    for guide, depth in zip(design.guides, design.layout.depths, strict=True):
        if guide.bush:
            widest = deviation(size.bore, guide.drill)[0]
            length = guide.bush.length
        else:
            widest = design.settings.guide_clearance
            length = guide.bore_z[1] - guide.throat_z[0]
        clearance = widest - deviation(size.drill, guide.drill)[1]
        reach.append(clearance / 2 + clearance / length * (_lower(guide) + float(depth) / 2))
    fit = "printed guide" if design.settings.bush == "none" else f"{size.bore} bush"
    words = f"± {max(reach):.3f} mm, {fit}, {size.drill} drill"
    term = Term("drill in its guide", words, size.distribution, size.source, DRILL)
    return _own(term, np.array(reach))
