"""Room: layout.  From a pattern and a boot to the holes of one ski in 2D; numpy only."""

from jiggen.layout.core import (
    Layout,
    Motion,
    lay_out,
    layouts,
    motions,
    numbered,
    recorded_layout,
    whole_boots,
)

__all__ = [
    "Layout",
    "Motion",
    "lay_out",
    "layouts",
    "motions",
    "numbered",
    "recorded_layout",
    "whole_boots",
]
