"""Facts of the open standards, as CSV files beside this module, and how far things may be off.

Every row names its source.  Lengths and diameters are mm, angles degrees; the limit deviations
stand in µm, as the standard prints them, and are returned in mm.
"""

import csv
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar, get_type_hints

from jiggen.errors import InputError
from jiggen.files import Toml, parse_toml
from jiggen.units import INCH

Row = TypeVar("Row")

# The default plastic: no closed chamber, little shrinkage (common practice, no source).
USUAL = "PETG"


def cells_of(table: str) -> list[dict[str, str]]:
    """The rows of a CSV file beside this module, by its name without the ending, as text."""
    text = files(__package__ or "").joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def table(file: str, kind: type[Row]) -> Callable[[], tuple[Row, ...]]:
    """A CSV file beside this module, called for its rows: each a `kind`, in the file's order.

    A column is a field of `kind`: text, a number, or numbers with spaces between them.
    """

    @cache
    def rows() -> tuple[Row, ...]:
        hints = get_type_hints(kind).items()
        cells = cells_of(file)
        return tuple(kind(**{key: _READ[of](row[key]) for key, of in hints}) for row in cells)

    return rows


_READ: dict[Any, Any] = {
    str: str,
    float: float,
    tuple[float, ...]: lambda cell: tuple(map(float, cell.split())),
}


@dataclass(frozen=True)
class DrillBush:
    """Headless press-fit drill bushes (DIN 179 / ISO 4247) for drills `over` to `up_to` mm.

    `up_to` is included, `over` is not; `outside` diameter and `lengths` in mm, shortest first.
    The bore is F7, the outside n6.
    """

    over: float
    up_to: float
    outside: float
    lengths: tuple[float, ...]
    source: str


@dataclass(frozen=True)
class JobberDrill:
    """Jobber series twist drills (DIN 338 / ISO 235) over `over` to `up_to` mm, `up_to` included.

    `overall` length and `flute` length in mm, both measured from the tip of the point.
    """

    over: float
    up_to: float
    overall: float
    flute: float
    source: str


@dataclass(frozen=True)
class Nut:
    """Hexagon nut (ISO 4032): greatest and least width across flats, greatest `height`, mm."""

    size: str
    across_flats: float
    least_flats: float
    height: float
    source: str


@dataclass(frozen=True)
class ClearanceHole:
    """Clearance hole diameters (ISO 273) in the three series, mm."""

    size: str
    fine: float
    medium: float
    coarse: float
    source: str


@dataclass(frozen=True)
class SocketScrew:
    """Hexagon socket head cap screw (ISO 4762), mm.

    Thread `diameter`; greatest `head_diameter` (of a plain head: a knurled one is up to 0.3 mm
    wider) and `head_height`; `key` across flats; common `lengths` under the head, shortest first.
    """

    size: str
    diameter: float
    head_diameter: float
    head_height: float
    key: float
    lengths: tuple[float, ...]
    source: str


@dataclass(frozen=True)
class HexagonKey:
    """Bent hexagon socket screw key (ISO 2936): width `across` flats and both arms, mm.

    `short` and `long` are measured over the bend.
    """

    across: float
    short: float
    long: float
    source: str


@dataclass(frozen=True)
class LimitDeviation:
    """One tolerance class (ISO 286-2) in one band of nominal sizes; deviations in µm."""

    symbol: str
    over: float
    up_to: float
    upper_um: float
    lower_um: float
    source: str


@dataclass(frozen=True)
class BasicRack:
    """Basic rack tooth profile of involute gears (ISO 53, profile A).

    `pressure_angle` in degrees; `addendum`, `dedendum` and root `fillet` radius in modules.
    """

    pressure_angle: float
    addendum: float
    dedendum: float
    fillet: float


Banded = TypeVar("Banded", DrillBush, JobberDrill, LimitDeviation)
Sized = TypeVar("Sized", Nut, ClearanceHole, SocketScrew)

drill_bushes = table("drill_bushes", DrillBush)
jobber_drills = table("jobber_drills", JobberDrill)
nuts = table("hexagon_nuts", Nut)
clearance_holes = table("clearance_holes", ClearanceHole)
socket_screws = table("socket_screws", SocketScrew)
hexagon_keys = table("hexagon_keys", HexagonKey)
limit_deviations = table("limit_deviations", LimitDeviation)


def bush_for(drill_diameter: float) -> DrillBush:
    """The row of drill bushes for a drill of `drill_diameter` mm. Raises InputError."""
    message = f"no standard drill bush for a {drill_diameter:g} mm drill"
    hint = "; another one in hand can be stated by its size"
    return _in_band(drill_bushes(), drill_diameter, message, hint)


def jobber_drill(diameter: float) -> JobberDrill:
    """The row of jobber drills for a drill of `diameter` mm. Raises InputError."""
    message = f"no jobber drill of {diameter:g} mm is listed"
    return _in_band(jobber_drills(), diameter, message)


# Twist drills and DIN 179 bushes are sold in tenths and quarters of a mm; from memory.
_STEPS = (0.1, 0.25)
SOLD = 0.03  # mm: a drill is taken for a size that is sold this near; common practice, no source


def sold_drills(diameter: float) -> tuple[float, float]:
    """The sizes that are sold next below and above a drill's `diameter`, mm; equal if it is one."""
    steps = [(step, diameter / step) for step in _STEPS]
    below = max(round(step * math.floor(count + 1e-6), 2) for step, count in steps)
    above = min(round(step * math.ceil(count - 1e-6), 2) for step, count in steps)
    return below, above


