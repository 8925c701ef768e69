"""Room: drilling.  Whether this ski takes these holes, and how the drill is set for them.

After layout and before design: the height of each hole's guide is handed in as a number.
"""

from jiggen.drilling.check import (
    DrillingLimits,
    SkiState,
    check_all_boots,
    check_drilling,
    screws_of,
)
from jiggen.pattern import Area, Screw
from jiggen.record.results import DepthStop, Drilling

__all__ = [
    "Area",
    "DepthStop",
    "Drilling",
    "DrillingLimits",
    "Screw",
    "SkiState",
    "check_all_boots",
    "check_drilling",
    "screws_of",
]
