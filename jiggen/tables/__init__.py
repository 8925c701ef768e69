"""Room: tables. Facts of the open standards, as CSV files beside this module.

Every row names its source.  Lengths and diameters are mm, angles degrees; the limit deviations
are kept in µm, as the standard prints them, and handed out in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeVar

from jiggen.errors import Finding, InputError
from jiggen.tables.read import rows_of

Series = Literal["fine", "medium", "coarse"]


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
    """Jobber series twist drills (DIN 338 / ISO 235) over `over` to `up_to` mm, both as for bushes.

    `overall` length and `flute` length in mm, both measured from the tip of the point.
    """

    over: float
    up_to: float
    overall: float
    flute: float
    source: str


@dataclass(frozen=True)
class Nut:
    """Hexagon nut (ISO 4032): width `across_flats` and greatest `height`, mm."""

    size: str
    across_flats: float
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

    def diameter(self, series: Series) -> float:
        """Diameter in mm in `series`."""
        return {"fine": self.fine, "medium": self.medium, "coarse": self.coarse}[series]


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


Row = TypeVar("Row", Nut, ClearanceHole, SocketScrew)


def bush_for(drill_diameter: float) -> DrillBush:
    """The row of drill bushes for a drill of `drill_diameter` mm. Raises InputError."""
    rows = drill_bushes()
    for row in rows:
        if row.over < drill_diameter <= row.up_to:
            return row
    raise _unlisted(
        f"no standard drill bush for a {drill_diameter:g} mm drill",
        f"Drill bushes are listed for drills over {rows[0].over:g} mm up to {rows[-1].up_to:g} mm; "
        "another one in hand can be stated by its size.",
    )


def jobber_drill(diameter: float) -> JobberDrill:
    """The row of jobber drills for a drill of `diameter` mm. Raises InputError."""
    rows = jobber_drills()
    for row in rows:
        if row.over < diameter <= row.up_to:
            return row
    raise _unlisted(
        f"no jobber drill of {diameter:g} mm is listed",
        f"Listed over {rows[0].over:g} mm up to {rows[-1].up_to:g} mm.",
    )


def bush(outside: float, length: float) -> DrillBush:
    """The row of drill bushes with this `outside` diameter and `length`, mm. Raises InputError."""
    rows = drill_bushes()
    for row in rows:
        if row.outside == outside and length in row.lengths:
            return row
    known = ", ".join(f"{row.outside:g}x{n:g}" for row in rows for n in row.lengths)
    raise _unlisted(f"{outside:g}x{length:g} is not a standard drill bush", f"Known: {known}.")


def nut(size: str) -> Nut:
    """The hexagon nut of a thread `size` like ``M5``. Raises InputError."""
    return _sized(size, nuts(), "hexagon nut")


def clearance_hole(size: str, series: Series = "medium") -> float:
    """Clearance hole diameter in mm for a thread `size` like ``M5``. Raises InputError."""
    return _sized(size, clearance_holes(), "clearance hole").diameter(series)


def socket_screw(size: str) -> SocketScrew:
    """The socket head cap screw of a thread `size` like ``M5``. Raises InputError."""
    return _sized(size, socket_screws(), "socket screw")


def deviation(symbol: str, nominal: float) -> tuple[float, float]:
    """Upper and lower limit deviation in mm of a tolerance class at a `nominal` size in mm.

    `symbol` as in ISO 286: capitals for holes (``F7``), small letters for shafts (``n6``).
    Raises InputError for a class or size that is not listed.
    """
    rows = [row for row in limit_deviations() if row.symbol == symbol]
    if not rows:
        known = dict.fromkeys(row.symbol for row in limit_deviations())
        raise _unlisted(f"tolerance class {symbol} is not listed", f"Known: {', '.join(known)}.")
    for row in rows:
        if row.over < nominal <= row.up_to:
            return row.upper_um / 1000, row.lower_um / 1000
    raise _unlisted(
        f"{symbol} is not listed at {nominal:g} mm",
        f"Listed over {rows[0].over:g} mm up to {rows[-1].up_to:g} mm.",
    )


@cache
def drill_bushes() -> tuple[DrillBush, ...]:
    """All drill bushes, thinnest first."""
    return tuple(
        DrillBush(
            over=float(row["over"]),
            up_to=float(row["up_to"]),
            outside=float(row["outside"]),
            lengths=_numbers(row["lengths"]),
            source=row["source"],
        )
        for row in rows_of("drill_bushes")
    )


@cache
def jobber_drills() -> tuple[JobberDrill, ...]:
    """All jobber drills, thinnest first."""
    return tuple(
        JobberDrill(
            over=float(row["over"]),
            up_to=float(row["up_to"]),
            overall=float(row["overall"]),
            flute=float(row["flute"]),
            source=row["source"],
        )
        for row in rows_of("jobber_drills")
    )


@cache
def nuts() -> tuple[Nut, ...]:
    """All hexagon nuts, smallest first."""
    return tuple(
        Nut(row["size"], float(row["across_flats"]), float(row["height"]), row["source"])
        for row in rows_of("hexagon_nuts")
    )


@cache
def clearance_holes() -> tuple[ClearanceHole, ...]:
    """All clearance holes, smallest first."""
    return tuple(
        ClearanceHole(
            size=row["size"],
            fine=float(row["fine"]),
            medium=float(row["medium"]),
            coarse=float(row["coarse"]),
            source=row["source"],
        )
        for row in rows_of("clearance_holes")
    )


@cache
def socket_screws() -> tuple[SocketScrew, ...]:
    """All socket head cap screws, smallest first."""
    return tuple(
        SocketScrew(
            size=row["size"],
            diameter=float(row["diameter"]),
            head_diameter=float(row["head_diameter"]),
            head_height=float(row["head_height"]),
            key=float(row["key"]),
            lengths=_numbers(row["lengths"]),
            source=row["source"],
        )
        for row in rows_of("socket_screws")
    )


@cache
def limit_deviations() -> tuple[LimitDeviation, ...]:
    """All limit deviations, class by class, smallest sizes first."""
    return tuple(
        LimitDeviation(
            symbol=row["class"],
            over=float(row["over"]),
            up_to=float(row["up_to"]),
            upper_um=float(row["upper_um"]),
            lower_um=float(row["lower_um"]),
            source=row["source"],
        )
        for row in rows_of("limit_deviations")
    )


@cache
def modules() -> tuple[float, ...]:
    """Preferred gear modules in mm (ISO 54, series 1), smallest first."""
    return tuple(float(row["module"]) for row in rows_of("modules"))


@cache
def basic_rack() -> BasicRack:
    """The basic rack profile that jiggen's gears are drawn by."""
    values = {row["quantity"]: float(row["value"]) for row in rows_of("basic_rack")}
    return BasicRack(
        pressure_angle=values["pressure_angle"],
        addendum=values["addendum"],
        dedendum=values["dedendum"],
        fillet=values["fillet"],
    )


def _numbers(cell: str) -> tuple[float, ...]:
    return tuple(float(number) for number in cell.split())


def _sized(size: str, rows: tuple[Row, ...], what: str) -> Row:
    for row in rows:
        if row.size == size:
            return row
    known = ", ".join(row.size for row in rows)
    raise _unlisted(f"no {what} of size {size} is listed", f"Known: {known}.")


def _unlisted(message: str, hint: str) -> InputError:
    return InputError(Finding("tables.unlisted", message, hint=hint))
