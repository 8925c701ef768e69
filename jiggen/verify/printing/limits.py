"""What a part must be to come off a usual printer well without supports; mm, mm², degrees.

A usual printer lays a molten line: 0.4 mm nozzle, 0.2 mm layers (common practice, no source).
"""

from __future__ import annotations

NOZZLE = 0.4
LAYER = 0.2
WALL = 2 * NOZZLE  # a wall of two lines, one down and one back: common practice, no source
STEEP = 45.0  # degrees from upright that a face may lean out: common practice, no source
MARGIN = 1.0  # degrees: facets of a 45° cone are not quite at 45°
LEDGE = 0.75 * NOZZLE  # that a layer may stand out over the one below: common practice, no source
BRIDGE = 15.0  # longest line drawn through the air between two ends: common practice, no source
SPECK = 0.5  # mm² of a ceiling in the air that does not show: a drop as wide as two lines
CONTACT = 50.0  # mm² on the bed, or the print comes loose: from memory
FIRST_LAYER = 0.9  # of the first layer must lie flat on the bed: from memory
MARK = 0.7  # height that a thin wall needs to be one: an engraving, 0.6 mm deep, has none
FACING = 30.0  # degrees off parallel that a wall's two sides may be
WIDEST = 6.0  # walls from here on are not measured
