"""What moves a hole off its place, for the jig and for a printed paper sheet: terms and causes.

Terms are values read from TOML: our defaults, and a file's changes.  Causes are what they do at
each hole, in the ski frame, mm, and about the mounting mark: a scale error grows with the distance
from the mark in x and from the centre line in y.
"""

import math
import os
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files
from typing import Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import ArrayLike
from pydantic import AfterValidator, model_validator

from jiggen.accuracy.centring import BETTER, find_centring
from jiggen.accuracy.sections import Array
from jiggen.design import Design
from jiggen.files import Toml
from jiggen.inputs.document import FileKind, read_document
from jiggen.inputs.faults import MM, quoted
from jiggen.inputs.shape import Number, Shape, fault, key, validate
from jiggen.layout import Layout
from jiggen.tables import deviation, limit_deviations, material

Distribution = Literal["uniform", "triangular", "normal", "arcsine"]

NORMAL_BOUND = 3.0  # sigmas: a normal term has no end, and is counted so far in the worst case
# Beyond these a slip of the decimal point is likelier (common practice, no source).
LARGEST = 50.0  # mm or °C
EXPANSION = 1e-3  # mm per mm and °C
SCALE_LENGTH = 100.0  # mm: what the engraved check scale, and a rule on paper, are read over
LEAST_SPAN = 40.0  # mm between the two marks of a centre line (common practice, no source)
ALONG, ACROSS = np.eye(2)

PRINT_SCALE = "Measure the 100.0 mm scale, correct the print by it, and state what is left."
PRINTER = "Print slower, or on a stiffer printer."
ROOM = "Measure and use the print at one temperature, and state the range."
MARK = "Read both windows from straight above in good light."
JOINT = "A larger bed makes the jig in one piece."
DRILL = "A press-fit bush guides the drill closer."

# Half-width over standard deviation: uniform and triangular from JCGM 100:2008, 4.3.7 and 4.3.9,
# arcsine from JCGM 101:2008, 6.4.6.  From memory, all three; the tests integrate them.
DIVISORS: dict[Distribution, float] = {
    "uniform": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
    "normal": NORMAL_BOUND,
}


def _check_size(value: float, most: float) -> float:
    if 0 <= value <= most:
        return value
    raise fault("size", f"{value:g} is not a valid size")


def _check_class(symbol: str, what: str) -> str:
    """A tolerance class: capitals are holes and small letters shafts (ISO 286)."""
    listed = dict.fromkeys(row.symbol for row in limit_deviations())
    known = [one for one in listed if one[0].isupper() == (what == "hole")]
    if symbol in known:
        return symbol
    message = f"{quoted(symbol)} is not a valid tolerance class of a {what}"
    raise fault("value", message, f"Allowed: {', '.join(known)}.")


Size = Annotated[Number, AfterValidator(partial(_check_size, most=LARGEST))]
Growth = Annotated[Number, AfterValidator(partial(_check_size, most=EXPANSION))]
HoleClass = Annotated[str, AfterValidator(partial(_check_class, what="hole"))]
ShaftClass = Annotated[str, AfterValidator(partial(_check_class, what="shaft"))]
_SIZE_HELP = f"a number from 0 to {LARGEST:g}"


class Distributed(Shape):
    """What every term has: how its values are distributed, and the source."""

    distribution: Distribution = key('"uniform", "triangular", "normal" or "arcsine"', "uniform")
    source: str = key("any text: where the value is from", "")


class Sized(Distributed):
    """A term with a size: `half_width`, or `sigma` where it is normal; mm, or as its key says."""

    half_width: Size | None = key(_SIZE_HELP, None)
    sigma: Size | None = key(_SIZE_HELP, None)

    @model_validator(mode="after")
    def _has_its_size(self) -> Self:
        wanted, other = "half_width", "sigma"
        if self.distribution == "normal":
            wanted, other = other, wanted
        if getattr(self, wanted) is None or getattr(self, other) is not None:
            message = f'distribution "{self.distribution}" takes {wanted}, and no {other}'
            hint = f'Write {wanted} = …, or another distribution; "normal" takes sigma.'
            raise fault("value", message, hint)
        return self

    @property
    def reach(self) -> float:
        """The greatest value counted: the half-width, or 3 sigma of a normal term."""
        return self.half_width or NORMAL_BOUND * (self.sigma or 0.0)

    @property
    def size(self) -> str:
        """The size in words, without a unit."""
        return f"sigma {self.sigma:g}" if self.sigma is not None else f"± {self.half_width or 0:g}"


