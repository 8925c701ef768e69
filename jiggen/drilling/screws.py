"""The screws that a pattern names, for each hole of its layouts."""

from __future__ import annotations

from collections.abc import Mapping

from jiggen.layout import numbered
from jiggen.pattern import Pattern, Screw


def screws_of(pattern: Pattern) -> Mapping[str, Screw]:
    """What goes into each hole, by its id in any layout of `pattern`; holes without are left out.

    Lengths in mm.
    """
    return {
        name: hole.screw
        for group in pattern.groups
        for name, hole in numbered(group)
        if hole.screw is not None
    }
