"""Old and new holes at 1:1 as SVG: the mount asked for, and under it the nearest clear one.

One user unit is one millimetre.  Each mount is a group of its own whose origin is the mounting
mark: in it cx = x and cy = -y, since SVG counts y downwards.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from jiggen.cautions import CAUTIONS
from jiggen.draw import figures, shapes
from jiggen.draw.figures import ARM, ID_HEIGHT, NAME_HEIGHT, NOTE_HEIGHT, SMALL_HEIGHT, one_line
from jiggen.draw.labels import Label
from jiggen.draw.shapes import Area, Circle, Drawing, Group, Line, Pen, Point, Shape, Text
from jiggen.draw.vector import svg_text
from jiggen.export.hole_plan import name_holes
from jiggen.layout import Layout
from jiggen.remount.shifts import Conflict, OldHole, RemountLimits, Reuse, conflicts, reused
from jiggen.wording import point_words

RED, GREEN, GREY, BLUE, TINT = "#aa141e", "#0a6b32", "#6e6e6e", "#14468c", "#f6e3df"
PLUG = "#b8b8b8"
LIMIT, CENTRE, MARK = Pen(0.15, RED, (1, 1)), Pen(0.25, BLUE, (12, 2, 1, 2)), Pen(0.5, RED)
UNKNOWN = 4.1  # mm drawn for an old hole nobody measured: ISO 6005:1991, test hole
BEYOND = 12.0  # mm of ski past the last hole, limit or name
MARGIN = 10.0
LEAST_WIDTH = 240.0  # mm of sheet, so that the notes have room
LISTED = 12  # conflicts written out; the picture shows them all


@dataclass(frozen=True)
class _Mount:
    """One of the two mounts, and what is written about it."""

    name: str
    layout: Layout
    near: tuple[Conflict, ...]
    again: tuple[Reuse, ...]
    labels: tuple[Label, ...]  # of the new holes, then of the old ones


def remount_svg(
    wanted: Layout, best: Layout | None, old: Sequence[OldHole], limits: RemountLimits
) -> str:
    """`wanted` over `best` with the `old` holes, at 1:1 as SVG text.

    `best` is None where `wanted` is clear itself, or no mount is.

    A new hole is a ``circle`` of the class ``new`` at its drill diameter, an old one of the
    class ``old``; around each old one the circle that no new hole's centre may lie in.
    Same input, same text.  Raises InputError ``remount.limit``.
    """
    mounts = [_mount("asked for", wanted, old, limits)]
    if best is not None:
        mounts.append(_mount("nearest clear", best, old, limits))
    tail, tip, half = _extent(mounts, old, limits)

    skis = f"{wanted.side} ski" if wanted.pair == "mirrored" else "the same for left and right ski"
    plugged = sum(hole.plugged for hole in old)
    job = (
        f"boot {wanted.boot:g} mm, core {wanted.core}, {skis}; old holes: {len(old) - plugged} "
        f"open (keep {limits.open:g} mm), {plugged} plugged (keep {limits.plugged:g} mm), "
        f"from centre to centre; used again within {limits.reuse:g} mm"
    )
    sheet = _Sheet(max(tip - tail, LEAST_WIDTH))
    sheet.write([one_line(wanted.pattern)], NAME_HEIGHT)
    sheet.write([job], NOTE_HEIGHT)
    for mount in mounts:
        count = len({conflict.new for conflict in mount.near})
        state = f"{count} of {len(mount.layout)} holes too near an old one" if count else "clear"
        words = f"{mount.name}: mount shift {shift_words(mount.layout.mount_shift)}: {state}"
        sheet.write([words], NOTE_HEIGHT, below=MARGIN / 2, bold=True)
        drawn = _ski(mount, old, limits, (tail, tip, half))
        sheet.place(drawn, "mount", below=2 * SMALL_HEIGHT + half, x=-tail)
        sheet.write(_details(mount), SMALL_HEIGHT, below=half + MARGIN / 2)
    if best is None and mounts[0].near:
        words = "None of the shifts that were tried is clear."
        sheet.write([words], NOTE_HEIGHT, below=MARGIN / 2, bold=True)
    sheet.place(_legend(), "legend", below=MARGIN)
    measure = Text((figures.SCALE_BAR + 4, 0), figures.MEASURE_BAR, NOTE_HEIGHT)
    sheet.place([*figures.scale_bar((0, 0), Pen(0.25)), measure], "scale", below=MARGIN)
    sheet.write(CAUTIONS, SMALL_HEIGHT, below=MARGIN / 2)
    title = f"{one_line(wanted.pattern)}, boot {wanted.boot:g} mm: old and new holes"
    return svg_text(sheet.drawing(title))


def mount_svg(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> str:
    """`layout` and the `old` holes alone, with what the signs mean: to be clicked on.

    As in `remount_svg`, but the origin of the whole drawing is the mounting mark.
    """
    mount = _mount("asked for", layout, old, limits)
    tail, tip, half = _extent([mount], old, limits)
    foot = -half - MARGIN
    right = max(tip, tail + LEAST_WIDTH)
    corners = ((tail, half + MARGIN), (right, half + MARGIN), (right, foot), (tail, foot))
    drawn = [
        *_ski(mount, old, limits, (tail, tip, half)),
        Group(tuple(_legend()), (tail, foot + 4)),
    ]
    title = f"{one_line(layout.pattern)}: old and new holes"
    shown = [Area(corners, shapes.WHITE), *drawn]
    return svg_text(Drawing(title, (tail, foot), (right, half + MARGIN), shapes=shown))


def _extent(
    mounts: Sequence[_Mount], old: Sequence[OldHole], limits: RemountLimits
) -> tuple[float, float, float]:
    """Tail end, tip end and half height of the ski that is drawn, mm."""
    boxes = np.array([label.box for mount in mounts for label in mount.labels])
    reach = max((limits.to(hole) for hole in old), default=0.0)
    xs = [0.0, *(hole.x + sign * reach for hole in old for sign in (1, -1)), *boxes[:, ::2].ravel()]
    ys = [*(abs(hole.y) + reach for hole in old), *np.abs(boxes[:, 1::2]).ravel()]
    return float(min(xs)) - BEYOND, float(max(xs)) + BEYOND, float(max(ys))


def _mount(name: str, layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> _Mount:
    names = (*layout.ids, *(hole.id for hole in old))
    sites = [*layout.positions.tolist(), *((hole.x, hole.y) for hole in old)]
    radii = [*(layout.diameters / 2).tolist(), *((hole.diameter or UNKNOWN) / 2 for hole in old)]
    across = {0.0, layout.mount_shift}  # the mounting mark, and the boot's centre if elsewhere
    labels = name_holes(names, np.array(sites), np.array(radii), across=tuple(across))
    return _Mount(name, layout, conflicts(layout, old, limits), reused(layout, old, limits), labels)


def shift_words(shift: float) -> str:
    """A mount shift in words, to a hundredth of a mm: ``5.2 mm towards the tip``."""
    rounded = round(shift, 2)
    way = "tip" if rounded > 0 else "tail"
    return f"{abs(rounded):g} mm towards the {way}" if rounded else "none"


def _details(mount: _Mount) -> list[str]:
    lines = [
        f"{one_line(conflict.new)} is {conflict.distance:.2f} mm from {one_line(conflict.old)}; "
        f"{conflict.limit:g} mm are needed"
        for conflict in mount.near[:LISTED]
    ]
    if len(mount.near) > LISTED:
        lines.append(f"and {len(mount.near) - LISTED} more")
    again = ", ".join(f"{one_line(r.new)} in {one_line(r.old)}" for r in mount.again)
    return [*lines, f"used again: {again}"] if again else lines


def _ski(
    mount: _Mount,
    old: Sequence[OldHole],
    limits: RemountLimits,
    extent: tuple[float, float, float],
) -> Iterator[Shape]:
    """The holes of one mount on the ski; `extent`: tail end, tip end, half height."""
    tail, tip, half = extent
    layout = mount.layout
    places: dict[str, Point] = dict(zip(layout.ids, layout.positions.tolist(), strict=True))
    spots = {hole.id: (hole.x, hole.y) for hole in old}
    rings = [(spots[hole.id], limits.to(hole)) for hole in old]
    yield from (Circle(at, reach, kind="limit", fill=TINT) for at, reach in rings)
    yield from (Circle(at, reach, LIMIT, kind="limit") for at, reach in rings)
    yield Line((tail, 0), (tip, 0), CENTRE)
    yield from _across(layout, half)
    yield from map(_old, old)
    yield from (Line(places[c.new], spots[c.old], Pen(0.3, RED)) for c in mount.near)
    near, again = {c.new for c in mount.near}, {r.new for r in mount.again}
    for name, radius in zip(layout.ids, (layout.diameters / 2).tolist(), strict=True):
        kind = "near" if name in near else "again" if name in again else "clear"
        yield from _new(places[name], radius, kind, name)
    inks = [RED if n in near else GREEN if n in again else shapes.BLACK for n in layout.ids]
    sites = [*places.values(), *spots.values()]
    for label, ink, site in zip(mount.labels, inks + [GREY] * len(old), sites, strict=True):
        at = (label.centre[0], label.box[1])
        yield Text(at, label.text, ID_HEIGHT, "middle", colour=ink)
        if label.leader:
            yield figures.leader(site, 0.0, label.box, Pen(0.13, ink))
    yield Text((tip, 1.5), "tip", NOTE_HEIGHT, "end")
    for words, y in (("tail", 1.5), ("left", half - NOTE_HEIGHT), ("right", -half)):
        yield Text((tail, y), words, NOTE_HEIGHT)


def _across(layout: Layout, half: float) -> Iterator[Shape]:
    """The mounting mark, and the boot's centre where it is elsewhere."""
    top, shift = half + 0.6 * SMALL_HEIGHT, layout.mount_shift
    yield Line((0, -half), (0, half), MARK)
    if shift:
        side: shapes.Anchor = "start" if shift > 0 else "end"
        yield Line((shift, -half), (shift, half), Pen(0.3, BLUE, (3, 1.5)))
        yield Text((shift, top), point_words(layout.mark), SMALL_HEIGHT, side, colour=BLUE)
    side = "end" if shift > 0 else "start" if shift else "middle"
    yield Text((0, top), "mounting mark", SMALL_HEIGHT, side, colour=RED)


