"""The 1:1 pages of a sheet: where each hole is on them, from what says so on the paper.

A page lies where its mounting mark and centre line are, or by registration crosses that it shares
with a page whose place is known.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from jiggen.files import SHEET
from jiggen.verify import limits
from jiggen.verify.drawn import judge_rings
from jiggen.verify.reading.pdf import Point, Sheet, Stroke
from jiggen.verify.reading.plan import Ring
from jiggen.verify.reading.stated import Stated
from jiggen.verify.results import Ledger, Subject

BAR, TICKS = 100.0, 10.0  # mm: the bars to measure, and from tick to tick
MARK_WIDTH = 0.35  # mm: the mounting mark alone is drawn wider
CENTRE, EDGE = 4, 2  # dashes and gaps of the centre line; of a ski's edge and of a seam
EDGE_DASH = 4.0  # mm: an edge's dashes are longer, a seam's shorter
ARROW = 20.0  # mm² around an arrow's head: nothing larger is filled
TITLE = re.compile(r"Holes at 1:1(?:, page ([A-Z]\d+) of (\d+))?")
LETTER = re.compile(r"([a-z]+) to page ([A-Z]\d+)")
LETTER_FAR = 12.0  # mm between a cross and its letter


@dataclass
class Tile:
    """One page: its name, its crosses by letter, and where the ski's origin lies on it, mm."""

    name: str
    count: int
    sheet: Sheet
    crosses: dict[str, tuple[Point, str]] = field(default_factory=dict)
    place: list[float | None] = field(default_factory=lambda: [None, None])

    @property
    def label(self) -> str:
        """How it is called in messages."""
        return f"1:1 page {self.name}"

    def on_ski(self, at: Point) -> Point:
        """A place of the page in the ski frame."""
        x, y = self.place
        return at[0] - (x or 0.0), at[1] - (y or 0.0)


def judge_tiles(pages: Sequence[Sheet], stated: Stated, ledger: Ledger) -> None:
    """Bars, crosses, edges, and every hole of the record on the pages at 1:1."""
    tiles = [tile for page in pages if (tile := _tile(page))]
    about = ledger.about(SHEET, "1:1 pages")
    lying = sum(page.size[0] > page.size[1] for page in pages)
    right = bool(tiles) and len(tiles) == lying and {tile.count for tile in tiles} == {lying}
    right &= len({tile.name for tile in tiles}) == lying
    about.expect(right, "verify.sheet-page", f"{len(tiles)} 1:1 pages, which do not agree")
    for tile in tiles:
        _judge_bars(tile, ledger.about(SHEET, tile.label))
        _judge_look(tile, ledger.about(SHEET, tile.label))
    _place(tiles)
    _judge_crosses(tiles, about)
    found: list[Ring] = []
    for tile in tiles:
        mine = ledger.about(SHEET, tile.label)
        x0, y0 = tile.place
        if x0 is None or y0 is None:
            mine.fail("verify.tile-place", "nothing on it says where it lies")
            continue
        _judge_edges(tile, y0, stated, mine)
        here = [
            Ring((ring.centre[0] - x0, ring.centre[1] - y0), 2 * ring.radius)
            for ring in tile.sheet.rings
        ]
        _judge_arms(tile, mine)
        shown = [hole for hole in stated.holes if _near(hole.x, hole.y, here)]
        judge_rings(here, shown, SHEET, ledger, limits.PRINTED)
        found += here
    lost = [hole.id for hole in stated.holes if not _near(hole.x, hole.y, found)]
    for name in lost if tiles else ():
        ledger.about(SHEET, name).fail("verify.drawn-missing", "it is on no 1:1 page")
    _judge_small(pages, stated, about)


def _near(x: float, y: float, rings: Sequence[Ring]) -> bool:
    return any(math.dist((x, y), ring.at) <= limits.CATCH for ring in rings)


