"""The least wall of a part, against the lines that a nozzle lays."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from jiggen.outcome import PrintCheck, PrintPlace
from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.overhangs import at
from jiggen.verify.reading.mesh import Mesh

STEP = 0.5  # mm along an outline between the places measured
SAME = 0.5  # mm: a wall's middle, from one height to the next
NEXT_TO = 1e-4  # mm: a ray starts this far inside
# Of a file gone wild, by inches or worse, less is looked at: it has failed already (our choice).
MOST_HEIGHTS, MOST_POINTS, MOST_FAULTS = 400, 300_000, 5000


@dataclass(frozen=True, eq=False)
class Across:
    """Walls met at one height `z`: middles (n, 2), directions across (n, 2), widths (n,), mm."""

    z: float
    middle: Array
    way: Array
    width: Array


def judge_walls(mesh: Mesh, base: float) -> PrintCheck:
    """The least wall that stands MARK high: what is less high is an engraving or a bevel."""
    top = float(mesh.vertices[:, 2].max())
    pitch = max(limits.MARK, (top - base) / MOST_HEIGHTS)
    heights = np.arange(base + pitch / 2, top, pitch)
    seen = [across(mesh, float(z), MOST_POINTS // len(heights)) for z in heights]
    places = [place for low, high in pairwise(seen) for place in _standing(low, high)]
    places.sort(key=lambda place: place.found)
    least, most = places[0].found if places else limits.WIDEST, limits.WALL
    where = at(places[0]) if places else ""
    message = (
        f"a wall of {least:.2f} mm {where}; two lines of a {limits.NOZZLE:g} mm nozzle need "
        f"{most:g} mm"
    )
    apart: list[PrintPlace] = []  # one place per wall is enough
    for place in (place for place in places if place.found < most):
        here = np.mean(place.bed, axis=0)
        if all(np.linalg.norm(here - np.mean(other.bed, axis=0)) > 5.0 for other in apart):
            apart.append(place)
    worst = apart or places[:1]
    return PrintCheck.of("verify.print-wall", least, "least", most, "mm", message, worst)


def across(mesh: Mesh, z: float, most: int = MOST_POINTS) -> Across:
    """Walls less than WIDEST wide at height `z`, FACING off parallel, seen from `most` points."""
    loops = mesh.section(z)
    if not loops:
        return Across(z, np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0))
    starts = np.vstack(loops)
    edges = np.vstack([np.roll(loop, -1, axis=0) for loop in loops]) - starts
    length = np.linalg.norm(edges, axis=1)
    inwards = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.maximum(length, 1e-12)[:, None]
    step = max(STEP, float(length.sum()) / most)
    own, points = _spread(loops, length, starts, edges, step)
    way = inwards[own]
    width, hit = _first_hits(points, way, starts, edges)
    facing = (way * inwards[hit]).sum(axis=1) < -np.cos(np.radians(limits.FACING))
    wall = facing & np.isfinite(width)
    middle = points[wall] + way[wall] * width[wall][:, None] / 2
    return Across(z, middle, way[wall], width[wall])


def _spread(
    loops: list[Array], length: Array, starts: Array, edges: Array, step: float
) -> tuple[NDArray[np.int64], Array]:
    """Points about `step` mm apart along each loop, and the edge that each lies on."""
    own: list[NDArray[np.int64]] = []
    shares: list[Array] = []
    first = 0
    for loop in loops:
        ends = np.cumsum(length[first : first + len(loop)])
        count = max(3, int(np.ceil(ends[-1] / step)))
        along = (np.arange(count) + 0.5) * ends[-1] / count
        index = np.minimum(np.searchsorted(ends, along, side="right"), len(loop) - 1)
        own.append(first + index)
        shares.append(1 - (ends[index] - along) / np.maximum(length[first + index], 1e-12))
        first += len(loop)
    edge = np.concatenate(own)
    return edge, starts[edge] + np.concatenate(shares)[:, None] * edges[edge]


def _first_hits(
    points: Array, way: Array, starts: Array, edges: Array
) -> tuple[Array, NDArray[np.int64]]:
    """How far each ray goes until it meets an edge, and which; infinite where it meets none."""
    rays = shapely.linestrings(
        np.stack([points + NEXT_TO * way, points + limits.WIDEST * way], axis=1)
    )
    tree = shapely.STRtree(shapely.linestrings(np.stack([starts, starts + edges], axis=1)))
    ray, edge = tree.query(rays, predicate="intersects")
    towards, along = way[ray], edges[edge]
    cross = towards[:, 0] * along[:, 1] - towards[:, 1] * along[:, 0]
    offset = starts[edge] - points[ray]
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (offset[:, 0] * along[:, 1] - offset[:, 1] * along[:, 0]) / cross
    distance = np.where(distance > NEXT_TO, distance, np.inf)  # no number: along the edge itself
    order = np.lexsort((edge, distance, ray))
    first = order[np.unique(ray[order], return_index=True)[1]]
    width = np.full(len(points), np.inf)
    hit = np.zeros(len(points), dtype=np.int64)
    width[ray[first]], hit[ray[first]] = distance[first], edge[first]
    return width, hit


def _standing(low: Across, high: Across) -> list[PrintPlace]:
    """Walls that are there at both heights; each as wide as where it is wider."""
    from scipy.spatial import cKDTree

    if not len(low.width) or not len(high.width):
        return []
    away, index = cKDTree(high.middle).query(low.middle, distance_upper_bound=SAME)
    found = np.flatnonzero(np.isfinite(away))
    width = np.maximum(low.width[found], high.width[index[found]])
    # Only what may be the least or too thin becomes a place.
    keep = (width <= width.min(initial=np.inf)) | (width < limits.WALL)
    shown = found[keep][:MOST_FAULTS]
    half = low.way[shown] * low.width[shown, None] / 2
    ends = np.stack([low.middle[shown] - half, low.middle[shown] + half], axis=1)
    lines = np.insert(ends, 2, low.z, axis=2).tolist()
    return [
        PrintPlace("line", float(value), line)
        for line, value in zip(lines, width[keep], strict=False)
    ]
