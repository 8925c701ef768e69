"""The parts of a jig as solids, and their meshes."""

import errno
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.StlAPI import StlAPI_Writer

from jiggen.cores import processes_enough
from jiggen.design.jig import Design
from jiggen.design.pieces import Piece, list_pieces
from jiggen.progress import announce
from jiggen.solid.body import make_body, make_knob, make_pinion, make_rail
from jiggen.solid.shapes import location_of, one_solid

SAGITTA = 0.004  # mm between a curve and its chords, absolute
ANGLE = 0.35  # rad between neighbouring facets, at most
KEPT = 8  # meshes in a process's cache: those of the moving parts outlast a jig's two bodies
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


@dataclass(frozen=True, eq=False)
class Part:
    """One printed part: its piece (name and poses), its solid and that solid's volume in mm³."""

    piece: Piece
    shape: cq.Shape
    volume: float

    @property
    def name(self) -> str:
        """The part's name."""
        return self.piece.name


def draw_jig(design: Design) -> Iterator[Part]:
    """Every part of `design` as a valid solid, one after the other."""
    makers: dict[str, Callable[[], cq.Shape]] = {
        "rail": partial(make_rail, design.mechanism.rail),
        "pinion": partial(make_pinion, design.mechanism.pinion),
        "knob": partial(make_knob, design.mechanism.knob),
        **{body.name: partial(make_body, body, design) for body in design.bodies},
    }
    return draw_pieces(list_pieces(design), makers)


def draw_pieces(
    pieces: Iterable[Piece], makers: Mapping[str, Callable[[], cq.Shape]]
) -> Iterator[Part]:
    """Every one of `pieces` as a valid solid, by the maker for its name; drawn when asked for."""
    for piece in pieces:
        announce(f"solid: {piece.name}")
        solid = one_solid(makers[piece.name](), piece.name)
        yield Part(piece, solid, float(solid.Volume()))


def mesh_of(part: Part) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Vertices (n, 3), mm, in print position, and triangles (m, 3), within SAGITTA of curves."""
    vertices, triangles = _mesh(part.shape, part.piece.to_bed.tobytes())
    return vertices.copy(), triangles.copy()


@lru_cache(maxsize=KEPT)
def _mesh(shape: cq.Shape, to_bed: bytes) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The mesh of `shape` carried by a 4×4 given as its bytes."""
    # A copy: solids of one process share faces with cached tools, and a mesh would stay
    # on them.
    laid = shape.copy().moved(location_of(np.frombuffer(to_bed).reshape(4, 4)))
    parallel = not processes_enough()  # the mesh is the same
    BRepMesh_IncrementalMesh(laid.wrapped, SAGITTA, False, ANGLE, parallel)
    # The kernel's own STL is its quickest way out: by node and triangle it takes half as long
    # again as the mesh.
    writer = StlAPI_Writer()
    writer.ASCIIMode = False
    with TemporaryDirectory() as folder:
        path = Path(folder, "part.stl")
        written = writer.Write(laid.wrapped, str(path))
        data = path.read_bytes() if written else b""
        if not data or len(data) != 84 + FACET.itemsize * int.from_bytes(data[80:84], "little"):
            raise OSError(errno.EIO, "the CAD kernel could not write a mesh whole", str(path))
        facets = np.frombuffer(data, FACET, offset=84)
    return _welded(facets["corners"])


def _welded(corners: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Triangles (m, 3, 3) as points, equal ones made one, and corners (m, 3)."""
    exact = np.round(corners.reshape(-1, 3).astype(np.float64), 6)
    single = exact.astype(np.float32).astype(np.float64) + 0.0  # no negative zero
    unique, index = np.unique(single, axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    proper = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    return unique, faces[proper]
