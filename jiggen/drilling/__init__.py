"""Room: drilling.  Whether this ski takes these holes, and how the drill is set for them.

After layout and before design: the height of each hole's guide is handed in as a number.
"""

from jiggen.drilling.check import NO_SCREWS, check_all_boots, check_drilling
from jiggen.drilling.model import DrillingLimits, SkiState, screws_of
from jiggen.pattern import Area, Screw
from jiggen.record.results import DepthStop, DrilledHole, Drilling

__all__ = [
    "NO_SCREWS",
    "Area",
    "DepthStop",
    "DrilledHole",
    "Drilling",
    "DrillingLimits",
    "Screw",
    "SkiState",
    "check_all_boots",
    "check_drilling",
    "screws_of",
]