def _tile(page: Sheet) -> Tile | None:
    titles = [found for word in page.words if (found := TITLE.fullmatch(word.text))]
    if len(titles) != 1 or page.size[0] < page.size[1]:
        return None
    tile = Tile(titles[0][1] or "A1", int(titles[0][2] or 1), page)
    level = [one for one in _plain(page) if one.level]
    upright = [one for one in _plain(page) if one.upright]
    centres = {
        _middle(one)
        for one in level
        for other in upright
        if math.dist(_middle(one), _middle(other)) < limits.PRINTED
    }
    for word in page.words:
        if letter := LETTER.fullmatch(word.text):
            away = {at: _distance(at, word.box) for at in centres}
            near = min(away, key=lambda at: away[at], default=None)
            if near and away[near] < LETTER_FAR:
                tile.crosses[letter[1]] = (near, letter[2])
    marks = {one.start[0] for one in page.strokes if one.upright and one.width > MARK_WIDTH}
    centre = {one.start[1] for one in page.strokes if one.level and len(one.dashes) == CENTRE}
    if len(marks) == 1:
        tile.place[0] = marks.pop()
    if len(centre) == 1:
        tile.place[1] = centre.pop()
    return tile


def _plain(page: Sheet) -> Iterator[Stroke]:
    return (one for one in page.strokes if not one.dashes)


def _middle(stroke: Stroke) -> Point:
    (x0, y0), (x1, y1) = stroke.start, stroke.end
    return (x0 + x1) / 2, (y0 + y1) / 2


def _distance(at: Point, box: tuple[float, float, float, float]) -> float:
    x0, y0, x1, y1 = box
    return math.hypot(max(x0 - at[0], 0.0, at[0] - x1), max(y0 - at[1], 0.0, at[1] - y1))


def _judge_bars(tile: Tile, about: Subject) -> None:
    """A bar along and one across, each 100 mm long with ticks every 10 mm."""
    strokes = list(_plain(tile.sheet))
    for axis, way in enumerate(("along", "across")):
        mine = [one for one in strokes if (one.upright if axis else one.level)]
        ticks = [one for one in strokes if (one.level if axis else one.upright)]
        best, apart = 0.0, 0
        for bar in (one for one in mine if abs(one.length - BAR) < BAR / 5):
            low, side = min(bar.start[axis], bar.end[axis]), bar.start[1 - axis]
            places = {
                round((one.start[axis] - low) / (bar.length / 10), 3)
                for one in ticks
                if abs(one.start[1 - axis] - side) < limits.PRINTED
            }
            if len(places & set(range(11))) >= apart:
                best, apart = bar.length, len(places & set(range(11)))
        message = f"its bar {way} is {best:.3f} mm long instead of {BAR:g} mm"
        about.within(best, BAR, limits.PRINTED, "verify.sheet-scale", message)
        message = f"its bar {way} has {apart} ticks {TICKS:g} mm apart instead of 11"
        about.expect(apart == 11, "verify.sheet-scale", message)


def _judge_look(tile: Tile, about: Subject) -> None:
    """Nothing is laid over it, all curves are circles, and tip and tail are where they are."""
    wide = [box for box in tile.sheet.areas if (box[2] - box[0]) * (box[3] - box[1]) > ARROW]
    odd = len(wide) + len(tile.sheet.bends)
    about.expect(not odd, "verify.tile-look", "something is laid over it, or is another curve")
    places = {word.text: word.box for word in tile.sheet.words if word.text.startswith("to the t")}
    tail, tip = places.get("to the tail"), places.get("to the tip")
    right = tail is not None and tip is not None and tail[2] < tip[0]
    about.expect(right, "verify.tile-look", "it does not say where tail and tip are")


