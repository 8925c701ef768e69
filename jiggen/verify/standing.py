"""What a jig stands on, by the written files: square to its holes, beside each, clear of burrs."""

import numpy as np

from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.reading.bodies import BodyShape
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger

LOOK = 3.0  # mm from z = 0 that faces are looked for which a body stands on
DOWN = 0.9  # of a facet's normal that points down, of such faces


def judge_standing(evidence: Evidence, ledger: Ledger) -> None:
    """Every hole of a jig has a support near it on either side: else the body gives way there.

    None is so near that what a drill raises around its hole would lift the jig.
    """
    from shapely import Point, box

    manifest = evidence.manifest
    for shape in manifest.bodies:
        if mesh := evidence.bodies.get(shape.part):
            found = _lean(shape, mesh)
            message = f"it leans {found:.3f} degrees on the ski, its holes with it"
            about = ledger.about("STL", shape.part)
            about.within(found, 0.0, limits.TILT, "verify.lean", message, "degrees")
    for part in manifest.parts:
        if part.kind != "body" or part.name not in evidence.bodies:
            continue
        foot = evidence.bodies[part.name].material(limits.STANDING)
        for hole, guide in manifest.guided:
            if guide.part != part.name:
                continue
            about, near, far = ledger.about("STL", hole.id), limits.SUPPORTED, limits.FAR
            for side, low, high in (("left", hole.y, far), ("right", -far, hole.y)):
                beside = foot & box(hole.x - near, low, hole.x + near, high)
                message = f"nothing stands on the ski within {near:g} mm of it on the {side}"
                about.expect(not beside.is_empty, "verify.support", message)
            free = float(foot.distance(Point(hole.x, hole.y))) - hole.diameter / 2
            message = f"the jig stands {free:.2f} mm from its wall, on what a drill raises"
            clear, numbers = free >= limits.BURR, (free, limits.BURR, 0.0)
            about.expect(clear, "verify.burr", message, *numbers, "mm")


def _lean(shape: BodyShape, mesh: Mesh) -> float:
    """Degrees between the ski and the plane through all that the body stands on; mean squares."""
    import shapely

    corners, normals = mesh.vertices[mesh.triangles], mesh.normals
    middles = corners.mean(axis=1)
    cuts = shapely.union_all([cut.plan(0.0) for cut in shape.cuts if cut.z[0] <= 0.0])
    foot = shape.standing.difference(cuts)
    chosen = (normals[:, 2] < -DOWN) & (np.abs(middles[:, 2]) < LOOK)
    chosen[chosen] = shapely.contains_xy(foot, middles[chosen][:, :2])
    points = corners[chosen].reshape(-1, 3)
    if len(points) < 3:
        return 90.0
    design = np.column_stack([points[:, :2], np.ones(len(points))])
    (a, b, _), *_ = np.linalg.lstsq(design, points[:, 2], rcond=None)
    return float(np.degrees(np.arctan(np.hypot(a, b))))
