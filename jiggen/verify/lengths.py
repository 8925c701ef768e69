"""The lengths that a caliper takes on a finished print, measured in both formats of a body.

A line at mid-height through both faces shows where they are: in the mesh where it crosses the
section's outline, in the STEP where it meets a flat face that stands across it.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
import shapely

from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array, applied
from jiggen.verify.limits import Source
from jiggen.verify.reading.entries import PrintLength
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.step_assembly import StepPiece
from jiggen.verify.results import Ledger, Subject

FLAT = 1e-6  # mm that a face which stands across the line may lean


Look = Callable[[PrintLength], Array]
"""Where the line of a length meets faces of one format of a body; mm along it."""


def judge_lengths(evidence: Evidence, ledger: Ledger) -> None:
    """Judge every length of the manifest, which a person compares a finished print with.

    And, of a length along, that the body's end is square with its edges, as a try square shows.
    """
    manifest, meshes, pieces = evidence.manifest, evidence.meshes, evidence.pieces
    part_of = {part.name: part for part in manifest.parts}
    moved: dict[str, Mesh] = {}
    for length in manifest.print_check:
        part = part_of[length.part]
        found: dict[Source, Look] = {}
        if piece := pieces.get(part.placed[0].name):
            found["STEP"] = partial(_faces_of_step, piece)
        if mesh := meshes.get(part.name):
            body = moved.setdefault(part.name, mesh.moved(part.matrix))
            found["STL"] = partial(_faces_of_mesh, body)
        for source, look in found.items():
            about = ledger.about(source, f"{part.name}, {length.direction}")
            _judge(length, look, limits.LENGTH[source], about)


def _judge(length: PrintLength, look: Look, limit: float, about: Subject) -> None:
    low, high = (_nearest(look(length), end) for end in length.span)
    if low is None or high is None:
        about.fail("verify.length-missing", "no face that the caliper's jaws could be laid to")
        return
    message = f"{high - low:.3f} mm between its faces instead of {length.nominal:.3f} mm"
    about.within(high - low, length.nominal, limit, "verify.length", message)
    if length.direction == "across":
        return
    end, found = (1, high) if length.end == "tip" else (0, low)
    # At the other edge; nothing there is as bad as one that is out of square by CATCH.
    other = _nearest(look(length.model_copy(update={"at": -length.at})), length.span[end])
    off = limits.CATCH if other is None else abs(other - found)
    message = f"its {length.end} end is {off:.3f} mm out of square with its edges"
    about.within(off, 0.0, limit, "verify.square", message)


def _axes(length: PrintLength) -> tuple[int, int]:
    """The axis that the length is measured along, and the other one."""
    return (0, 1) if length.direction == "along" else (1, 0)


def _nearest(faces: Array, end: float) -> float | None:
    """The face nearest to where one should be, None when none is within CATCH."""
    near = min(faces.tolist(), key=lambda face: abs(face - end), default=None)
    return near if near is not None and abs(near - end) < limits.CATCH else None


def _faces_of_mesh(mesh: Mesh, length: PrintLength) -> Array:
    """Where the line through the body meets its outline."""
    along, across = _axes(length)
    found = [np.zeros(0)]
    for loop in mesh.section(length.z):
        one, two = loop, np.roll(loop, -1, axis=0)
        crossed = (one[:, across] > length.at) != (two[:, across] > length.at)
        (a, b), (c, d) = one[crossed][:, [along, across]].T, two[crossed][:, [along, across]].T
        found.append(a + (length.at - b) * (c - a) / (d - b))
    return np.concatenate(found)


def _faces_of_step(piece: StepPiece, length: PrintLength) -> Array:
    """Where the line through the body meets flat faces that stand across it."""
    along, across = _axes(length)
    through = shapely.Point(length.at, length.z)
    found = []
    for flat in piece.shape.flats:
        ends = applied(piece.pose, flat.reshape(-1, 3))
        if not len(ends) or np.ptp(ends[:, along]) > FLAT:
            continue
        edges = shapely.multilinestrings(ends[:, [across, 2]].reshape(-1, 2, 2))
        if shapely.build_area(edges).covers(through):
            found.append(float(ends[0, along]))
    return np.array(found)