def _old(hole: OldHole) -> Circle:
    """An old hole: a grey ring when open, filled when plugged, dashed when not measured."""
    pen = Pen(0.3, GREY, (0.8, 0.6) if hole.diameter is None else ())
    fill = PLUG if hole.plugged else shapes.WHITE
    at, name = (hole.x, hole.y), one_line(hole.id) if hole.id else ""
    return Circle(at, (hole.diameter or UNKNOWN) / 2, pen, name=name, kind="old", fill=fill)


def _new(at: Point, radius: float, kind: str, name: str) -> Iterator[Shape]:
    """A new hole: thin when clear, thick when too near, a second ring when used again."""
    ink = {"near": RED, "again": GREEN, "clear": shapes.BLACK}[kind]
    yield from figures.cross(at, radius + ARM, Pen(0.13, ink))
    if kind == "again":
        yield Circle(at, radius + 0.8, Pen(0.25, ink), kind="again")
    pen = Pen(0.6 if kind == "near" else 0.25, ink)
    yield Circle(at, radius, pen, name=one_line(name) if name else "", kind="new")


def _legend() -> Iterator[Shape]:
    """One sample of each kind of hole, with its meaning."""
    samples: tuple[tuple[str, Iterable[Shape]], ...] = (
        ("new, clear", _new((4, 0), 1.8, "clear", "")),
        ("new, too near", _new((4, 0), 1.8, "near", "")),
        ("new, takes an old hole's place", _new((4, 0), 1.8, "again", "")),
        ("old, open", [_old(OldHole("", 4, 0, 3.6))]),
        ("old, plugged", [_old(OldHole("", 4, 0, 3.6, True))]),
        ("old, not measured", [_old(OldHole("", 4, 0))]),
        ("no new centre in here", [Circle((4, 0), 3.2, LIMIT, kind="limit", fill=TINT)]),
    )
    x = 0.0
    for words, sample in samples:
        meaning = Text((9, -SMALL_HEIGHT / 2), words, SMALL_HEIGHT)
        yield Group((*sample, meaning), (x, 0.0))
        x += 14 + len(words) * SMALL_HEIGHT * figures.RUNNING


