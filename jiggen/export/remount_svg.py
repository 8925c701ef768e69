"""Old and new holes at 1:1 as SVG: the mount asked for, and under it the nearest clear one.

One user unit is one millimetre.  Each mount is a group of its own whose origin is the mounting
mark: in it cx = x and cy = -y, since SVG counts y downwards.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from xml.etree import ElementTree as ET

import numpy as np

from jiggen.cautions import CAUTIONS
from jiggen.export.drawing_svg import CAPITALS, NAMESPACE
from jiggen.export.labels import Label, place_labels
from jiggen.layout import Layout
from jiggen.remount import Conflict, OldHole, RemountLimits, Reuse, conflicts, reused

BLACK, RED, GREEN, GREY, BLUE, TINT = "#000", "#aa141e", "#0a6b32", "#6e6e6e", "#14468c", "#f6e3df"
LIMIT = {"stroke": RED, "stroke-width": "0.15", "stroke-dasharray": "1 1"}
ID_HEIGHT, NAME_HEIGHT, NOTE_HEIGHT, SMALL_HEIGHT = 2.2, 5.0, 2.6, 2.1  # mm, of capitals
LEADING = 1.9  # line pitch over the height of capitals
RUNNING = 0.85  # mean width of a character in running text over the height of capitals
ARM = 1.5  # mm that a hole's cross reaches past its edge
UNKNOWN = 4.1  # mm drawn for an old hole nobody measured: ISO 6005:1991, test hole
BEYOND = 12.0  # mm of ski past the last hole, limit or name
MARGIN = 10.0
LEAST_WIDTH = 240.0  # mm of sheet, so that the notes have room
SCALE_BAR, TICK = 100.0, 10.0
LISTED = 12  # conflicts written out; the picture shows them all

Point = tuple[float, float]


@dataclass(frozen=True)
class _Mount:
    """One of the two mounts, and what is to be said about it."""

    name: str
    layout: Layout
    near: tuple[Conflict, ...]
    again: tuple[Reuse, ...]
    labels: tuple[Label, ...]  # of the new holes, then of the old ones

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x, y, greatest x, y of all names."""
        x0, y0, x1, y1 = zip(*(label.box for label in self.labels), strict=True)
        return min(x0), min(y0), max(x1), max(y1)


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
    boxes = np.array([mount.box for mount in mounts])
    reach = max((limits.to(hole) for hole in old), default=0.0)
    xs = [0.0, *(hole.x + sign * reach for hole in old for sign in (1, -1)), *boxes[:, ::2].ravel()]
    ys = [*(abs(hole.y) + reach for hole in old), *np.abs(boxes[:, 1::2]).ravel()]
    tail, tip, half = float(min(xs)) - BEYOND, float(max(xs)) + BEYOND, float(max(ys))

    sheet = _Sheet(max(tip - tail, LEAST_WIDTH))
    sheet.write([_plain(wanted.pattern)], NAME_HEIGHT)
    sheet.write([_job(wanted, old, limits)], NOTE_HEIGHT)
    for mount in mounts:
        sheet.skip(MARGIN / 2)
        sheet.write([_headline(mount)], NOTE_HEIGHT, bold=True)
        sheet.skip(2 * SMALL_HEIGHT + half)
        sheet.place(_ski(mount, old, limits, (tail, tip, half)), -tail)
        sheet.skip(half + MARGIN / 2)
        sheet.write(_details(mount), SMALL_HEIGHT)
    if best is None and mounts[0].near:
        sheet.skip(MARGIN / 2)
        sheet.write(["No shift that was looked at is clear."], NOTE_HEIGHT, bold=True)
    sheet.skip(MARGIN)
    sheet.place(_legend(), 0.0)
    sheet.skip(MARGIN)
    sheet.place(_scale(), 0.0)
    sheet.skip(MARGIN / 2)
    sheet.write(CAUTIONS, SMALL_HEIGHT)
    return sheet.text(f"{_plain(wanted.pattern)}, boot {wanted.boot:g} mm: old and new holes")


