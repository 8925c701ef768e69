"""Room: solid. Draws a design with the CAD kernel, as `Part`s; chooses nothing."""

import jiggen.solid.kernel  # noqa: F401 - before any other of its modules
from jiggen.solid.model import Part, draw_jig, mesh_of
from jiggen.solid.step import step_bytes

__all__ = ["Part", "draw_jig", "mesh_of", "step_bytes"]
