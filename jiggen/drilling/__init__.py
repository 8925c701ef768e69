"""Room: drilling.  Whether this ski takes these holes, and how the drill is set for them.

After layout and before design: the height of each hole's guide is handed in as a number.
"""

from jiggen.drilling.check import drilling
from jiggen.drilling.model import (
    Area,
    DrilledHole,
    Drilling,
    DrillingLimits,
    Screw,
    SkiState,
    StopSetting,
)

__all__ = [
    "Area",
    "DrilledHole",
    "Drilling",
    "DrillingLimits",
    "Screw",
    "SkiState",
    "StopSetting",
    "drilling",
]
