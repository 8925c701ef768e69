"""What stands on the layout drawing, and where: holes, ski, mark, names, scale and notes."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable
from itertools import chain

import numpy as np

from jiggen.cautions import CAUTIONS
from jiggen.errors import Finding, InputError
from jiggen.export.drawing import Area, Circle, Drawing, Line, Point, Text
from jiggen.export.labels import Label, place_labels, text_width
from jiggen.layout import Layout

SkiWidths = tuple[float, float]
"""Narrowest and widest ski, mm."""

ID_HEIGHT, NAME_HEIGHT, NOTE_HEIGHT, SMALL_HEIGHT = 2.2, 5.0, 2.6, 2.1  # mm, of capitals
LEADING = 1.9  # line pitch over the height of capitals
NAME_GAP = 1.5  # mm more under the pattern's name
RUNNING = 0.85  # mean width of a character in running text over the height of capitals
ARM = 1.5  # mm that a hole's cross reaches past its edge
BEYOND = 25.0  # mm of ski past the last hole or name
MARK = 4.0  # mm that the mounting mark reaches past the ski
ARROW = 24.0
MARGIN = 10.0
LEAST_WIDTH = 200.0  # mm of sheet, so that the notes have room
SCALE_BAR, TICK = 100.0, 10.0
LINE_CLEAR = 0.3  # mm to either side of a line that names keep clear of
ENDLESS = 1e5  # mm: farther than any name is written


def draw_layout(layout: Layout, ski: SkiWidths | None = None) -> Drawing:
    """Draw `layout` at 1:1; `ski` widths (mm) add a straight band for the ski.

    Raises InputError ``drawing.ski`` unless the widths are positive, narrowest first.
    """
    halves = _half_widths(ski)
    labels = _labels(layout, halves)
    boxes = np.array([label.box for label in labels]).reshape(-1, 4)
    reach = (layout.diameters / 2 + ARM)[:, None]
    holes = np.hstack([layout.positions - reach, layout.positions + reach])
    extent = np.vstack([boxes, holes, [(0.0, -half, 0.0, half) for half in (0.0, *halves)]])
    tail, tip = float(extent[:, 0].min()) - BEYOND, float(extent[:, 2].max()) + BEYOND
    top = float(np.abs(extent[:, 1::2]).max()) + MARK

    sheet = Drawing(f"{_plain(layout.pattern)}, boot {layout.boot:g} mm")
    _draw_ski(sheet, tail, tip, halves)
    _draw_mark(sheet, top)
    _draw_holes(sheet, layout, labels)
    _draw_directions(sheet, tail - MARGIN, tip + MARGIN)
    left, right = tail - MARGIN, max(tip + MARGIN + ARROW, tail - MARGIN + LEAST_WIDTH)
    highest = _write_title(sheet, layout, ski, (left, top + MARGIN), right - left)
    lowest = _write_foot(sheet, (left, -top - 2 * MARGIN), right - left)
    right = max(right, *(text.at[0] + text_width(text.words, text.height) for text in sheet.texts))
    sheet.lower = (left - MARGIN, lowest - MARGIN)
    sheet.upper = (right + MARGIN, highest + MARGIN)
    return sheet


def _half_widths(ski: SkiWidths | None) -> tuple[float, ...]:
    """Half of each width to draw, once where both are the same."""
    if ski is None:
        return ()
    if not 0 < ski[0] <= ski[1] < math.inf:
        said = f"ski widths of {ski[0]:g} to {ski[1]:g} mm"
        hint = "Give the narrowest ski first: 84-112."
        raise InputError(Finding("drawing.ski", said, key="ski", hint=hint))
    return tuple(sorted({width / 2 for width in ski}))


def _labels(layout: Layout, halves: tuple[float, ...]) -> tuple[Label, ...]:
    """A name beside each hole, clear of the mounting mark, the centre line and the ski's edges."""
    along = [
        (-ENDLESS, y - LINE_CLEAR, ENDLESS, y + LINE_CLEAR)
        for y in (0.0, *chain.from_iterable((half, -half) for half in halves))
    ]
    mark = (-LINE_CLEAR, -ENDLESS, LINE_CLEAR, ENDLESS)
    keep_clear = layout.diameters / 2 + ARM
    names = [_plain(name) for name in layout.ids]
    return place_labels(names, layout.positions, keep_clear, np.array([mark, *along]), ID_HEIGHT)


def _draw_ski(sheet: Drawing, tail: float, tip: float, halves: tuple[float, ...]) -> None:
    sheet.lines += [Line("ski", (tail, y), (tip, y)) for half in halves for y in (half, -half)]
    sheet.lines.append(Line("centre-line", (tail - MARGIN, 0.0), (tip + MARGIN, 0.0)))


def _draw_mark(sheet: Drawing, top: float) -> None:
    sheet.lines.append(Line("mounting-mark", (0.0, -top), (0.0, top)))
    at = (0.0, top + 0.6 * SMALL_HEIGHT)
    sheet.texts.append(Text("mounting-mark", at, SMALL_HEIGHT, "mounting mark", "middle"))


def _draw_holes(sheet: Drawing, layout: Layout, labels: tuple[Label, ...]) -> None:
    for label, (x, y), diameter in zip(
        labels, layout.positions.tolist(), layout.diameters.tolist(), strict=True
    ):
        arm = diameter / 2 + ARM
        sheet.circles.append(Circle("holes", label.text, (x, y), diameter / 2))
        sheet.lines.append(Line("crosses", (x - arm, y), (x + arm, y)))
        sheet.lines.append(Line("crosses", (x, y - arm), (x, y + arm)))
        middle = (label.box[0] + label.box[2]) / 2
        at = (middle, label.box[1])
        sheet.texts.append(Text("hole-ids", at, ID_HEIGHT, label.text, "middle"))
        if label.leader:
            sheet.lines.append(_leader((x, y), diameter / 2, label))


