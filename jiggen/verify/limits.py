"""What a jig's files are held to; mm, degrees and fractions as said."""

from __future__ import annotations

from types import MappingProxyType
from typing import Literal

Source = Literal["STEP", "STL"]

POSITION = MappingProxyType[Source, float]({"STEP": 0.01, "STL": 0.02})  # mm, of a hole's centre
DIAMETER = MappingProxyType[Source, float]({"STEP": 0.01, "STL": 0.02})  # mm
TILT = 0.1  # degrees off square to the ski
ROUND = 0.02  # mm, of any corner of a bore off its circle
CHORD = 0.0055  # mm that a chord may cut inside a bore's circle: 0.005 and single precision
VOLUME = 0.005  # of the solid's volume
SHAPE = 0.02  # mm between a corner of the STEP and the nearest of the STL
BASE = 0.01  # mm between a printed part's lowest point and z = 0
SAME_MESH = 1e-3  # mm between a corner of the 3MF and the STL's
STRETCH = 0.02  # of a part's size, that a compensation for a printer may change
OFFSET = 0.6  # mm, of a diameter or a wall, likewise
SPACING = 5.0  # mm between two pieces on a bed: room for a brim, common practice, no source
ON_BED = 0.01  # mm that a piece may lie off its place, past the bed's edge or too near another
CATCH = 5.0  # mm: a hole farther off than this is missing, not moved
OPENING = 0.05  # mm between a meant opening's axis and where it is
LADDER = 0.02  # mm between a hole and its place with a boot's line on the mark; between shifts
LINE_CATCH = 0.35  # mm: a line farther off than this is missing, not moved
WIDEST_LINE = 1.2  # mm: a wider engraving is no line
LADDER_END = 3.5  # mm past the last lines of a ladder that are looked at as part of it
NUMBER_CATCH = 0.6  # mm between a line and the middle of its number
EXTRA_DEPTH = 1.5  # mm: a shallower round recess is a mark or a bevel, no hole
EXTRA = (1.0, 16.0)  # mm, diameters of round openings that could be taken for a hole

FILE = 64 * 2**20  # bytes of one file of a folder: five times the largest that jiggen writes


def as_dict() -> dict[str, float]:
    """The limits of position, diameter, squareness and volume by name."""
    return {
        "position_step": POSITION["STEP"],
        "position_stl": POSITION["STL"],
        "diameter_step": DIAMETER["STEP"],
        "diameter_stl": DIAMETER["STL"],
        "tilt_degrees": TILT,
        "volume_fraction": VOLUME,
        "shape": SHAPE,
    }
