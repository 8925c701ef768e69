"""A finished jig as numbers: what was asked of the printer, and where its holes end up in use.

Every body is a print of its own: its printer's distortion works along the bed's axes, after the
compensation that its mesh had.  In use the centre line is where the two stations centre the jig,
and the mounting mark is set by the line in the sight windows; with two bodies that line is their
joint, so a gap there is shared by both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from jiggen.printer.affine import Array, distortion

# Parameters of one body, then of the joint of two.
BODY = ("scale_x", "scale_y", "skew")
JOINT = ("gap", "offset", "bend")

_AHEAD = np.array([1.0, 0.0])
_LEFT = np.array([0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Body:
    """One printed body: its `holes`, their places `at` (n, 2) in the ski frame, mm.

    `turn` (2, 2) leads directions on the bed to directions on the ski; it mirrors, since bodies
    are printed top down.
    """

    name: str
    holes: tuple[str, ...]
    at: Array
    turn: Array


@dataclass(frozen=True, eq=False)
class PrintedJig:
    """A jig as it was sent to the printer: one body, or that at the toe before that at the heel.

    `stations` are the x of its two stations (mm, ski frame), `drills` the holes' drill diameters
    in mm in the order of `holes`, `matrix` (2, 2) what bed coordinates were multiplied by before
    the print.
    """

    name: str
    bodies: tuple[Body, ...]
    stations: tuple[float, float]
    drills: tuple[float, ...]
    matrix: Array

    @property
    def holes(self) -> tuple[str, ...]:
        """All holes, body by body."""
        return tuple(hole for body in self.bodies for hole in body.holes)

    @property
    def asked(self) -> Array:
        """(n, 2) where the layout has the holes; mm, ski frame."""
        return np.vstack([body.at for body in self.bodies])

    @cached_property
    def body_of(self) -> dict[str, int]:
        """The number of the body that each hole is in."""
        return {hole: n for n, body in enumerate(self.bodies) for hole in body.holes}

    @property
    def size(self) -> int:
        """How many parameters `places` takes: three a body, three more for a joint."""
        return len(BODY) * len(self.bodies) + (len(JOINT) if len(self.bodies) > 1 else 0)

    def places(self, parameters: Array) -> Array:
        """(n, 2) where the holes are in use, in mm in the ski frame.

        `parameters` are scales and skew (degrees) of each body's printer, then of the joint the
        gap along the ski and the toe body's offset to the left in mm and its bend to the left in
        degrees, the heel body's taken as straight.
        """
        count = len(self.bodies)
        own = parameters[: 3 * count].reshape(count, 3)
        shapes = [self._shape(body, *three) for body, three in zip(self.bodies, own, strict=True)]
        poses = self._poses(parameters[3 * count :])
        placed = [
            body.at @ (turned @ shape).T + shift
            for body, shape, (turned, shift) in zip(self.bodies, shapes, poses, strict=True)
        ]
        stations = [self._station(x, shapes, poses) for x in self.stations]
        return _set_down(np.vstack(placed), *stations)

    def _shape(self, body: Body, scale_x: float, scale_y: float, skew: float) -> Array:
        """(2, 2) from the layout to the print, both in the ski frame, lying on the joint's line."""
        printed = body.turn @ distortion(scale_x, scale_y, skew) @ self.matrix @ body.turn.T
        across = printed @ _LEFT
        # So turned that what should run across the ski, the joint or the windows' line, does.
        return _turned(np.arctan2(across[0], across[1])) @ printed

    def _poses(self, joint: Array) -> list[tuple[Array, Array]]:
        """How each body is turned and shifted at the joint: half of it each."""
        if not len(joint):
            return [(np.eye(2), np.zeros(2))]
        gap, offset, bend = joint
        half, angle = np.array([gap, offset]) / 2, np.radians(bend) / 2
        return [(_turned(angle), half), (_turned(-angle), -half)]

    def _station(self, x: float, shapes: list[Array], poses: list[tuple[Array, Array]]) -> Array:
        """Where the middle of the station at `x` is, in the frame of the joint."""
        number = 0 if x > 0 or len(self.bodies) == 1 else 1
        turned, shift = poses[number]
        return np.asarray(turned @ shapes[number] @ (x * _AHEAD) + shift)


def _set_down(places: Array, one: Array, other: Array) -> Array:
    """`places` with the line through both stations on the centre line, the mark at x = 0."""
    rear, front = sorted((one, other), key=lambda station: float(station[0]))
    ahead = front - rear
    back = _turned(-np.arctan2(ahead[1], ahead[0]))
    return np.asarray(places @ back.T - (0.0, (back @ rear)[1]))


def _turned(angle: float) -> Array:
    """(2, 2) a turn anticlockwise by `angle` in radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])
