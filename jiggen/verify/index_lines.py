"""The line across each rail, found in its STL as it is placed in use.

Read at the body's edges it shows whether both rails of a station are in mesh as they must be: a
rail that is one tooth off has its line a whole pitch farther out, or in, than the other.
"""

from jiggen.verify import engraved, limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.reading.entries import IndexLine
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger


def judge_index_lines(evidence: Evidence, ledger: Ledger) -> None:
    """Both lines of each station must be there, and equally far from the centre line."""
    manifest, meshes = evidence.manifest, evidence.meshes
    placed = {one.name: (part, one) for part in manifest.parts for one in part.placed}
    for line in manifest.index_lines:
        found = []
        for rail, (x, y) in zip(line.rails, line.at, strict=True):
            about = ledger.about("STL", rail)
            part, place = placed.get(rail, (None, None))
            if part is None or place is None:
                about.fail(
                    "verify.index-missing",
                    "it should bear an index line, and is not among the parts",
                )
            elif mesh := meshes.get(part.name):
                at = _line(mesh.moved(place.matrix), x, y, line.z)
                message = f"no line across it at y {y:.3f}, z {line.z:g}"
                if about.expect(at is not None, "verify.index-missing", message) and at:
                    found.append(at)
        _judge_pair(line, found, ledger)


def _line(mesh: Mesh, x: float, y: float, z: float) -> float | None:
    """The y of the line nearest to `y` that the plane at `x` crosses; floors are at height `z`."""
    floors = engraved.floors_of_mesh(mesh, z)[:, :, ::-1]
    lines = ((a + b) / 2 for a, b in engraved.cut_by(floors, x, limits.WIDEST_LINE))
    near = [at for at in lines if abs(at - y) <= limits.LINE_CATCH]
    return min(near, key=lambda at: abs(at - y), default=None)


def _judge_pair(line: IndexLine, found: list[float], ledger: Ledger) -> None:
    if len(found) < len(line.rails):
        return  # has been reported
    off = abs(sum(found))
    message = f"the lines across its rails stand {off:.2f} mm unequally far out"
    about = ledger.about("STL", f"{line.station} station")
    about.within(off, 0.0, limits.LADDER, "verify.index-uneven", message)
