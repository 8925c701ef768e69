"""The printed parts and where each piece of them goes, in use and on the bed; what is bought.

Poses are rigid 4×4 matrices (row-major, mm).  A part's own frame is the one its numbers are
given in: the ski frame for bodies, the station's frame for the rest, with a rail's y = 0 where
its nose touches the ski.
"""

from collections import Counter
from dataclasses import astuple, dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.design.engraving import DEPTH
from jiggen.design.jig import Design
from jiggen.record.entries import Bought, HalfName, PartKind

Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Placed:
    """One piece in use: its part's frame in the ski frame, and the `body` it is on, or ""."""

    name: str
    pose: Matrix
    body: str = ""


@dataclass(frozen=True, eq=False)
class Piece:
    """One printed part, where it is used, and how it lies on the bed; `half` if it is a body.

    Its engravings' floors lie at `floor_z` in its own frame, None without any.
    """

    name: str
    kind: PartKind
    placed: tuple[Placed, ...]
    to_bed: Matrix
    floor_z: float | None = None
    half: HalfName | None = None

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


def to_corner(corners: NDArray[np.float64], over: Matrix) -> Matrix:
    """The pose `over` of what has these `corners` (n, 2), and then to the bed's corner, 0."""
    corner = (corners @ over[:2, :2].T).min(axis=0)
    return shift_by(-corner[0], -corner[1]) @ over


UPSIDE_DOWN = np.diag((1.0, -1.0, -1.0, 1.0))  # half a turn about x


def list_pieces(design: Design, ski_width: float | None = None) -> tuple[Piece, ...]:
    """All printed parts of a jig, rails set to `ski_width` (mm; default: middle of the range)."""
    mechanism, settings = design.mechanism, design.settings
    rail, pinion, knob = mechanism.rail, mechanism.pinion, mechanism.knob
    half = (settings.ski.middle if ski_width is None else ski_width) / 2
    pieces, floor_z = [], settings.body - DEPTH
    for body in design.bodies:
        over = turn_by(body.turn) @ shift_by(z=settings.body) @ UPSIDE_DOWN
        placed = (Placed(body.name, np.eye(4)),)
        to_bed = to_corner(body.corners, over)
        pieces.append(Piece(body.name, "body", placed, to_bed, floor_z, body.plate.half))

    rails, pinions, knobs = [], [], []
    for station in design.stations:
        name, on = station.name, station.part
        here, left = shift_by(station.x), shift_by(y=half)
        rails.append(Placed(f"rail {name} left", here @ left, on))
        rails.append(Placed(f"rail {name} right", here @ turn_by(180) @ left, on))
        # A tooth space of the rack lies on the pinion's tooth at the middle of the range.
        angle = np.degrees((half - settings.ski.middle / 2) / pinion.gear.pitch_radius)
        turned = here @ turn_by(float(angle))
        pinions.append(Placed(f"pinion {name}", turned, on))
        knobs.append(Placed(f"knob {name}", turned, on))
    rail_to_bed = shift_by(-rail.leg_x[0], rail.outer_y, rail.top_z) @ UPSIDE_DOWN
    pinion_to_bed = shift_by(pinion.flange_radius, pinion.flange_radius, -pinion.bottom_z)
    knob_to_bed = shift_by(knob.radius, knob.radius, knob.top_z) @ UPSIDE_DOWN
    return (
        *pieces,
        Piece("rail", "rail", tuple(rails), rail_to_bed, rail.top_z - DEPTH),
        Piece("pinion", "pinion", tuple(pinions), pinion_to_bed, floor_z),
        Piece("knob", "knob", tuple(knobs), knob_to_bed, floor_z),
    )


def list_hardware(design: Design) -> tuple[Bought, ...]:
    """Everything to buy for one jig: bushes, screws and nuts, counted."""
    bushes = Counter((g.drill, *astuple(g.bush)) for g in design.guides if g.bush)
    lines = []
    for size, count in sorted(bushes.items()):
        text, name = " x ".join(f"{side:g}" for side in size), "drill bush, headless, press fit"
        lines.append(Bought(name=name, size=f"{text} mm", count=count, standard="DIN 179"))
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
