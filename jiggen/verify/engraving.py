"""Everything engraved, found in the files: what is wanted is there, and nothing else is.

The record says which signs and lines there are and where; their outlines are drawn here anew and
compared with the floors found at their level, corner by corner.  What the words must be and where
the lines belong, `jiggen.verify.words` judges by the job, not by the record.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from jiggen.verify import engraved, limits, signs
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array
from jiggen.verify.grooves import judge_grooves
from jiggen.verify.meaning import judge_words
from jiggen.verify.reading.engraved import Engraved
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger, Subject

UNDER = 0.3  # mm beyond a face or a floor: where sections show what is there without engravings
WORDS = {"arrow": "arrow to the tip", "axis": "arrow along an axis", "diamond": "clamp's diamond"}


@dataclass(frozen=True, eq=False)
class Item:
    """Something wanted: its name, its shapes and what each is; corners may be `limit` mm off."""

    name: str
    shapes: Sequence[tuple[str, Any]]
    limit: float

    @cached_property
    def whole(self) -> Any:
        """All of its shapes as one."""
        return shapely.union_all([shape for _, shape in self.shapes])


@dataclass(frozen=True, eq=False)
class Found:
    """A face in one format: the `floors` at the engravings' level, and what is open around them.

    `opened` are the areas that the face leaves out, without its edges and the floors; `depth` tells
    how deep the part is at a point.  The STEP shows neither; there the faces are compared.
    """

    floors: NDArray[np.object_]
    opened: Any
    depth: Callable[[Any], float | None] | None


def judge_engraving(evidence: Evidence, ledger: Ledger) -> None:
    """Judge every engraved face of every part, in both formats; then the words, by the job."""
    manifest = evidence.manifest
    if manifest.kind != "gauge" and not manifest.inputs.pattern:
        return  # no jig of jiggen's: nothing says what it is for
    parts = {part.name: part for part in manifest.parts}
    for face in manifest.engraved:
        piece = parts[face.part].placed[0].name
        if piece not in evidence.placed:
            continue  # has been reported
        mesh, step = evidence.placed[piece][2], evidence.pieces.get(piece)
        out = -1.0 if face.down else 1.0
        top = face.floor + out * face.depth
        inside = mesh.material(face.floor - out * UNDER)
        wanted = list(_wanted(face, inside))
        above = mesh.material(top + out * UNDER)
        rim = face.depth + 2 * UNDER  # of what leans out at 45° at an edge
        inner = inside.buffer(-rim, join_style="mitre") - above.buffer(rim, join_style="mitre")
        floors = partial(engraved.floors_of_mesh, mesh)
        depth = partial(_depth, mesh, top, out)
        _judge(face, wanted, _found(floors, face.floor, top, inner, depth), "STL", ledger)
        if step is not None:
            floors = partial(engraved.floors_of_step, step)
            found = _found(floors, face.floor, top, inner, None)
            _judge(face, wanted, found, "STEP", ledger)
        judge_grooves(face, mesh, step, ledger)
    judge_words(evidence, ledger)


def _wanted(face: Engraved, inside: Any) -> Iterator[Item]:
    """What is to be found; lines as far as the part reaches, which is `inside` at their level."""
    for sign in face.signs:
        at = f"({sign.x:.1f}, {sign.y:.1f})"
        name = f"‘{sign.text}’" if sign.kind == "text" else f"{WORDS[sign.kind]} at {at}"
        limit = limits.TEXT if sign.kind == "text" else limits.LADDER
        yield Item(name, signs.shapes_of(sign), limit)
    shapely.prepare(inside)
    for ruled in face.lines:
        for box in ruled.boxes:
            shape = shapely.box(*box)
            if not inside.contains(shape):
                cut = (shape & inside).buffer(-limits.SLIVER, join_style="mitre")
                shape = cut.buffer(limits.SLIVER, join_style="mitre")
            at = f"({(box[0] + box[2]) / 2:.2f}, {(box[1] + box[3]) / 2:.2f})"
            yield Item(f"{ruled.name} at {at}", [("line", shape)], limits.LADDER)


def _found(
    floors: Callable[[float], Array],
    floor: float,
    top: float,
    inner: Any,
    depth: Callable[[Any], float | None] | None,
) -> Found:
    there = _areas(floors(floor))
    if depth is None:  # of faces with curved edges the STEP shows no whole outline
        return Found(there, shapely.MultiPolygon(), depth)
    seen = shapely.build_area(shapely.multilinestrings(floors(top)))
    opened = inner - seen - shapely.MultiPolygon(list(there)).buffer(limits.LADDER)
    return Found(there, opened, depth)


def _areas(segments: Array) -> NDArray[np.object_]:
    areas = shapely.get_parts(shapely.build_area(shapely.multilinestrings(segments)))
    return np.array([area for area in areas if area.area > limits.SPECK_OF_FLOOR], dtype=object)


def _depth(mesh: Mesh, top: float, out: float, point: Any) -> float | None:
    """How deep below a face at `top` the mesh begins at a point."""
    met = engraved.heights_at(mesh, np.array([[point.x, point.y]]), np.inf)[0]
    depths = [out * (top - z) for z in met if out * (top - z) > -engraved.LEVEL]
    return min(depths, default=None)


@dataclass(eq=False)
class _Match:
    """Which wanted areas were found as they must be, and what is left of either."""

    areas: NDArray[np.object_]
    floors: NDArray[np.object_]
    lost: list[int] = field(default_factory=list)
    spare: list[int] = field(default_factory=list)


def _matched(wanted: Sequence[Item], floors: NDArray[np.object_]) -> _Match:
    """Areas side by side: those whose corners lie on one another are found."""
    whole = shapely.union_all([shape for item in wanted for _, shape in item.shapes])
    areas = shapely.get_parts(whole)
    areas = areas[shapely.area(areas) > limits.SPECK_OF_FLOOR]
    match = _Match(areas, floors)
    strict = shapely.union_all(
        [shape for item in wanted if item.limit < limits.TEXT for _, shape in item.shapes]
    )
    shapely.prepare(strict)
    one, two = shapely.bounds(areas), shapely.bounds(floors)
    apart = np.abs(one[:, None] - two[None]).max(axis=2, initial=0.0)
    pairs = np.argwhere(apart <= limits.TEXT)
    limit = np.where(strict.intersects(areas), limits.LADDER, limits.TEXT)[pairs[:, 0]]
    off = shapely.hausdorff_distance(
        shapely.boundary(areas[pairs[:, 0]]), shapely.boundary(floors[pairs[:, 1]])
    )
    good = pairs[off <= limit + engraved.LEVEL]
    match.lost = sorted(set(range(len(areas))) - set(good[:, 0].tolist()))
    match.spare = sorted(set(range(len(floors))) - set(good[:, 1].tolist()))
    return match


def _judge(
    face: Engraved, wanted: Sequence[Item], found: Found, source: str, ledger: Ledger
) -> None:
    match = _matched(wanted, found.floors)
    lost = shapely.union_all(match.areas[match.lost])
    spare = found.floors[match.spare]
    excused = []
    for item in wanted:
        about = ledger.about(source, f"{face.part}, {item.name}")
        bad = [one for one in item.shapes if one[1].intersection(lost).area > limits.SPECK_OF_FLOOR]
        if about.expect(not bad, "", ""):
            continue
        ledger.faults.pop()
        _explain(about, item, bad, spare, found, face.depth)
        excused.append(item.whole)
    margin = limits.TEXT
    known = shapely.union_all([*excused, *match.areas]).buffer(margin, join_style="mitre")
    over = shapely.get_parts(shapely.union_all([*spare, found.opened]) - known)
    parts = shapely.get_parts(shapely.union_all(over).buffer(-margin).buffer(margin))
    for part in _clusters([part for part in parts if part.area > limits.SPECK_OF_FLOOR]):
        x0, y0, x1, y1 = part.bounds
        deep = found.depth(part.representative_point()) if found.depth else None
        message = (
            f"an engraving that is not wanted, {x1 - x0:.1f} × {y1 - y0:.1f} mm about "
            f"({(x0 + x1) / 2:.1f}, {(y0 + y1) / 2:.1f}), {part.area:.1f} mm²"
        )
        message += f", {deep:.2f} mm deep" if deep is not None else ""
        ledger.about(source, face.part).fail("verify.engraving-extra", message)
    ledger.checked[ledger.what] += 1


def _clusters(parts: Sequence[Any]) -> list[Any]:
    """What lies close together, as one: the letters of a word."""
    if not parts:
        return []
    near = shapely.get_parts(shapely.union_all([part.buffer(limits.TOGETHER) for part in parts]))
    return [shapely.union_all([part for part in parts if part.intersects(one)]) for one in near]


def _explain(
    about: Subject,
    item: Item,
    bad: Sequence[tuple[str, Any]],
    spare: NDArray[np.object_],
    found: Found,
    depth: float,
) -> None:
    """Say in which way an item is not as it must be."""
    shift = _shift([shape for _, shape in bad], spare)
    x, y = shift if shift else (0.0, 0.0)
    far = float(np.hypot(x, y))
    if shift and far > limits.LADDER:
        message = f"lies {far:.2f} mm off: {_way(x, 'tip', 'tail')}, {_way(y, 'left', 'right')}"
        about.within(far, 0.0, item.limit, "verify.engraving-moved", message)
        return
    whole = shapely.union_all([shape for _, shape in bad])
    floors = shapely.union_all(spare) & whole.buffer(limits.TOGETHER)
    if (whole & found.opened).area > 0.5 * whole.area:
        point = (whole & found.opened).representative_point()
        deep = found.depth(point) if found.depth else None
        is_deep = "is not" if deep is None else f"is {deep:.2f} mm deep instead of"
        message = f"{is_deep} {depth:.2f} mm" + (" deep" if deep is None else "")
        about.expect(False, "verify.engraving-deep", message, deep, depth, engraved.LEVEL, "mm")
        return
    if (floors & whole).area < 0.1 * whole.area:
        about.fail("verify.engraving-missing", f"is not there{_which(item, bad)}")
        return
    for way, (sx, sy) in _TURNED.items():
        middle = shapely.box(*whole.bounds).centroid
        turned = shapely.affinity.scale(whole, sx, sy, origin=middle)
        if turned.boundary.hausdorff_distance(floors.boundary) <= limits.TEXT:
            about.fail("verify.engraving-wrong", f"is engraved {way}{_which(item, bad)}")
            return
    off = float(whole.boundary.hausdorff_distance(floors.boundary))
    message = f"has another outline{_which(item, bad)}, up to {off:.2f} mm off"
    about.expect(False, "verify.engraving-wrong", message, off, 0.0, item.limit, "mm")


_TURNED = {
    "pointing the other way, or back to front": (-1, 1),
    "upside down": (1, -1),
    "turned half round": (-1, -1),
}


def _which(item: Item, bad: Sequence[tuple[str, Any]]) -> str:
    """Which letters of a text are bad, if not all."""
    if len(bad) == len(item.shapes):
        return ""
    numbered = {id(shape): number for number, (_, shape) in enumerate(item.shapes, start=1)}
    named = ", ".join(f"‘{text}’ ({numbered[id(shape)]})" for text, shape in bad[:4])
    return f" at its {'letter' if len(bad) == 1 else 'letters'} {named}"


def _way(by: float, one: str, other: str) -> str:
    return f"{abs(by):.2f} mm to the {one if by > 0 else other}"


def _shift(shapes: Sequence[Any], spare: NDArray[np.object_]) -> tuple[float, float] | None:
    """By how much `shapes` lie elsewhere, as they are, among `spare`; None where they do not."""
    if not len(spare):
        return None
    there = shapely.bounds(spare)
    here = shapely.bounds(list(shapes))
    sizes = there[:, 2:] - there[:, :2]
    for near in np.argsort(np.abs(there - here[0]).max(axis=1))[: limits.TRIED]:
        x, y = ((there[near, :2] - here[0, :2]) + (there[near, 2:] - here[0, 2:])) / 2
        apart = (
            np.abs((here + np.array([x, y, x, y]))[:, None] - there[None]).max(axis=2).min(axis=1)
        )
        if (
            np.abs(sizes[near] - (here[0, 2:] - here[0, :2])).max() <= limits.TEXT
            and (apart <= limits.TEXT).all()
        ):
            return float(x), float(y)
    return None
