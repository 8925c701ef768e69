"""What to know of a plastic before a jig is printed in it, in words of the workshop."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Literal

from jiggen.accuracy.material import COLDER, Effects
from jiggen.tables.materials import Material, materials, parked_car

InCar = Literal["yes", "limp", "hot days", "no"]

# Common practice, no source.
PRINTING: Mapping[str, str] = MappingProxyType(
    {
        "PLA": "Prints easily on any printer, and is stiff.",
        "PETG": "Prints on most printers without a closed chamber, and takes a warm workshop.",
        "ABS": "Needs a closed, warm printer: in a draught the long body warps off the bed.",
        "ASA": "Needs a closed, warm printer, like ABS; it shrinks less and stands the sun.",
        "PA": "Must be dried, and printed dry.",
        "PC": "Needs a very hot nozzle and a closed, hot printer.",
    }
)


def in_car(plastic: Material) -> InCar:
    """Whether a jig keeps its shape in a car parked in the sun.

    ``no`` where it softens elsewhere than in the hottest car that was measured, ``hot days``
    where only in that, ``limp`` where it holds but is soft until it has cooled.
    """
    places = parked_car()
    softening = [car for car in places if plastic.deflection.low <= car.temperature]
    if softening:
        return "hot days" if softening == [places[-1]] else "no"
    return "limp" if plastic.glass.low <= places[-1].temperature else "yes"


def car_safe() -> tuple[str, ...]:
    """Names of the plastics that a jig may lie in a parked car in, and stays true in."""
    return tuple(row.name for row in materials() if in_car(row) == "yes" and not row.swelling)


def car_words(plastic: Material) -> str:
    """What becomes of a jig in a car parked in the sun, with the temperatures measured there."""
    hottest = parked_car()[-1]
    softening = [car for car in parked_car() if plastic.deflection.low <= car.temperature]
    kept = in_car(plastic)
    if kept == "yes":
        return (
            f"Keeps its shape in a parked car: it softens from {plastic.deflection.low:g} °C, and "
            f"{hottest.temperature:g} °C were measured {hottest.place}."
        )
    if kept == "limp":
        return (
            f"Keeps its shape in a parked car, but is limp from {plastic.glass.low:g} °C: let it "
            "cool before you use it."
        )
    first, *others = softening
    days = "No jig to leave in a parked car" if others else "Take it out of the car on hot days"
    safe = " and ".join([", ".join(car_safe()[:-1]), car_safe()[-1]])
    return (
        f"{days}: it softens from {plastic.deflection.low:g} °C, and {first.temperature:g} °C were "
        f"measured {first.place}. {safe} keep their shape there."
    )


def about(plastic: Material) -> tuple[str, ...]:
    """What to know of a plastic, whatever the jig."""
    return tuple(_about(plastic))


def _about(plastic: Material) -> Iterator[str]:
    yield PRINTING[plastic.name]
    yield car_words(plastic)
    if plastic.swelling:
        yield (
            f"It takes up moisture and grows by {plastic.swelling.low:g} to "
            f"{plastic.swelling.high:g} %: no material for a jig that must stay true."
        )


def advice(plastic: Material, found: Effects) -> tuple[str, ...]:
    """What to know before this jig is printed in `plastic`, which does `found` to it."""
    moved = found.movement
    least, most = moved.shrinkage
    return (
        *_about(plastic),
        f"Not corrected for, it shrinks by {plastic.shrinkage.low:g} to {plastic.shrinkage.high:g}"
        f" %: {found.hole}, {moved.reach:.0f} mm from the mark, would be {least:.2f} to "
        f"{most:.2f} mm off. Measure the 100.0 scale and correct the print by it.",
        f"In a car {COLDER:g} °C colder than the workshop {found.hole} comes {moved.cold:.2f} mm "
        "nearer the mark. Drill when the jig is as warm as it was when you measured it.",
        f"Pressed with {found.force:g} N a solid rail gives {found.bend:.1f} mm; the centring "
        "counts on that, so leave no hollows in rails and pinions.",
    )
