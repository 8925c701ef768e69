"""What is bought for a jig: bushes, screws, nuts; counted."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from jiggen.design.jig import Design
from jiggen.tables import socket_screw


@dataclass(frozen=True)
class Bought:
    """One line of the shopping list; `key` is the hexagon key that turns it, mm, if any."""

    name: str
    size: str
    count: int
    standard: str
    key: float | None = None


def list_hardware(design: Design) -> tuple[Bought, ...]:
    """Everything to buy for one jig."""
    bushes = Counter(
        (guide.drill, guide.bush.outside, guide.bush.length)
        for guide in design.guides
        if guide.bush
    )
    mechanism, stations = design.mechanism, len(design.stations)
    lines = [
        Bought(
            "drill bush, headless, press fit",
            f"{drill:g} x {outside:g} x {length:g} mm",
            count,
            "DIN 179",
        )
        for (drill, outside, length), count in sorted(bushes.items())
    ]
    lines += [
        Bought(
            "lock screw, socket head",
            f"{mechanism.lock_screw} x {mechanism.lock_screw_length:g}",
            stations,
            "ISO 4762",
            socket_screw(mechanism.lock_screw).key,
        ),
        Bought("hexagon nut", mechanism.lock_screw, stations, "ISO 4032"),
    ]
    if joint := design.joint:
        count = len(joint.screw_y)
        lines += [
            Bought(
                "joint screw, socket head",
                f"{joint.screw} x {joint.screw_length:g}",
                count,
                "ISO 4762",
                socket_screw(joint.screw).key,
            ),
            Bought("hexagon nut", joint.screw, count, "ISO 4032"),
        ]
    return tuple(lines)
