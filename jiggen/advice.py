"""How a jig's parts are best printed: one definition for the design, the files and the words.

Heights in a printed part are whole layers from the bed: what lies between two comes out on the
nearer one, up to half a layer off, and a bridge that is thicker than a layer is none.
"""

import math

from jiggen.record.entries import PartKind, PrintAdvice

LAYER = 0.2  # mm, the first one too: half a 0.4 mm nozzle's width (common practice, no source)
WALLS = 4  # lines; for parts that take real load: kapycad.com/en/learn/3dprint/walls-and-infill
LINE = 0.45  # mm wide from a 0.4 mm nozzle, same page
SKINS = 5  # solid layers at top and bottom (common practice, no source)
SKIN = SKINS * LAYER  # mm
INFILL = 30  # % within (common practice, no source)
SOLID: tuple[PartKind, ...] = ("rail", "pinion")  # thin: walls fill most of them


def advise(kind: PartKind, material: str) -> PrintAdvice:
    """How a part of this kind is printed in `material`."""
    infill = 100 if kind in SOLID else INFILL
    return PrintAdvice(material=material, layer=LAYER, walls=WALLS, skins=SKINS, infill=infill)


def whole_layers(height: float) -> float:
    """The most whole layers that `height` holds, in mm."""
    return round(math.floor(height / LAYER + 1e-6) * LAYER, 6)


def more_layers(height: float) -> float:
    """The fewest whole layers that hold `height`, in mm."""
    return -whole_layers(-height)
