"""Room: solid. Draws a design with the CAD kernel; chooses nothing. The only importer of it.

Everything leaves this room as a :class:`Model`: named solids, each with the poses that the
design gave it.
"""

from jiggen.solid.model import Model, Part, build_jig_model, mesh_of, write_step

__all__ = ["Model", "Part", "build_jig_model", "mesh_of", "write_step"]
