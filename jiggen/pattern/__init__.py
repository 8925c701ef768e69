"""Hole patterns: from a pattern file to checked values in mm, or to all that is wrong with it.

`find_pattern` turns a name into a path, `read_pattern` a path into a `Pattern`, and
`check_boot` checks that the pattern serves a boot sole length.  The values are plain frozen
dataclasses, every length in mm whatever unit the file is written in.  Nothing in a file is
ever evaluated.

In findings, lines, columns and the indexes of key paths are counted from 1:
``group[1].hole[3].at`` is the third hole of the first group.
"""

from jiggen.pattern.checks import DATUM_SLOPE, check_boot
from jiggen.pattern.find import find_pattern, shipped_patterns
from jiggen.pattern.model import (
    Area,
    Core,
    Datum,
    Drill,
    Group,
    Hole,
    Pair,
    Pattern,
    Screw,
    Side,
    Step,
)
from jiggen.pattern.read import read_pattern

__all__ = [
    "DATUM_SLOPE",
    "Area",
    "Core",
    "Datum",
    "Drill",
    "Group",
    "Hole",
    "Pair",
    "Pattern",
    "Screw",
    "Side",
    "Step",
    "check_boot",
    "find_pattern",
    "read_pattern",
    "shipped_patterns",
]