class _Sheet:
    """A page that grows downwards; `width` is what may be written on, in mm."""

    def __init__(self, width: float) -> None:
        self._width = width
        self._y = MARGIN
        self._shapes: list[Shape] = []

    def write(
        self, paragraphs: Iterable[str], height: float, *, below: float = 0.0, bold: bool = False
    ) -> None:
        """Write lines in capitals of `height` mm, `below` mm under what is there."""
        lines = figures.wrapped(paragraphs, height, self._width)
        self._y += below
        self._shapes += figures.lines_of_text(lines, (MARGIN, -self._y), height, bold=bold)
        self._y += figures.LEADING * height * len(lines)

    def place(self, drawn: Iterable[Shape], kind: str, *, below: float, x: float = 0.0) -> None:
        """Put shapes with their origin `below` mm under what is there, `x` mm from the left."""
        self._y += below
        self._shapes.append(Group(tuple(drawn), (MARGIN + x, -self._y), kind))

    def drawing(self, title: str) -> Drawing:
        """The page as far as it has grown, on white."""
        right, foot = self._width + 2 * MARGIN, -self._y - MARGIN
        ground = Area(((0.0, 0.0), (right, 0.0), (right, foot), (0.0, foot)), shapes.WHITE)
        return Drawing(title, (0.0, foot), (right, 0.0), shapes=[ground, *self._shapes])
