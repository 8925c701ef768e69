"""Printing plastics, and how hot a parked car gets: ranges as published, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from jiggen.errors import InputError
from jiggen.tables import cells_of, table

# The default: no closed chamber, little shrinkage (common practice, no source).
USUAL = "PETG"


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
