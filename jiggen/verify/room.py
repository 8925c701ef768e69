"""Whether the drill's depth stop and its chuck pass the knobs, by the written files."""

from collections.abc import Iterator, Mapping

from jiggen.verify import limits
from jiggen.verify.manifest import Manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.results import Ledger


def judge_room(manifest: Manifest, meshes: Mapping[str, Mesh], ledger: Ledger) -> None:
    """Every hole's room beside every knob that is on the ski together with it."""
    knobs = tuple(_knobs(manifest, meshes))
    for hole, guide in manifest.guided:
        if guide.collar is None:
            continue
        for name, part, knob in knobs:
            # Halves with ladders are used one after the other.
            if manifest.ladders and part != guide.part:
                continue
            about, reach = ledger.about("STL", hole.id), max(guide.collar, limits.CHUCK) / 2
            free = knob.free_radius(hole.x, hole.y, reach)
            message = (
                f"{name} stands {free:.2f} mm from its axis, in the way of a depth stop "
                f"{guide.collar:g} mm wide"
            )
            passes, numbers = free >= guide.collar / 2, (2 * free, guide.collar, 0.0)
            about.expect(passes, "verify.collar", message, *numbers, "mm")
            top = float(knob.vertices[:, 2].max())
            over = free >= limits.CHUCK / 2 or top <= guide.chuck_z
            message = f"{name} reaches up to {top:.2f} mm, a chuck down to {guide.chuck_z:.2f} mm"
            about.expect(over, "verify.chuck", message, top, guide.chuck_z, 0.0, "mm")


def _knobs(manifest: Manifest, meshes: Mapping[str, Mesh]) -> Iterator[tuple[str, str, Mesh]]:
    """Each knob in use: its name, the part that it is on, and its mesh in the ski frame."""
    for part in manifest.parts:
        for placed in part.placed if part.kind == "knob" and part.name in meshes else ():
            mesh = meshes[part.name].moved(placed.matrix)
            middle = (mesh.vertices[:, 0].min() + mesh.vertices[:, 0].max()) / 2
            near = min(manifest.openings, key=lambda one: abs(one.x - middle), default=None)
            yield placed.name, near.part if near else "", mesh
