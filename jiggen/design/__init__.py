"""Room: design. Every dimension and position of the jig as plain numbers; no CAD."""

from jiggen.design.jig import Design, design_jig
from jiggen.design.settings import Bed, Bush, Settings, SkiRange

__all__ = ["Bed", "Bush", "Design", "Settings", "SkiRange", "design_jig"]
