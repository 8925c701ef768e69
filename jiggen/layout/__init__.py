"""Room: layout.  From a pattern and a boot to the holes of one ski in 2D; numpy only."""

from jiggen.layout.core import layout, numbered
from jiggen.layout.model import Layout, recorded_layout
from jiggen.layout.span import Motion, layouts, motions, whole_boots

__all__ = [
    "Layout",
    "Motion",
    "layout",
    "layouts",
    "motions",
    "numbered",
    "recorded_layout",
    "whole_boots",
]
