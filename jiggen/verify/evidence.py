"""What was read from a folder's files: all that the checks look at."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NoReturn

from jiggen.verify.reading.entries import Part, Placed
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.step_assembly import StepPiece
from jiggen.verify.solids import Solid, posed, solid_of
from jiggen.verify.stations import Side, put_together


class Unread(dict[str, StepPiece]):
    """In place of the STEP's pieces where checks are made that must not look at them."""

    def _refused(self, *_: object) -> NoReturn:
        raise LookupError("a check that was made ahead looked at the STEP file")

    __getitem__ = __iter__ = __contains__ = __len__ = get = items = keys = values = _refused


@dataclass(frozen=True, eq=False)
class Evidence:
    """A folder, its manifest, and of the files what could be read; lengths in mm.

    `meshes` are those of the STL files by part, as designed (what was done for a printer is
    undone), each in its file's frame; `pieces` the STEP's by the name of the placed piece.
    """

    folder: Path
    manifest: Manifest
    meshes: Mapping[str, Mesh]
    pieces: Mapping[str, StepPiece]

    @cached_property
    def of_meshes(self) -> bytes:
        """SHA-256 of the meshes and of the manifest, but for files and an earlier verification."""
        made = hashlib.sha256()
        made.update(self.manifest.model_dump_json(exclude={"files", "verification"}).encode())
        for name, mesh in self.meshes.items():
            made.update(f"\0{name}\0{mesh.vertices.shape}{mesh.triangles.shape}".encode())
            made.update(mesh.vertices.tobytes())
            made.update(mesh.triangles.tobytes())
        return made.digest()

    @cached_property
    def placed(self) -> Mapping[str, tuple[Part, Placed, Mesh]]:
        """Every placed piece whose mesh could be read, by name: its mesh in the ski frame."""
        return {
            placed.name: (part, placed, self.meshes[part.name].moved(placed.matrix))
            for part in self.manifest.parts
            if part.name in self.meshes
            for placed in part.placed
        }

    @cached_property
    def bodies(self) -> Mapping[str, Mesh]:
        """The meshes of the bodies in the ski frame, by part."""
        return {part.name: mesh for part, _, mesh in self.placed.values() if part.is_body}

    @cached_property
    def solids(self) -> Mapping[str, Solid]:
        """Every placed piece whose mesh is a solid, by name, in the ski frame."""
        found: dict[str, Solid] = {}
        for part in self.manifest.parts:
            mesh = self.meshes.get(part.name)
            if mesh and (solid := solid_of(mesh)) is not None:
                found |= {placed.name: posed(solid, placed.matrix) for placed in part.placed}
        return found

    @cached_property
    def sides(self) -> tuple[Side, ...]:
        """Both sides of every station, whose rail and body could be read."""
        return tuple(put_together(self))