def _mount(name: str, layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> _Mount:
    sites = [*layout.positions.tolist(), *((hole.x, hole.y) for hole in old)]
    radii = [*(layout.diameters / 2).tolist(), *map(_radius, old)]
    names = [_plain(name) for name in (*layout.ids, *(hole.id for hole in old))]
    lines = [(-1e5, -0.3, 1e5, 0.3), *((x - 0.3, -1e5, x + 0.3, 1e5) for x in _marks(layout))]
    clear = np.array(radii) + ARM
    labels = place_labels(names, np.array(sites), clear, np.array(lines), ID_HEIGHT)
    return _Mount(name, layout, conflicts(layout, old, limits), reused(layout, old, limits), labels)


def _marks(layout: Layout) -> tuple[float, ...]:
    """Where lines stand across the ski: the mounting mark, and the boot's centre if elsewhere."""
    return (0.0, layout.mount_shift) if layout.mount_shift else (0.0,)


def _radius(hole: OldHole) -> float:
    return (hole.diameter or UNKNOWN) / 2


# -- words -------------------------------------------------------------------------------------


def _job(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> str:
    skis = f"{layout.side} ski" if layout.pair == "mirrored" else "left and right ski alike"
    plugged = sum(hole.plugged for hole in old)
    return (
        f"boot {layout.boot:g} mm, core {layout.core}, {skis}; old holes: {len(old) - plugged} "
        f"open (keep {limits.open:g} mm), {plugged} plugged (keep {limits.plugged:g} mm), "
        f"from centre to centre; used again within {limits.reuse:g} mm"
    )


def _headline(mount: _Mount) -> str:
    count = len({conflict.new for conflict in mount.near})
    state = f"{count} of {len(mount.layout)} holes too near an old one" if count else "clear"
    return f"{mount.name}: mount shift {shift_words(mount.layout.mount_shift)}: {state}"


def shift_words(shift: float) -> str:
    """A mount shift in words, to a hundredth of a mm: ``5.2 mm towards the tip``."""
    rounded = round(shift, 2)
    way = "tip" if rounded > 0 else "tail"
    return f"{abs(rounded):g} mm towards the {way}" if rounded else "none"


def _details(mount: _Mount) -> list[str]:
    lines = [
        f"{_plain(c.new)} is {c.distance:.2f} mm from {_plain(c.old)}; {c.limit:g} mm are needed"
        for c in mount.near[:LISTED]
    ]
    if len(mount.near) > LISTED:
        lines.append(f"and {len(mount.near) - LISTED} more")
    again = ", ".join(f"{_plain(r.new)} in {_plain(r.old)}" for r in mount.again)
    return [*lines, f"used again: {again}"] if again else lines


def _plain(text: str) -> str:
    """`text` on one line, with a mark for what cannot be printed."""
    return "".join(c if c.isprintable() else "\ufffd" for c in " ".join(text.split())) or "?"


# -- shapes ------------------------------------------------------------------------------------


def _ski(
    mount: _Mount,
    old: Sequence[OldHole],
    limits: RemountLimits,
    extent: tuple[float, float, float],
) -> ET.Element:
    """The holes of one mount on the ski; `extent`: tail end, tip end, half height."""
    tail, tip, half = extent
    layout = mount.layout
    places: dict[str, Point] = dict(zip(layout.ids, layout.positions.tolist(), strict=True))
    group = ET.Element("g", {"class": "mount"})
    group.extend(_disc(hole.x, hole.y, limits.to(hole), "limit", fill=TINT) for hole in old)
    group.extend(_disc(hole.x, hole.y, limits.to(hole), "limit", **LIMIT) for hole in old)
    group.append(_line((tail, 0), (tip, 0), BLUE, 0.25, "12 2 1 2"))
    group.extend(_across(layout, half))
    group.extend(chain.from_iterable(map(_old, old)))
    spots = {hole.id: (hole.x, hole.y) for hole in old}
    group.extend(_line(places[c.new], spots[c.old], RED, 0.3) for c in mount.near)
    near, again = {c.new for c in mount.near}, {r.new for r in mount.again}
    for name, radius in zip(layout.ids, (layout.diameters / 2).tolist(), strict=True):
        kind = "near" if name in near else "again" if name in again else "clear"
        group.extend(_new(places[name], radius, kind, name))
    inks = [RED if n in near else GREEN if n in again else BLACK for n in layout.ids]
    sites = [*places.values(), *spots.values()]
    for label, ink, site in zip(mount.labels, inks + [GREY] * len(old), sites, strict=True):
        group.extend(_named(label, ink, site))
    group.append(_words("tip", tip, 1.5, NOTE_HEIGHT, BLACK, "end"))
    for words, y in (("tail", 1.5), ("left", half - NOTE_HEIGHT), ("right", -half)):
        group.append(_words(words, tail, y, NOTE_HEIGHT, BLACK))
    return group


def _across(layout: Layout, half: float) -> Iterable[ET.Element]:
    top = half + 0.6 * SMALL_HEIGHT
    yield _line((0, -half), (0, half), RED, 0.5)
    anchor = "middle"
    if layout.mount_shift:
        anchor = "end" if layout.mount_shift > 0 else "start"
        other = "start" if layout.mount_shift > 0 else "end"
        x = layout.mount_shift
        yield _line((x, -half), (x, half), BLUE, 0.3, "3 1.5")
        yield _words("boot centre", x, top, SMALL_HEIGHT, BLUE, other)
    yield _words("mounting mark", 0, top, SMALL_HEIGHT, RED, anchor)


def _old(hole: OldHole) -> Iterable[ET.Element]:
    """An old hole: a grey ring when open, filled when plugged, dashed when not measured."""
    style = {"stroke": GREY, "stroke-width": "0.3", "fill": "#b8b8b8" if hole.plugged else "#fff"}
    if hole.diameter is None:
        style["stroke-dasharray"] = "0.8 0.6"
    yield _titled(_disc(hole.x, hole.y, _radius(hole), "old", **style), hole.id)


def _new(at: Point, radius: float, kind: str, name: str) -> Iterable[ET.Element]:
    """A new hole: thin when clear, thick when too near, a second ring when used again."""
    x, y = at
    ink = {"near": RED, "again": GREEN, "clear": BLACK}[kind]
    arm = radius + ARM
    yield _line((x - arm, y), (x + arm, y), ink, 0.13)
    yield _line((x, y - arm), (x, y + arm), ink, 0.13)
    if kind == "again":
        ring = {"stroke": ink, "stroke-width": "0.25"}
        yield _disc(x, y, radius + 0.8, "again", **ring)
    width = "0.6" if kind == "near" else "0.25"
    yield _titled(_disc(x, y, radius, "new", **{"stroke": ink, "stroke-width": width}), name)


def _named(label: Label, ink: str, site: Point) -> Iterable[ET.Element]:
    x0, y0, x1, y1 = label.box
    yield _words(label.text, (x0 + x1) / 2, y0, ID_HEIGHT, ink, "middle")
    if label.leader:
        end = min(max(site[0], x0), x1), min(max(site[1], y0), y1)
        yield _line(site, end, ink, 0.13)


def _legend() -> ET.Element:
    """One sample of each kind of hole, with its meaning."""
    group = ET.Element("g", {"class": "legend"})
    samples: tuple[tuple[str, Iterable[ET.Element]], ...] = (
        ("new, clear", _new((4, 0), 1.8, "clear", "")),
        ("new, too near", _new((4, 0), 1.8, "near", "")),
        ("new, takes an old hole's place", _new((4, 0), 1.8, "again", "")),
        ("old, open", _old(OldHole("", 4, 0, 3.6))),
        ("old, plugged", _old(OldHole("", 4, 0, 3.6, True))),
        ("old, not measured", _old(OldHole("", 4, 0))),
        ("no new centre in here", [_disc(4, 0, 3.2, "limit", fill=TINT, **LIMIT)]),
    )
    x = 0.0
    for words, shapes in samples:
        sample = ET.SubElement(group, "g", transform=f"translate({_mm(x)} 0)")
        sample.extend(shapes)
        sample.append(_words(words, 9, -SMALL_HEIGHT / 2, SMALL_HEIGHT, BLACK))
        x += 14 + len(words) * SMALL_HEIGHT * RUNNING
    return group


def _scale() -> ET.Element:
    group = ET.Element("g", {"class": "scale"})
    group.append(_line((0, 0), (SCALE_BAR, 0), BLACK, 0.25))
    for number in range(round(SCALE_BAR / TICK) + 1):
        x = number * TICK
        group.append(_line((x, 0), (x, 5.0 if number in (0, 10) else 2.5), BLACK, 0.25))
    words = f"{SCALE_BAR:g} mm: measure this bar before you trust a print"
    group.append(_words(words, SCALE_BAR + 4, 0, NOTE_HEIGHT, BLACK))
    return group


class _Sheet:
    """A page that grows downwards; `width` is what may be written on, in mm."""

    def __init__(self, width: float) -> None:
        self._width = width
        self._y = MARGIN
        self._parts: list[ET.Element] = []

    def skip(self, height: float) -> None:
        self._y += height

    def write(self, paragraphs: Iterable[str], height: float, bold: bool = False) -> None:
        characters = int(self._width / (height * RUNNING))
        for paragraph in paragraphs:
            for line in textwrap.wrap(paragraph, characters):
                self._y += LEADING * height
                words = _words(line, MARGIN, -self._y, height, BLACK)
                if bold:
                    words.set("font-weight", "bold")
                self._parts.append(words)

    def place(self, group: ET.Element, x: float) -> None:
        """Put `group` with its origin `x` mm from the left, at the height reached."""
        group.set("transform", f"translate({_mm(MARGIN + x)} {_mm(self._y)})")
        self._parts.append(group)

    def text(self, title: str) -> str:
        width, height = _mm(self._width + 2 * MARGIN), _mm(self._y + MARGIN)
        size = {"width": f"{width}mm", "height": f"{height}mm", "viewBox": f"0 0 {width} {height}"}
        root = ET.Element("svg", {"xmlns": NAMESPACE, **size})
        ET.SubElement(root, "title").text = title
        ET.SubElement(root, "rect", width=width, height=height, fill="#fff")
        ET.SubElement(root, "g", {"fill": "none"}).extend(self._parts)
        ET.indent(root, " ")
        return ET.tostring(root, encoding="unicode") + "\n"


def _disc(x: float, y: float, radius: float, kind: str, **style: str) -> ET.Element:
    place = {"class": kind, "cx": _mm(x), "cy": _mm(-y), "r": _mm(radius)}
    return ET.Element("circle", place | style)


def _titled(shape: ET.Element, title: str) -> ET.Element:
    ET.SubElement(shape, "title").text = _plain(title)
    return shape


def _line(start: Point, end: Point, ink: str, width: float, dashes: str = "") -> ET.Element:
    (x1, y1), (x2, y2) = start, end
    ends = {"x1": _mm(x1), "y1": _mm(-y1), "x2": _mm(x2), "y2": _mm(-y2)}
    dashed = {"stroke-dasharray": dashes} if dashes else {}
    return ET.Element("line", ends | {"stroke": ink, "stroke-width": _mm(width)} | dashed)


def _words(
    text: str, x: float, y: float, height: float, ink: str, anchor: str = "start"
) -> ET.Element:
    font = {"font-family": "sans-serif", "font-size": _mm(height / CAPITALS)}
    place = {"x": _mm(x), "y": _mm(-y), "text-anchor": anchor, "fill": ink}
    words = ET.Element("text", place | font)
    words.text = text
    return words


def _mm(value: float) -> str:
    """To a nanometre, without trailing zeros or a negative zero."""
    return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")