class Thermal(Sized):
    """Half-width in °C, and the `expansion` in mm per mm and °C instead of the material's."""

    expansion: Growth | None = key(f"a number from 0 to {EXPANSION:g}, in mm per mm and °C", None)


class Clearance(Distributed):
    """Tolerance classes (ISO 286) of the bush's bore and of the drill."""

    bore: HoleClass = key("a tolerance class of ISO 286 for holes", "F7")
    drill: ShaftClass = key("a tolerance class of ISO 286 for shafts", "h8")


class Centring(Distributed):
    """Sideways, mm: `half_width` at every hole instead of the bound that the design gives."""

    half_width: Size | None = key(_SIZE_HELP, None)


class Marks(Sized):
    """Half-width at each of two hand marks, `beyond` the outermost holes by so many mm."""

    beyond: Size = key(_SIZE_HELP, 0.0)


def _table(of: type[Shape]) -> Any:
    return key(f"a table of {', '.join(of.keys())}")


class JigTerms(Shape):
    """``[jig]``: what moves a hole drilled through the jig."""

    print_scale: Sized = _table(Sized)
    repeatability: Sized = _table(Sized)
    thermal: Thermal = _table(Thermal)
    bush_seat: Sized = _table(Sized)
    drill_clearance: Clearance = _table(Clearance)
    centring: Centring = _table(Centring)
    mark_reading: Sized = _table(Sized)
    joint: Sized = _table(Sized)
    hand: Sized = _table(Sized)


class SheetTerms(Shape):
    """``[sheet]``: what moves a hole punched through a printed paper sheet."""

    print_scale: Sized = _table(Sized)
    centre_marks: Marks = _table(Marks)
    pencil: Sized = _table(Sized)
    mark_reading: Sized = _table(Sized)
    tape_slip: Sized = _table(Sized)
    fold: Sized = _table(Sized)
    punch: Sized = _table(Sized)
    drill_wander: Sized = _table(Sized)


class Terms(Shape):
    """Every term of both budgets."""

    jig: JigTerms = key("tables headed [jig.…]")
    sheet: SheetTerms = key("tables headed [sheet.…]")


@cache
def default_terms() -> Terms:
    """The terms of the shipped ``terms.toml``."""
    text = files(__package__ or "").joinpath("terms.toml").read_text(encoding="utf-8")
    return Terms.model_validate(tomllib.loads(text), context=MM)


def read_terms(path: str | os.PathLike[str] | None) -> Terms:
    """Our terms with what the TOML file at `path` changes; None changes nothing.

    A value changed without a ``source`` of its own has the file as its source.
    Raises InputError with every fault at once, each with file, line and key:
    ``accuracy.missing``, ``.folder``, ``.unreadable``, ``.too-big``, ``.not-utf8``,
    ``.syntax``, ``.unknown-key``, ``.type``, ``.value``, ``.not-finite``, ``.size``.
    """
    if path is None:
        return default_terms()
    document = read_document(path, FileKind("accuracy", "A file of terms"))
    ours = default_terms().model_dump(exclude_unset=True)
    merged = _merged(ours, document.data, f"stated in {document.file}")
    return validate(Terms, document, merged)


def _merged(ours: Toml, theirs: Toml, source: str) -> Toml:
    """`ours` changed by `theirs`, table by table; what they change has a new source."""
    merged = dict(ours)
    for name, value in theirs.items():
        if isinstance(value, dict) and isinstance(ours.get(name), dict):
            value = _merged(ours[name], value, source)
        merged[name] = value
    if "source" in ours and theirs.keys() - {"source"} and "source" not in theirs:
        merged["source"] = source
    # Where the file gives the size the other way, ours goes; `Sized` checks what fits.
    for given, other in (("half_width", "sigma"), ("sigma", "half_width")):
        if given in theirs and other not in theirs:
            merged.pop(other, None)
    return merged


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
