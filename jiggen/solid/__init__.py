"""Room: solid. Draws a design with the CAD kernel, as a `Model`; chooses nothing."""

import jiggen.solid.kernel  # noqa: F401 - before any other of its modules
from jiggen.solid.model import Model, Part, build_jig_model, mesh_of
from jiggen.solid.step import step_bytes

__all__ = ["Model", "Part", "build_jig_model", "mesh_of", "step_bytes"]
