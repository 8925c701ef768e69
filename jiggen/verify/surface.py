"""The whole surface of each STL file against the faces of its STEP: the net under all other checks.

Whatever those look for, nothing else may be there: no bump, pit, groove or hole, filled or new.
"""

from __future__ import annotations

import numpy as np

from jiggen.files import STEP_FILE
from jiggen.verify import limits
from jiggen.verify.covering import Covering
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array, applied
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.step_assembly import StepPiece
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.shells import where
from jiggen.verify.surfaces import Surfaces

OF_PRINTING = "verify.print-"  # says how a part prints, not what is wrong with its shape
OF_SOLID = "verify.step-"


def judge_surface(evidence: Evidence, ledger: Ledger) -> None:
    """Every triangle must lie on a face, and the triangles of each face cover it, once.

    Where the cause of what is off has been named already, nothing is said again.
    """
    manifest = evidence.manifest
    named = {
        (fault.source, fault.subject)
        for fault in ledger.faults
        if not fault.code.startswith(OF_PRINTING)
    }
    for part in (part for part in manifest.parts if part.name in evidence.meshes):
        holes = {guide.id for guide in manifest.guides if guide.part == part.name}
        spoken = {part.name, *holes, *(placed.name for placed in part.placed)}
        silent = any(
            source == part.file
            or (source == "STL" and subject in spoken)
            or (source == STEP_FILE and subject in spoken)
            for source, subject in named
        )
        mesh = evidence.meshes[part.name]
        if silent or mesh.open_edges:
            continue
        seen: set[int] = set()
        for placed in (placed for placed in part.placed if placed.name in evidence.pieces):
            piece = evidence.pieces[placed.name]
            if id(piece.shape) not in seen and len(piece.shape.kind):
                seen.add(id(piece.shape))
                judge_piece(piece, placed.matrix, mesh, ledger.about(part.file, part.name))


def judge_piece(piece: StepPiece, to_ski: Array, mesh: Mesh, about: Subject) -> None:
    """A mesh, which `to_ski` carries to its place, against the shape of one piece."""
    vertices = applied(np.linalg.pinv(piece.pose) @ to_ski, mesh.vertices)
    covering = Covering(vertices, mesh.triangles, Surfaces(piece.shape))
    sound = _judge_places(covering, piece, about)
    _judge_chords(covering, piece, about)
    if sound:
        _judge_cover(covering, piece, about)


def _judge_places(covering: Covering, piece: StepPiece, about: Subject) -> bool:
    """Whether every triangle lies on a face; a fault, and where the worst is, if not."""
    corners = covering.vertices[covering.triangles]
    size = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    lost = np.flatnonzero(covering.face < 0)
    message = ""
    if len(lost):
        largest = lost[np.argmax(size[lost])]
        message = (
            f"{len(lost)} triangles, {size[lost].sum():.2f} mm², meet no edge of any face of the "
            f"STEP, the largest {where(piece, corners[largest].mean(axis=0))}"
        )
    known = about.within(len(lost), 0, 0, "verify.surface-extra", message, "")
    reach = covering.reach
    off = np.flatnonzero(~(reach <= limits.SHAPE))
    worst, area, at = 0.0, 0.0, ""
    if len(reach):
        first = int(np.argmax(np.where(np.isnan(reach), np.inf, reach)))
        triangle = int(covering.placed[first])
        far = covering.surfaces.off(np.repeat(covering.face[triangle], 3), corners[triangle])
        worst, area = float(reach[first]), float(size[covering.placed[off]].sum())
        at = where(piece, corners[triangle, int(np.argmax(np.abs(far)))])
    message = (
        f"{len(off)} triangles, {area:.2f} mm², are not on their faces of the STEP: up to "
        f"{worst:.3f} mm off {at}"
    )
    return about.within(worst, 0.0, limits.SHAPE, "verify.surface", message) and known


def _judge_chords(covering: Covering, piece: StepPiece, about: Subject) -> None:
    """Facets must not cut too deep into round faces and edges."""
    start, stop, _ = covering.halves
    along, _, chord = covering.along
    good = covering.reach <= limits.SHAPE
    triangles = covering.triangles[covering.placed[good]]
    depth = np.concatenate([chord[along >= 0], covering.sag[good]])
    ends = np.stack([start, stop], axis=1)[along >= 0]
    points = np.vstack(
        [covering.vertices[ends].mean(axis=1), covering.vertices[triangles].mean(axis=1)]
    )
    if not len(depth):
        return
    deepest = int(np.argmax(depth))
    message = (
        f"is drawn with chords that cut in by {depth[deepest]:.4f} mm "
        f"{where(piece, points[deepest])} (limit {limits.FACET:g} mm)"
    )
    about.within(float(depth[deepest]), 0.0, limits.FACET, "verify.coarse", message)


def _judge_cover(covering: Covering, piece: StepPiece, about: Subject) -> None:
    """The triangles of each face must add up to it, none of them turned over."""
    turned = np.minimum(covering.shown, 0.0)
    corners = covering.vertices[covering.triangles[covering.placed]]
    at = where(piece, corners[int(np.argmin(turned))].mean(axis=0)) if len(turned) else ""
    area = -float(turned.sum())
    message = f"{area:.2f} mm² of its triangles are folded over, with the wrong side out, {at}"
    about.within(area, 0.0, limits.FOLDED, "verify.surface-folded", message, "mm²")
    covered, wanted, slack = covering.areas()
    off = np.abs(covered - wanted) - slack
    group = int(np.argmax(np.where(np.isnan(off), np.inf, off)))
    shape = piece.shape
    face = int(np.flatnonzero(covering.groups == group)[0])
    bounds = shape.corners[shape.ends[shape.edge[shape.face == face]]].reshape(-1, 3)
    at = where(piece, bounds.mean(axis=0)) if len(bounds) else ""
    found, full = float(covered[group]), float(wanted[group])
    message = f"a face of {full:.2f} mm² {at} is covered by {found:.2f} mm² of triangles"
    about.within(found, full, float(slack[group]), "verify.surface-area", message, "mm²")
