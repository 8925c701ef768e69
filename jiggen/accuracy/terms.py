"""The terms of the error budget: values read from TOML, our defaults and a file's changes.

The defaults are those of `jiggen.tables`, the one table of how far a cause may be off.
"""

import math
import os
from dataclasses import dataclass
from functools import cache, partial
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, model_validator

from jiggen.files import Toml
from jiggen.inputs.document import FileKind, read_document
from jiggen.inputs.faults import MM, quoted
from jiggen.inputs.shape import Number, Shape, fault, key, validate
from jiggen.tables import error_terms, limit_deviations

Distribution = Literal["uniform", "triangular", "normal", "arcsine"]

NORMAL_BOUND = 3.0  # sigmas: a normal term has no end, and is counted so far in the worst case
# Beyond these a slip of the decimal point is likelier (common practice, no source).
LARGEST = 50.0  # mm or °C
STRONGEST = 500.0  # N
EXPANSION = 1e-3  # mm per mm and °C
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
Force = Annotated[Number, AfterValidator(partial(_check_size, most=STRONGEST))]
Growth = Annotated[Number, AfterValidator(partial(_check_size, most=EXPANSION))]
HoleClass = Annotated[str, AfterValidator(partial(_check_class, what="hole"))]
ShaftClass = Annotated[str, AfterValidator(partial(_check_class, what="shaft"))]
_FORCE_HELP = f"a number from 0 to {STRONGEST:g}, in N"
_SIZE_HELP = f"a number from 0 to {LARGEST:g}"


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


class Check(Sized):
    """Half-width in mm on 100 mm that a check with the caliper lets pass, at `least` so much."""

    least: Size = key(_SIZE_HELP, 0.0)


class RunOut(Distributed):
    """How far a drill's tip runs out in mm: `fixed`, and `by_length` for each L/d."""

    fixed: Size = key(_SIZE_HELP, 0.0)
    by_length: Size = key(_SIZE_HELP, 0.0)


class Thrust(Distributed):
    """How hard the depth stop is pressed on a guide, N: as is usual, and at most."""

    usual: Force = key(_FORCE_HELP)
    most: Force = key(_FORCE_HELP)


class OneSided(Distributed):
    """Half-widths in mm towards a `deeper` hole and a `shallower` one."""

    deeper: Size = key(_SIZE_HELP, 0.0)
    shallower: Size = key(_SIZE_HELP, 0.0)


class Marks(Sized):
    """Half-width at each of two hand marks, `beyond` the outermost holes by so many mm."""

    beyond: Size = key(_SIZE_HELP, 0.0)


def _table(of: type[Shape]) -> Any:
    return key(f"a table of {', '.join(of.keys())}")


class PrintTerms(Shape):
    """``[print]``: what a print may be off by before it is measured: % of length, degrees, mm."""

    scale: Sized = _table(Sized)
    axes: Sized = _table(Sized)
    skew: Sized = _table(Sized)
    next_scale: Sized = _table(Sized)
    next_skew: Sized = _table(Sized)
    joint_gap: Sized = _table(Sized)
    joint_offset: Sized = _table(Sized)
    joint_bend: Sized = _table(Sized)


class JigTerms(Shape):
    """``[jig]``: what moves a hole drilled through the jig."""

    print_scale: Check = _table(Check)
    caliper: Sized = _table(Sized)
    square: Sized = _table(Sized)
    repeatability: Sized = _table(Sized)
    thermal: Thermal = _table(Thermal)
    bush_seat: Sized = _table(Sized)
    bush_seat_tried: Sized = _table(Sized)
    lean: Sized = _table(Sized)
    drill_clearance: Clearance = _table(Clearance)
    run_out: RunOut = _table(RunOut)
    guide_wear: Sized = _table(Sized)
    centring: Centring = _table(Centring)
    side_walls: Sized = _table(Sized)
    mark: Sized = _table(Sized)
    mark_reading: Sized = _table(Sized)
    parallax: Sized = _table(Sized)
    hand: Sized = _table(Sized)


class DepthTerms(Shape):
    """``[depth]``: what makes a hole drilled through the jig deeper or shallower than asked."""

    thrust: Thrust = _table(Thrust)
    ski_bend: Sized = _table(Sized)
    crown: Sized = _table(Sized)
    depth_stop: Sized = _table(Sized)
    point: Sized = _table(Sized)
    bush: OneSided = _table(OneSided)


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
    """Every term of the budgets, and of a print."""

    print: PrintTerms = key("tables headed [print.…]")
    jig: JigTerms = key("tables headed [jig.…]")
    depth: DepthTerms = key("tables headed [depth.…]")
    sheet: SheetTerms = key("tables headed [sheet.…]")


@cache
def default_terms() -> Terms:
    """Our own terms, of the table that all of jiggen takes them from."""
    return Terms.model_validate(error_terms(), context=MM)


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
