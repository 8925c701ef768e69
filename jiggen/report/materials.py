"""The plastics side by side, and one of them with all that is known, in plain words."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from jiggen.accuracy.material import COLDER, movement, softness
from jiggen.report.advice import InCar, about, in_car
from jiggen.tables.materials import USUAL, Material, Span, materials, parked_car

REACH = 190.0  # mm from the mounting mark: about where the farthest holes lie
CAR: dict[InCar, str] = {
    "yes": "keeps its shape",
    "limp": "goes limp",
    "hot days": "softens on hot days",
    "no": "softens",
}
UNITS = {"g/cm3": "g/cm³", "%": "%", "1e-6/K": "µm on 1 m and °C", "degC": "°C", "MPa": "N/mm²"}
QUANTITIES = {
    "density": "density",
    "shrinkage": "shrinks when printed",
    "expansion": "grows when warmed",
    "glass": "goes limp (glass transition)",
    "deflection": "softens under load (0.45 MPa)",
    "modulus": "stiffness (tensile modulus)",
    "swelling": "grows by moisture",
}


def table() -> str:
    """A row for each plastic, and below it what the columns mean."""
    head = (
        *("plastic", "g/cm³", "shrinks", "off by", "in the cold", "rail bends"),
        *("softens", "in a parked car"),
    )
    rows = [head, *map(_row, materials())]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    cars = [f"             {car.temperature:g} °C {car.place}" for car in parked_car()]
    return "\n".join(
        [
            *lines,
            "",
            f"off by       a hole {REACH:g} mm from the mounting mark, if the print's scale is not "
            "corrected",
            f"in the cold  the same hole, {COLDER:g} °C colder than when the jig was measured",
            f"rail bends   against {USUAL}, by the least stiffness known; the build's centring "
            "check counts on it",
            "parked car   in the sun there were measured:",
            *cars,
            "",
            f"{USUAL} is what a build takes unless --material says otherwise.",
            "jiggen materials NAME tells more of one, with the source of each number.",
        ]
    )


def _row(row: Material) -> tuple[str, ...]:
    moved = movement(row, REACH)
    return (
        row.name,
        _range(row.density),
        f"{_range(row.shrinkage)} %",
        f"{moved.shrinkage[0]:.2f}–{moved.shrinkage[1]:.2f} mm",
        f"{moved.cold:.2f} mm",
        f"× {softness(row):.2f}",
        f"{row.deflection.low:g} °C",
        CAR[in_car(row)],
    )


def described(row: Material) -> str:
    """One plastic: what to know of it, then each value with its source."""
    spans = {name: getattr(row, name) for name in QUANTITIES if getattr(row, name)}
    width = max(len(QUANTITIES[name]) for name in spans)
    lines = [row.name, *(f"- {words}" for words in about(row)), ""]
    for name, span in spans.items():
        lines += [
            f"{QUANTITIES[name].ljust(width)}  {_range(span)} {UNITS[span.unit]}",
            f"{' ' * width}  {span.source}",
        ]
    lines += ["", "In cars parked in the sun:"]
    lines += [f"- {car.temperature:g} °C {car.place}: {car.source}" for car in parked_car()]
    return "\n".join(lines)


def as_data(rows: tuple[Material, ...]) -> dict[str, Any]:
    """Everything for ``--json``; lengths in mm."""
    return {
        "usual": USUAL,
        "colder": COLDER,
        "materials": [
            {
                **row.as_dict(),
                "in_parked_car": in_car(row),
                "bends": round(softness(row), 4),
                "movement": asdict(movement(row, REACH)),
                "advice": list(about(row)),
            }
            for row in rows
        ],
        "parked_car": [asdict(car) for car in parked_car()],
    }


def _range(span: Span) -> str:
    return "–".join(dict.fromkeys((f"{span.low:g}", f"{span.high:g}")))
