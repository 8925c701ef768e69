"""What a jig stands on, by the written files: beside every hole, and clear of a drill's burr."""

from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.results import Ledger


def judge_standing(evidence: Evidence, ledger: Ledger) -> None:
    """Every hole of a jig has a support near it on either side: else the body gives way there.

    None is so near that what a drill raises around its hole would lift the jig.
    """
    from shapely import Point, box

    manifest = evidence.manifest
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
