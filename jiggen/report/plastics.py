"""Plastics in words and numbers: what each does to a jig, and what the parts of one weigh."""

import json
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jiggen.accuracy.centring import COLDER, find_effects, find_movement, softness
from jiggen.advice import LINE, SKIN, WALLS, advise
from jiggen.design import Design
from jiggen.record.entries import Part
from jiggen.record.results import PartMass, Plastic, PlasticEffects
from jiggen.report import text_table
from jiggen.tables import USUAL, Material, Span, material, materials, parked_car
from jiggen.verify.reading.mesh import Mesh

InCar = Literal["yes", "limp", "hot days", "no"]

# Common practice, no source.
PRINTING = {
    "PLA": "Prints easily on any printer, and is stiff.",
    "PETG": "Prints on most printers without a closed chamber, and takes a warm workshop.",
    "ABS": "Needs a closed, warm printer: in a draught the long body warps off the bed.",
    "ASA": "Needs a closed, warm printer, like ABS; it shrinks less and stands the sun.",
    "PA": "Must be dried, and printed dry.",
    "PC": "Needs a very hot nozzle and a closed, hot printer.",
}


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


def car_words(plastic: Material) -> str:
    """What becomes of a jig in a car parked in the sun, with the temperatures measured there."""
    state, low = in_car(plastic), plastic.deflection.low
    if state == "limp":
        return (
            f"Keeps its shape in a parked car, but is limp from {plastic.glass.low:g} °C: let it "
            "cool before you use it."
        )
    hottest = parked_car()[-1]
    car = next((car for car in parked_car() if low <= car.temperature), hottest)
    measured = f"it softens from {low:g} °C, and {car.temperature:g} °C were measured {car.place}."
    if state == "yes":
        return f"Keeps its shape in a parked car: {measured}"
    days = "Do not leave the jig in a parked car"
    if state == "hot days":
        days = "Take it out of the car on hot days"
    *safe, last = (row.name for row in materials() if in_car(row) == "yes" and not row.swelling)
    return f"{days}: {measured} {', '.join(safe)} and {last} keep their shape there."


def about(plastic: Material) -> tuple[str, ...]:
    """What to know of a plastic, whatever the jig."""
    words = (PRINTING[plastic.name], car_words(plastic))
    if not plastic.swelling:
        return words
    wet = (
        f"It takes up moisture and grows by {plastic.swelling.low:g} to "
        f"{plastic.swelling.high:g} %: do not use it for a jig that must stay true."
    )
    return (*words, wet)


def advice(plastic: Material, found: PlasticEffects) -> tuple[str, ...]:
    """What to know before this jig is printed in `plastic`, which does `found` to it."""
    moved = found.movement
    least, most = moved.shrinkage
    return (
        *about(plastic),
        f"Not corrected for, it shrinks by {plastic.shrinkage.low:g} to {plastic.shrinkage.high:g}"
        f" %: {found.hole}, {moved.reach:.0f} mm from the mark, would be {least:.2f} to "
        f"{most:.2f} mm off. Check the print with the caliper, and scale it by what it shows.",
        f"In a car {COLDER:g} °C colder than the workshop {found.hole} comes {moved.cold:.2f} mm "
        "nearer the mark. Drill when the jig is as warm as it was when you measured it.",
        f"Pressed with {found.force:g} N a solid rail gives {found.bend:.1f} mm; the centring "
        "counts on that, so leave no hollows in rails and pinions.",
    )


LEVEL = np.cos(np.radians(45.0))  # a face whose normal is steeper counts as top or bottom


def weigh(design: Design, parts: Iterable[Part], read: Callable[[str], Mesh]) -> Plastic:
    """Mass of each part in g, what the plastic does, and advice.

    Volumes are those of the record's `parts`; faces those of the mesh that `read` finds in a
    part's file.
    """
    chosen = material(design.settings.material)
    density = (chosen.density.low + chosen.density.high) / 2
    found = find_effects(design)
    weighed = []
    for part in parts:
        if part.printed:
            infill = advise(part.kind, chosen.name).infill
            volumes = part.volume, filled(part.volume, read(part.file), infill)
            solid, printed = (round(density / 1000 * volume, 1) for volume in volumes)
            weighed.append(
                PartMass(
                    name=part.name,
                    count=part.count,
                    infill=infill,
                    volume=part.volume,
                    solid=solid,
                    printed=printed,
                )
            )
    rounded = json.loads(found.model_dump_json(), parse_float=lambda text: round(float(text), 5))
    return Plastic(
        name=chosen.name,
        density=round(density, 3),
        walls=WALLS,
        line=LINE,
        skin=SKIN,
        parts=tuple(weighed),
        solid=round(sum(part.count * part.solid for part in weighed), 1),
        printed=round(sum(part.count * part.printed for part in weighed), 1),
        parked_car=in_car(chosen),
        effects=PlasticEffects.model_validate(rounded),
        advice=advice(chosen, found),
    )


