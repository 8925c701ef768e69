"""A ski's width and sides in words: where it is measured, and what holds the jig down."""

import math
from collections.abc import Iterator

from jiggen.accuracy.reach import WHY
from jiggen.design.sidewall import RADIUS, Sidewall, compare_widths, run_out
from jiggen.drilling import SkiState
from jiggen.drilling.clamping import widths_at
from jiggen.record import JigRecord
from jiggen.record.results import HoldDown, ServedSkis
from jiggen.report.mark import about_mark, where_marked

USUAL = 14.0  # mm, thickness of a ski's side where nothing was measured: common practice, no source

PRESS = "Press the jig down or clamp it lightly"


def measured_where(depth: float) -> str:
    """Where the width of a ski is measured, for rails that reach `depth` mm."""
    return f"{depth:g} mm below the top sheet"


def about_width(side: Sidewall, depth: float, thickness: float = USUAL) -> Iterator[str]:
    """Sentences: where widths are measured, and how they compare on a ski `thickness` mm thick."""
    yield f"Ski widths are measured {measured_where(depth)}, where the rails' noses touch."
    if side in ("upright", 0):
        yield "The ski's sides are taken to be upright."
        return
    top, base = compare_widths(side, depth, max(thickness, depth))
    shape = f"rounded by {RADIUS:g} mm" if side == "rounded" else f"sloped {side:g}°"
    there = f"{-base:.1f} mm narrower there than at its base" if base < 0 else "as wide there"
    yield (
        f"A ski {thickness:g} mm thick with sides {shape} is {there}, and {top:.1f} mm wider than "
        "at its top sheet."
    )


def about_ski(record: JigRecord) -> Iterator[str]:
    """What lies on the mark; `about_width` of the skis, as thick as the one in hand; what lifts."""
    inputs = record.inputs
    yield from about_mark(inputs.mark)
    if inputs.ski_in_hand.mark:
        yield where_marked(inputs.ski_in_hand.mark)
    thickness = min(inputs.ski_in_hand.thickness, default=USUAL)
    yield from about_width(inputs.sidewall, inputs.rail_depth, thickness)
    yield about_reach(record.accuracy.moving.reach)
    yield from about_rails(record)
    hold = record.hold
    if hold.press:
        yield (
            f"{PRESS} before you turn the knobs: {newton(hold)}. Sides sloped {hold.slope:.0f}° "
            f"where the noses touch lift it by {hold.lift:.0f} N; it weighs {hold.weight:.1f} N."
        )


def rail_readings(record: JigRecord) -> dict[str, float]:
    """What the rails read at each station on the ski that was measured, mm; nothing of another."""
    inputs = record.inputs
    state = SkiState(widths=inputs.ski_in_hand.widths)
    stations = {station.name: station.x for station in record.stations}
    widths = widths_at(stations, state, 2 * run_out(inputs.sidewall, inputs.rail_depth))
    return {name: width / 2 for name, width in widths.items()}


def about_rails(record: JigRecord) -> Iterator[str]:
    """The widths that were measured, and what the rails read on that ski."""
    if readings := rail_readings(record):
        places = (f"{width:g} mm at {x:g}" for x, width in record.inputs.ski_in_hand.widths)
        boot = f" for a boot of {record.inputs.boot:g} mm" if len(record.boots) > 1 else ""
        known = (f"{name} {reading:.1f}" for name, reading in readings.items())
        yield (
            f"The ski's top sheet was measured {', '.join(places)} mm from the mark. On it both "
            f"rails read about{boot}: {', '.join(known)}."
        )


def about_reach(served: ServedSkis) -> str:
    """Which skis the parts serve, whatever was asked for, and why no others."""
    narrower = "" if served.by == "teeth" else f"on a narrower ski {WHY[served.by]}, on a wider "
    return (
        f"The parts serve {served.least:.1f} to {served.most:.1f} mm: "
        f"{narrower or 'on any other '}one the racks' teeth end too soon."
    )


def press_words(hold: HoldDown) -> str:
    """What to do while the knobs are turned, with the force it takes if there is any."""
    return f"{PRESS} ({newton(hold)})" if hold.press else PRESS


def newton(hold: HoldDown) -> str:
    """The force that holds the jig down."""
    return f"{math.ceil(hold.press)} newton"