def _leader(hole: Point, radius: float, label: Label) -> Line:
    """From the hole's edge to the nearest place of its name."""
    x0, y0, x1, y1 = label.box
    end = (min(max(hole[0], x0), x1), min(max(hole[1], y0), y1))
    share = radius / math.dist(hole, end)
    start = (hole[0] + share * (end[0] - hole[0]), hole[1] + share * (end[1] - hole[1]))
    return Line("hole-ids", start, end)


def _draw_directions(sheet: Drawing, tail: float, tip: float) -> None:
    """Which end is the tip, which edge the left one."""
    end = tip + ARROW
    sheet.lines.append(Line("notes", (tip + 1.0, 0.0), (end - 5.0, 0.0)))
    head = ((end, 0.0), (end - 6.0, 1.8), (end - 6.0, -1.8))
    sheet.areas.append(Area("notes", head))
    at = (tip + ARROW / 2, 2.5)
    sheet.texts.append(Text("notes", at, NOTE_HEIGHT, "tip", "middle"))
    for words, y in (("left", 3.0), ("right", -3.0 - NOTE_HEIGHT)):
        sheet.texts.append(Text("notes", (tail, y), NOTE_HEIGHT, words))


def _write_title(
    sheet: Drawing, layout: Layout, ski: SkiWidths | None, foot: Point, width: float
) -> float:
    """Name and numbers over the drawing, from `foot` upwards; returns the top's y."""
    x, y = foot
    notes = _wrapped((_job(layout), *_drills(layout), _frame(ski)), NOTE_HEIGHT, width)
    name = _wrapped((_plain(layout.pattern),), NAME_HEIGHT, width)
    over = y + LEADING * NOTE_HEIGHT * len(notes) + NAME_GAP
    top = over + LEADING * NAME_HEIGHT * len(name)
    _write(sheet, name, (x, top), NAME_HEIGHT)
    _write(sheet, notes, (x, over - NAME_GAP), NOTE_HEIGHT)
    return top


def _write(sheet: Drawing, lines: list[str], corner: Point, height: float) -> float:
    """The lines under one another, from `corner` down; returns the last one's y."""
    x, y = corner
    for words in lines:
        y -= LEADING * height
        sheet.texts.append(Text("notes", (x, y), height, words))
    return y


def _job(layout: Layout) -> str:
    way = "tip" if layout.mount_shift > 0 else "tail"
    shift = f"{abs(layout.mount_shift):g} mm to the {way}" if layout.mount_shift else "none"
    skis = f"{layout.side} ski" if layout.pair == "mirrored" else "left and right ski alike"
    return f"boot {layout.boot:g} mm, mount shift {shift}, core {layout.core}, {skis}"


def _drills(layout: Layout) -> list[str]:
    """One line a drill setting; the commonest first, every other with the holes it is for."""
    holes: dict[tuple[float, float], list[str]] = {}
    for name, diameter, depth in zip(layout.ids, layout.diameters, layout.depths, strict=True):
        holes.setdefault((float(diameter), float(depth)), []).append(_plain(name))
    ranked = sorted(holes.items(), key=lambda setting: -len(setting[1]))
    lines = [f"drill {_mm(diameter)} mm, {_mm(depth)} mm deep" for (diameter, depth), _ in ranked]
    if len(lines) == 1:
        return lines
    first, *others = zip(lines, (names for _, names in ranked), strict=True)
    odd = [f"{line}: {', '.join(names)}" for line, names in others]
    return [f"{first[0]}: every hole not named below", *odd]


def _mm(size: float) -> str:
    """To a hundredth, as drills are sold and stops are set."""
    return f"{round(size, 2):g}"


def _frame(ski: SkiWidths | None) -> str:
    words = "mm, 1:1, measured from the mounting mark and the centre line"
    if ski is None:
        return words
    span = f"{ski[0]:g}" if ski[0] == ski[1] else f"{ski[0]:g} to {ski[1]:g}"
    return f"{words}; dashed: ski {span} mm wide"


def _write_foot(sheet: Drawing, corner: Point, width: float) -> float:
    """Scale bar and cautions under the drawing, from `corner` down; returns the foot's y."""
    left, y = corner
    sheet.lines.append(Line("scale", (left, y), (left + SCALE_BAR, y)))
    for number in range(round(SCALE_BAR / TICK) + 1):
        x = left + number * TICK
        sheet.lines.append(Line("scale", (x, y), (x, y + (5.0 if number in (0, 10) else 2.5))))
    words = f"{SCALE_BAR:g} mm: measure this bar before you trust a print"
    sheet.texts.append(Text("scale", (left + SCALE_BAR + 4.0, y), NOTE_HEIGHT, words))
    cautions = _wrapped(CAUTIONS, SMALL_HEIGHT, width)
    return _write(sheet, cautions, (left, y - MARGIN / 2), SMALL_HEIGHT)


def _wrapped(paragraphs: Iterable[str], height: float, width: float) -> list[str]:
    """Each paragraph on lines no wider than `width` mm; a longer word stays whole."""
    characters = int(width / (height * RUNNING))
    return [
        line
        for words in paragraphs
        for line in textwrap.wrap(words, characters, break_long_words=False, break_on_hyphens=False)
    ]


def _plain(text: str) -> str:
    """`text` on one line, with a mark for what cannot be printed."""
    shown = "".join(c if c.isprintable() else "\ufffd" for c in " ".join(text.split()))
    return shown or "?"