def filled(volume: float, mesh: Mesh, infill: float) -> float:
    """How many of a part's `volume` mm³ become plastic at `infill` % within.

    Estimated from the surface: under each face of the mesh, as it lies on the bed, is a shell,
    WALLS lines or SKIN thick, never more than the part; the rest is filled by `infill`.  Corners
    count twice, so a slicer gives less: by 4 % on a body, 8 % on a knob.
    """
    corners = mesh.vertices[mesh.triangles]
    sides = corners[:, 1:] - corners[:, :1]
    normals: NDArray[np.float64] = np.cross(sides[:, 0], sides[:, 1])
    doubled = np.linalg.norm(normals, axis=1)
    level = np.abs(normals[:, 2]) > LEVEL * doubled
    shell = float((np.where(level, SKIN, WALLS * LINE) * doubled).sum() / 2)
    solid = min(volume, shell)
    return solid + infill / 100 * (volume - solid)


HEADS = (
    *("plastic", "g/cm³", "shrinks", "off by", "in the cold", "rail bends"),
    *("softens", "in a parked car"),
)
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
    rows: list[tuple[str, ...]] = [HEADS]
    for row in materials():
        moved = find_movement(row, REACH)
        off = f"{moved.shrinkage[0]:.2f}–{moved.shrinkage[1]:.2f} mm"
        sizes = _range(row.density), f"{_range(row.shrinkage)} %", off, f"{moved.cold:.2f} mm"
        heat = f"{row.deflection.low:g} °C", CAR[in_car(row)]
        rows.append((row.name, *sizes, f"× {softness(row):.2f}", *heat))
    cars = (f"{'':13}{car.temperature:g} °C {car.place}" for car in parked_car())
    lines = (
        *text_table(rows),
        "",
        f"off by       a hole {REACH:g} mm from the mounting mark, if the print's scale is not "
        "corrected",
        f"in the cold  the same hole, {COLDER:g} °C colder than when the jig was measured",
        f"rail bends   against {USUAL}, by the least stiffness known; the build's centring "
        "check counts on it",
        "parked car   in the sun there were measured:",
        *cars,
        "",
        f"{USUAL} is what a build takes unless another is chosen.",
        "jiggen materials NAME shows one in full, with the source of each number.",
    )
    return "\n".join(lines)


def described(row: Material) -> str:
    """One plastic: what to know of it, then each value with its source."""
    spans = {name: span for name in QUANTITIES if (span := getattr(row, name))}
    width = max(len(QUANTITIES[name]) for name in spans)
    lines = [row.name, *(f"- {words}" for words in about(row)), ""]
    for name, span in spans.items():
        lines.append(f"{QUANTITIES[name]:{width}}  {_range(span)} {UNITS[span.unit]}")
        lines.append(f"{'':{width}}  {span.source}")
    lines += ["", "In cars parked in the sun:"]
    lines += [f"- {car.temperature:g} °C {car.place}: {car.source}" for car in parked_car()]
    return "\n".join(lines)


def as_data(rows: tuple[Material, ...]) -> dict[str, object]:
    """Everything for JSON; lengths in mm."""
    return {
        "usual": USUAL,
        "colder": COLDER,
        "materials": [
            {
                **asdict(row),
                "in_parked_car": in_car(row),
                "bends": round(softness(row), 4),
                "movement": find_movement(row, REACH).model_dump(mode="json"),
                "advice": list(about(row)),
            }
            for row in rows
        ],
        "parked_car": [asdict(car) for car in parked_car()],
    }


def _range(span: Span) -> str:
    return "–".join(dict.fromkeys((f"{span.low:g}", f"{span.high:g}")))
