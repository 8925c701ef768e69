"""The printed parts and where each piece of them goes, in use and on the bed; what is bought.

Poses are rigid 4×4 matrices (row-major, mm).  A part's own frame is the one its numbers are
given in: the ski frame for bodies, the station's frame for the rest, with a rail's y = 0 where
its nose touches the ski.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jiggen.design.jig import Design
from jiggen.design.plan import HalfRole
from jiggen.record.entries import Bought

Matrix = NDArray[np.float64]

Kind = Literal["body", "rail", "pinion", "knob", "plate", "gauge", "slots", "rack"]
"""What a printed part is: ``plate`` of a trial plate; ``gauge``, ``slots``, ``rack`` of a gauge."""


@dataclass(frozen=True, eq=False)
class Placed:
    """One piece in use: its name and the pose from the part's own frame to the ski frame.

    `body` names the body that it is on; a body itself, and what is on none, has "".
    """

    name: str
    pose: Matrix
    body: str = ""


@dataclass(frozen=True, eq=False)
class Piece:
    """One printed part: every place it is used at, and the pose from its frame to the bed.

    `half` is the half of the jig that it is the body of, if any.
    """

    name: str
    kind: Kind
    placed: tuple[Placed, ...]
    to_bed: Matrix
    half: HalfRole | None = None

    def to_ski(self, placed: Placed) -> Matrix:
        """Rigid 4×4 from the printed file's frame to the ski frame for one placed piece."""
        return placed.pose @ np.linalg.inv(self.to_bed)


def shift_by(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Matrix:
    """A shift by (x, y, z) mm."""
    pose = np.eye(4)
    pose[:3, 3] = (x, y, z)
    return pose


def turn_by(degrees: float) -> Matrix:
    """A turn about z, exact at quarter turns."""
    c, s = np.round((np.cos(np.radians(degrees)), np.sin(np.radians(degrees))), 15)
    pose = np.eye(4)
    pose[:2, :2] = ((c, -s), (s, c))
    return pose


UPSIDE_DOWN = np.diag((1.0, -1.0, -1.0, 1.0))  # half a turn about x


def list_pieces(design: Design, ski_width: float | None = None) -> tuple[Piece, ...]:
    """All printed parts of a jig, rails set to `ski_width` (mm; default: middle of the range)."""
    mechanism, settings = design.mechanism, design.settings
    half = (settings.ski.middle if ski_width is None else ski_width) / 2
    bodies = []
    for body in design.bodies:
        over = turn_by(body.turn) @ shift_by(z=settings.body) @ UPSIDE_DOWN
        flat = body.outline.outer @ over[:2, :2].T
        corner = flat.min(axis=0)
        to_bed = shift_by(-corner[0], -corner[1]) @ over
        placed = (Placed(body.name, np.eye(4)),)
        bodies.append(Piece(body.name, "body", placed, to_bed, body.plate.half))

    rails, pinions, knobs = [], [], []
    body_of = {station.name: body.name for body in design.bodies for station in body.stations}
    for station in design.stations:
        on = body_of[station.name]
        here, left = shift_by(station.x), shift_by(y=half)
        rails.append(Placed(f"rail {station.name} left", here @ left, on))
        rails.append(Placed(f"rail {station.name} right", here @ turn_by(180) @ left, on))
        # A tooth space of the rack lies on the pinion's tooth at the middle of the range.
        angle = np.degrees((half - settings.ski.middle / 2) / mechanism.pinion.gear.pitch_radius)
        pinions.append(Placed(f"pinion {station.name}", here @ turn_by(float(angle)), on))
        knobs.append(Placed(f"knob {station.name}", here @ turn_by(float(angle)), on))

    rail, pinion, knob = mechanism.rail, mechanism.pinion, mechanism.knob
    return (
        *bodies,
        Piece(
            "rail",
            "rail",
            tuple(rails),
            shift_by(-rail.leg_x[0], rail.outer_y, rail.top_z) @ UPSIDE_DOWN,
        ),
        Piece(
            "pinion",
            "pinion",
            tuple(pinions),
            shift_by(pinion.flange_radius, pinion.flange_radius, -pinion.bottom_z),
        ),
        Piece(
            "knob",
            "knob",
            tuple(knobs),
            shift_by(knob.radius, knob.radius, knob.top_z) @ UPSIDE_DOWN,
        ),
    )


def list_hardware(design: Design) -> tuple[Bought, ...]:
    """Everything to buy for one jig: bushes, screws and nuts, counted."""
    bushes = Counter(
        (guide.drill, guide.bush.outside, guide.bush.length)
        for guide in design.guides
        if guide.bush
    )
    lines = [
        Bought(
            name="drill bush, headless, press fit",
            size=f"{drill:g} x {outside:g} x {length:g} mm",
            count=count,
            standard="DIN 179",
        )
        for (drill, outside, length), count in sorted(bushes.items())
    ]
    for bolt, count in design.bolts:
        screw = Bought(
            name=f"{bolt.name}, socket head",
            size=f"{bolt.thread} x {bolt.length:g}",
            count=count,
            standard="ISO 4762",
            key=bolt.screw.key,
        )
        nut = Bought(name="hexagon nut", size=bolt.thread, count=count, standard="ISO 4032")
        lines += [screw, nut]
    return tuple(lines)
