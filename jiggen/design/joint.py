"""The joint at the mounting mark: a dovetail through the whole body, and two screws along x.

The dovetail locks the halves in x and y by shape; the screws pull the flat end faces together,
and those faces, as wide as the jig, set the angle between the halves.  The toe half slides in
from above.  Screw heads and nuts go in from below, before the jig is ever on a ski.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon, box

from jiggen.design.places import JointPlay
from jiggen.design.settings import Settings
from jiggen.design.station import Bolt
from jiggen.tables import clearance_hole

SCREW = "M4"
SCREW_Y = 16.0  # mm off the centre line: outside the dovetail, inside the sight windows
SCREW_LENGTH = 20.0
NECK, TAIL, DEPTH = 8.0, 10.0, 12.0  # dovetail: half widths at x = 0 and at its end; length
TOE_WALL, HEEL_WALL = 8.0, 6.0  # plastic between the joint face and head, and nut
FACE_FLATNESS = 0.05  # mm, printed face over its width: from memory, common for a tuned printer


@dataclass(frozen=True)
class Pocket:
    """A box open to the underside: x from, to; y from, to; up to `top_z`; mm."""

    name: str
    x: tuple[float, float]
    y: tuple[float, float]
    top_z: float

    @property
    def plan(self) -> Polygon:
        """Its outline seen from above."""
        return box(self.x[0], self.y[0], self.x[1], self.y[1])


@dataclass(frozen=True)
class JointShape:
    """The joint's numbers in the ski frame, mm.

    `tongue` belongs to the toe half, `socket` is cut from the heel half, both (n, 2)
    polygons; `heads` are cut from the toe half, `nuts` from the heel half; the screw holes of
    `hole` diameter run along x at `screw_y` and `screw_z`, from `hole_x` (from, to).
    """

    tongue: tuple[tuple[float, float], ...]
    socket: tuple[tuple[float, float], ...]
    heads: tuple[Pocket, ...]
    nuts: tuple[Pocket, ...]
    bolt: Bolt
    screw_y: tuple[float, ...]
    screw_z: float
    hole: float
    hole_x: tuple[float, float]
    play: JointPlay

    @property
    def depth(self) -> float:
        """How far the dovetail stands out of the toe half, in mm."""
        return -min(x for x, _ in self.tongue)

    @property
    def toe_reach(self) -> float:
        """How far the joint's cut-outs reach into the toe half, in mm."""
        return max(pocket.x[1] for pocket in self.heads)

    @property
    def heel_reach(self) -> float:
        """How far they reach into the heel half, in mm."""
        return max(-self.hole_x[0], self.depth + 1.0)


def design_joint(half_width: float, settings: Settings) -> JointShape:
    """The joint for a body `half_width` mm wide to either side of the centre line."""
    fit, bolt = settings.joint_fit, Bolt("joint screw", SCREW, SCREW_LENGTH)
    screw, hexagon = bolt.screw, bolt.nut
    middle_z = settings.body / 2
    flats = hexagon.across_flats + 0.2
    corner = flats / math.sqrt(3)
    head_half = screw.head_diameter / 2 + 0.75
    sides = (1.0, -1.0)

    def pocket(name: str, x: tuple[float, float], half: float, top: float, side: float) -> Pocket:
        return Pocket(name, x, (side * SCREW_Y - half, side * SCREW_Y + half), top)

    # Long enough to lay the screw in and to turn a hex key, which leans out below.
    head_x = (TOE_WALL, TOE_WALL + SCREW_LENGTH + screw.head_height + 8.0)
    nut_x = (-HEEL_WALL - hexagon.height - 0.3, -HEEL_WALL)
    tongue = ((0.0, NECK), (-DEPTH, TAIL), (-DEPTH, -TAIL), (0.0, -NECK))
    grown = Polygon(tongue).buffer(fit, join_style="mitre")
    socket = grown.union(box(-1.0, -NECK - fit, 1.0, NECK + fit))
    return JointShape(
        tongue=tongue,
        socket=tuple((float(x), float(y)) for x, y in shapely.normalize(socket).exterior.coords),
        heads=tuple(
            pocket("joint screw head", head_x, head_half, middle_z + head_half, s) for s in sides
        ),
        nuts=tuple(pocket("joint nut", nut_x, flats / 2, middle_z + corner, s) for s in sides),
        bolt=bolt,
        screw_y=tuple(side * SCREW_Y for side in sides),
        screw_z=middle_z,
        hole=clearance_hole(SCREW, "medium"),
        hole_x=(TOE_WALL - SCREW_LENGTH - 2.0, TOE_WALL + 1.0),
        play=JointPlay(sideways=fit, angle=FACE_FLATNESS / (2 * half_width)),
    )