def _place(tiles: Sequence[Tile]) -> None:
    """Find where tiles lie by the crosses that they share with those whose place is known."""
    for _ in tiles:
        for one in tiles:
            for other in tiles:
                for letter in one.crosses.keys() & other.crosses.keys() if one is not other else ():
                    for axis in (0, 1):
                        known = one.place[axis]
                        if known is None or other.place[axis] is not None:
                            continue
                        away = one.crosses[letter][0][axis] - known
                        other.place[axis] = other.crosses[letter][0][axis] - away


def _judge_crosses(tiles: Sequence[Tile], about: Subject) -> None:
    """Each letter is on two pages that name one another, in one place of the ski."""
    letters = Counter(letter for tile in tiles for letter in tile.crosses)
    if len(tiles) > 1:
        lone = [tile.name for tile in tiles if not tile.crosses]
        about.expect(not lone, "verify.tile-join", f"nothing joins page {', '.join(lone)}")
    for letter, count in sorted(letters.items()):
        ends = [tile for tile in tiles if letter in tile.crosses]
        message = f"cross {letter} is on {count} pages"
        if not about.expect(count == 2, "verify.tile-join", message):
            continue
        one, other = ends
        named = (one.crosses[letter][1], other.crosses[letter][1]) == (other.name, one.name)
        about.expect(named, "verify.tile-join", f"cross {letter} leads to another page")
        places = [tile.on_ski(tile.crosses[letter][0]) for tile in ends]
        off = math.dist(*places)
        message = f"cross {letter} lies {off:.3f} mm off on one of two pages"
        about.within(off, 0.0, limits.PRINTED, "verify.tile-join", message)


def _judge_edges(tile: Tile, y0: float, stated: Stated, about: Subject) -> None:
    """Dashed edges are those of the narrowest or the widest ski."""
    ski = stated.inputs.ski
    halves = [width / 2 for width in (ski.least, ski.most)] if ski else []
    for one in tile.sheet.strokes:
        if one.level and len(one.dashes) == EDGE and one.dashes[0] > EDGE_DASH:
            y = abs(one.start[1] - y0)
            off = min((abs(y - half) for half in halves), default=y)
            message = f"an edge is {y:.2f} mm from the centre line, where no ski ends"
            about.within(off, 0.0, limits.PRINTED, "verify.tile-look", message)


def _judge_arms(tile: Tile, about: Subject) -> None:
    """Each circle has a cross in its middle."""
    middles: dict[bool, list[Point]] = {True: [], False: []}
    for one in _plain(tile.sheet):
        if one.level or one.upright:
            middles[one.level].append(_middle(one))
    for ring in tile.sheet.rings:
        near = [
            any(math.dist(at, ring.centre) <= limits.PRINTED for at in middles[way])
            for way in (True, False)
        ]
        message = f"the circle at {ring.centre[0]:.1f}, {ring.centre[1]:.1f} has no cross"
        about.expect(all(near), "verify.tile-look", message)


def _judge_small(pages: Sequence[Sheet], stated: Stated, about: Subject) -> None:
    """The small drawing shows the same holes in the same order, as if from farther off."""
    rings = [ring for page in pages if page.size[0] < page.size[1] for ring in page.rings]
    message = f"its small drawing has {len(rings)} holes instead of {len(stated.holes)}"
    if not about.expect(len(rings) == len(stated.holes), "verify.sheet-drawing", message):
        return
    shown = np.array([ring.centre for ring in rings])
    holes = np.array([(hole.x, hole.y) for hole in stated.holes])
    shown, holes = shown - shown.mean(axis=0), holes - holes.mean(axis=0)
    drills = np.array([hole.diameter / 2 for hole in stated.holes])
    radii = np.array([ring.radius for ring in rings])
    scale = float(radii.sum() / drills.sum())
    off = float(np.abs(shown - scale * holes).max() / scale)
    off = max(off, float(np.abs(radii - scale * drills).max() / scale))
    message = f"a hole of its small drawing is {off:.2f} mm off"
    about.within(off, 0.0, limits.SMALL, "verify.sheet-drawing", message)
