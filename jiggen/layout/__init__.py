"""Room: layout.  From a pattern and a boot to the holes of one ski in 2D; numpy only."""

from jiggen.layout.core import layout, numbered
from jiggen.layout.model import Layout

__all__ = ["Layout", "layout", "numbered"]
