"""Engraved grooves in upright faces: down the sight windows, down the walls of a ladder's tongue.

A line just behind the face crosses a groove's two sides, at every height; one behind its floor
crosses none.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

import numpy as np
import shapely

from jiggen.verify import engraved, limits
from jiggen.verify.geometry import Array
from jiggen.verify.reading.engraved import Box, Engraved
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.step_assembly import StepPiece
from jiggen.verify.results import Ledger, Subject

HEIGHTS = (0.3, 0.5, 0.8)  # of a groove's height, where it is looked for, besides both ends
NEAR_END = 0.3  # mm from its ends, likewise
JUST = 0.1  # mm before and behind a groove's floor, and behind the face that it is in


@dataclass(frozen=True)
class _Row:
    """Grooves side by side in a face: `back` is the y of their floors, `inwards` the way there."""

    name: str
    boxes: tuple[Box, ...]
    back: float
    inwards: float

    def at(self, behind: float) -> float:
        """The y of what lies `behind` the grooves' floors."""
        return self.back + self.inwards * behind


def judge_grooves(face: Engraved, mesh: Mesh, step: StepPiece | None, ledger: Ledger) -> None:
    """Judge the grooves of a face's part in both formats."""
    cuts: dict[str, Callable[[float], Array]] = {"STL": partial(engraved.outline_of_mesh, mesh)}
    if step is not None:
        cuts["STEP"] = partial(engraved.outline_of_step, step)
    solid = cache(mesh.material)
    for source, cut in cuts.items():
        outline = cache(cut)
        for ruled in face.grooves:
            low, high = ruled.z or (0.0, 0.0)
            for row in _rows(ruled.name, ruled.boxes, solid((low + high) / 2)):
                ends = low + NEAR_END, high - face.depth - NEAR_END
                between = [low + (high - low) * share for share in HEIGHTS]
                for z in (*ends, *between):
                    about = ledger.about(source, f"{face.part}, {row.name}")
                    _judge(about, row, face.depth, z, solid(z), outline(z), lowest=z == ends[0])


def _rows(name: str, boxes: tuple[Box, ...], inside: Any) -> Iterator[_Row]:
    """The rows of grooves, each in its face; `inside` is the part where it is cut there."""
    rows: dict[tuple[float, float], list[Box]] = {}
    for box in boxes:
        rows.setdefault((box[1], box[3]), []).append(box)
    for (low, high), mine in rows.items():
        xs = [x for box in mine for x in (box[0] - JUST, box[2] + JUST)]
        below, above = (
            int(shapely.contains_xy(inside, xs, [y] * len(xs)).sum())
            for y in (low + JUST, high - JUST)
        )
        way = 1.0 if above > below else -1.0
        yield _Row(name, tuple(mine), high if way > 0 else low, way)


def _judge(
    about: Subject, row: _Row, depth: float, z: float, inside: Any, outline: Array, *, lowest: bool
) -> None:
    """Every groove of a row at one height: both sides, the floor, and none that is not wanted."""
    edges = np.array([(box[0], box[2]) for box in row.boxes])
    here = shapely.contains_xy(
        inside, edges + np.array([-JUST, JUST]), np.full(edges.shape, row.at(2 * JUST))
    )
    if lowest and not here.any():
        return  # relieved at the foot: there is no wall
    room = limits.GROOVED if len(row.boxes) == 1 and row.name.startswith(MARK) else limits.BESIDE
    start, stop = edges.min() - room, edges.max() + room
    seen: list[Array] = []
    for behind in (JUST - depth, -JUST, JUST):
        at = engraved.crossings(outline, row.at(behind))
        seen.append(at[(at > start) & (at < stop)])
    excused = []
    for (x0, x1), (one, other) in zip(edges.tolist(), here.tolist(), strict=True):
        wanted = [x for x, there in ((x0, one), (x1, other)) if there]
        near = [_nearest(found, wanted) for found in seen[:2]]
        where = f"at x {(x0 + x1) / 2:.2f}, {z:.1f} mm above the ski"
        off = max((float(np.abs(found - wanted).max()) for found in near if len(found)), default=0)
        if not wanted or any(len(found) < len(wanted) for found in near):
            if len(near[0]) < len(wanted) or not wanted:
                code, message = "verify.engraving-missing", f"is not there {where}"
            else:
                code, message = "verify.engraving-deep", f"is not {depth:g} mm deep {where}"
            about.fail(code, message)
            excused.append((x0, x1))
        else:
            by = float(np.mean(near[0] - wanted))
            message = f"{where}, lies {off:.2f} mm off, to the {'tip' if by > 0 else 'tail'}"
            if not about.within(off, 0.0, limits.LADDER, "verify.engraving-moved", message):
                excused.append((x0 - limits.LINE_CATCH, x1 + limits.LINE_CATCH))
        # Of a groove at the body's end only that end may be crossed behind its floor.
        first, last = (x0, x1) if one and other else (x1, x1) if other else (x0, x0)
        crossed = [x for x in seen[2].tolist() if first - JUST < x < last + JUST]
        message = f"is more than {depth:g} mm deep {where}"
        about.expect(not crossed, "verify.engraving-deep", message)
    known = np.concatenate([edges.ravel(), *excused]) if excused else edges.ravel()
    for x in seen[0].tolist():
        inside_one = any(a - limits.LADDER <= x <= b + limits.LADDER for a, b in excused)
        wanted_one = bool((np.abs(known - x) <= limits.LADDER).any())
        message = f"something is cut at x {x:.2f}, {z:.1f} mm above the ski, that is not wanted"
        about.expect(inside_one or wanted_one, "verify.engraving-extra", message)


MARK = "boot-centre line"


def _nearest(found: Array, wanted: list[float]) -> Array:
    """Of each wanted side the one nearest to it; none where there is none within CATCH."""
    if not len(found) or not wanted:
        return np.zeros(0)
    nearest = found[np.abs(found[None] - np.array(wanted)[:, None]).argmin(axis=1)]
    near = (np.abs(nearest - wanted) <= limits.GROOVE_CATCH).all()
    return nearest if near and len(set(nearest.tolist())) == len(wanted) else np.zeros(0)
