"""Room: drilling.  Whether this ski takes these holes, and how the drill is set for them.

After layout and before design: the height of each hole's guide is handed in as a number.
"""

from jiggen.drilling.check import NO_SCREWS, drilling
from jiggen.drilling.model import (
    DrilledHole,
    Drilling,
    DrillingLimits,
    SkiState,
    StopSetting,
)
from jiggen.drilling.screws import screws_of
from jiggen.pattern import Area, Screw

__all__ = [
    "NO_SCREWS",
    "Area",
    "DrilledHole",
    "Drilling",
    "DrillingLimits",
    "Screw",
    "SkiState",
    "StopSetting",
    "drilling",
    "screws_of",
]