def trade_drill(diameter: float) -> float:
    """The size that is sold within SOLD of a drill's `diameter`, mm, or else that diameter."""
    near = min(sold_drills(diameter), key=lambda size: abs(size - diameter))
    return near if abs(near - diameter) <= SOLD + 1e-9 else diameter


def is_sold_screw(length: float) -> bool:
    """Whether screws of a `length` in mm are sold: whole and half mm, or sixteenths of an inch."""
    steps = (0.5, INCH / 16)  # common practice, no source
    return any(abs(length - step * round(length / step)) <= SOLD for step in steps)


def nut(size: str) -> Nut:
    """The hexagon nut of a thread `size` like ``M5``. Raises InputError."""
    return _sized(nuts(), size, "hexagon nut")


def clearance_hole(size: str) -> ClearanceHole:
    """The clearance holes of a thread `size` like ``M5``. Raises InputError."""
    return _sized(clearance_holes(), size, "clearance hole")


def socket_screw(size: str) -> SocketScrew:
    """The socket head cap screw of a thread `size` like ``M5``. Raises InputError."""
    return _sized(socket_screws(), size, "socket screw")


def hexagon_key(across: float) -> HexagonKey:
    """The bent key that is `across` mm wide over its flats. Raises InputError."""
    for row in hexagon_keys():
        if row.across == across:
            return row
    hint = f"Known: {', '.join(f'{row.across:g}' for row in hexagon_keys())}."
    raise InputError.of("tables.unlisted", f"no hexagon key of {across:g} mm is listed", hint=hint)


def deviation(symbol: str, nominal: float) -> tuple[float, float]:
    """Upper and lower limit deviation in mm of a tolerance class at a `nominal` size in mm.

    `symbol` as in ISO 286: capitals for holes (``F7``), small letters for shafts (``n6``).
    Raises InputError for a class or size that is not listed.
    """
    rows = [row for row in limit_deviations() if row.symbol == symbol]
    if not rows:
        known = dict.fromkeys(row.symbol for row in limit_deviations())
        message = f"tolerance class {symbol} is not listed"
        raise InputError.of("tables.unlisted", message, hint=f"Known: {', '.join(known)}.")
    row = _in_band(rows, nominal, f"{symbol} is not listed at {nominal:g} mm")
    return row.upper_um / 1000, row.lower_um / 1000


@cache
def basic_rack() -> BasicRack:
    """The basic rack profile that jiggen's gears are drawn by."""
    return BasicRack(**{row["quantity"]: float(row["value"]) for row in cells_of("basic_rack")})


def _in_band(rows: Sequence[Banded], size: float, message: str, more: str = "") -> Banded:
    for row in rows:
        if row.over < size <= row.up_to:
            return row
    hint = f"Listed over {rows[0].over:g} mm up to {rows[-1].up_to:g} mm{more}."
    raise InputError.of("tables.unlisted", message, hint=hint)


def _sized(rows: Sequence[Sized], size: str, what: str) -> Sized:
    for row in rows:
        if row.size == size:
            return row
    hint = f"Known: {', '.join(row.size for row in rows)}."
    raise InputError.of("tables.unlisted", f"no {what} of size {size} is listed", hint=hint)


# -- plastics, and how hot a parked car gets ------------------------------------------------------


@dataclass(frozen=True)
class Span:
    """From `low` to `high` as published, in `unit`; equal where one value is known."""

    low: float
    high: float
    unit: str
    source: str


@dataclass(frozen=True)
class Material:
    """A plastic to print with, by its short name (ISO 1043-1).

    `density` in g/cm³; `shrinkage`, linear after printing without compensation, in %;
    `expansion` in 1e-6/K; `glass` transition and heat `deflection` under 0.45 MPa (ISO 75) in
    °C; tensile `modulus` in MPa; `swelling`, linear by moisture, in %, None where it is slight.
    """

    name: str
    density: Span
    shrinkage: Span
    expansion: Span
    glass: Span
    deflection: Span
    modulus: Span
    swelling: Span | None = None


@dataclass(frozen=True)
class ParkedCar:
    """How hot it was, in °C, at a place in closed cars parked in the sun."""

    place: str
    temperature: float
    source: str


def material(name: str, key: str = "material") -> Material:
    """The plastic of that short name, in capitals or not. Raises InputError about `key`."""
    for row in materials():
        if row.name == name.strip().upper():
            return row
    message = f'no material "{name[:40]}" is listed'
    hint = f"Known: {', '.join(row.name for row in materials())}; see jiggen materials."
    raise InputError.of("tables.unlisted", message, key=key, hint=hint)


@cache
def materials() -> tuple[Material, ...]:
    """All plastics, easiest to print first."""
    spans: dict[str, dict[str, Span]] = {}
    for row in cells_of("materials"):
        span = Span(float(row["low"]), float(row["high"]), row["unit"], row["source"])
        spans.setdefault(row["material"], {})[row["quantity"]] = span
    return tuple(Material(name, **of) for name, of in spans.items())


parked_car = table("parked_car", ParkedCar)  # coolest first


# -- how far things may be off --------------------------------------------------------------------


@cache
def error_terms() -> Toml:
    """``terms.toml`` beside this module: how far off each cause may be, with its source."""
    return parse_toml(files(__package__ or "").joinpath("terms.toml").read_text(encoding="utf-8"))


def before_measured(name: str) -> float:
    """The standard uncertainty of a print's `name` before it is measured; of length, °, mm."""
    sigma = float(error_terms()["print"][name]["sigma"])
    return sigma / 100 if name in ("scale", "axes", "next_scale") else sigma


def repeatability() -> float:
    """How far off one printer puts the same hole twice, along and across; 1 σ in mm."""
    return float(error_terms()["jig"]["repeatability"]["sigma"])
