"""The layout at 1:1 as a drawing: holes, ski, mounting mark, names, scale and notes.

Everything is in the ski frame: mm, x to the tip, y to the left edge, origin on the mounting
mark.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from jiggen.cautions import CAUTIONS
from jiggen.draw import figures
from jiggen.draw.figures import ARM, ID_HEIGHT, LEADING, NAME_HEIGHT, NOTE_HEIGHT, SMALL_HEIGHT
from jiggen.draw.labels import Label, place_boxes, text_width
from jiggen.draw.shapes import Area, Circle, Drawing, Line, Pen, Point, Shape, Text
from jiggen.draw.vector import dxf_bytes, svg_text
from jiggen.layout import Layout, check_skis
from jiggen.units import number

SkiWidths = tuple[float, float]
"""Narrowest and widest ski, mm."""

NAME_GAP = 1.5  # mm more under the pattern's name
BEYOND = 25.0  # mm of ski past the last hole or name
MARK = 4.0  # mm that the mounting mark reaches past the ski
ARROW = 24.0
MARGIN = 10.0
LEAST_WIDTH = 200.0  # mm of sheet, so that the notes have room
LINE_CLEAR = 0.3  # mm to either side of a line that names keep clear of
ENDLESS = 1e5  # mm: farther than any name is written

_BLUE, _RED, _GREY = "#14468c", "#aa141e", "#6e6e6e"
PENS = {
    "ski": Pen(0.35, _GREY, (6.0, 3.0)),
    "centre-line": Pen(0.25, _BLUE, (12.0, 2.0, 1.0, 2.0)),
    "mounting-mark": Pen(0.5, _RED),
    "crosses": Pen(0.13),
    "holes": Pen(0.25),
    "hole-ids": Pen(0.13),
    "scale": Pen(0.25),
    "notes": Pen(0.25),
}
"""Every layer with its pen, from the bottom of the drawing to its top."""


def layout_svg(layout: Layout, ski: SkiWidths | None = None, mark: str = "") -> str:
    """`layout` at 1:1 as SVG text; `ski` widths in mm add the ski's outline.

    `mark` is that of the record which the drawing belongs to.

    A hole is a ``circle`` in the group ``holes``: cx = x, cy = -y (SVG counts y downwards), in
    mm from the mounting mark, r half the drill diameter.  Same layout, same text.
    Raises InputError ``layout.ski`` for widths that are not valid.
    """
    return svg_text(replace(draw_layout(layout, ski), mark=mark))


def layout_dxf(layout: Layout, ski: SkiWidths | None = None, mark: str = "") -> bytes:
    """As `layout_svg`, in DXF's bytes.

    A hole is a CIRCLE on the layer ``holes``, in mm in the ski frame, of the drill's diameter.
    """
    return dxf_bytes(replace(draw_layout(layout, ski), mark=mark))


def draw_layout(layout: Layout, ski: SkiWidths | None = None) -> Drawing:
    """Draw `layout` at 1:1; `ski` widths (mm) add a straight band for the ski.

    Raises InputError ``layout.ski`` unless the widths are those of skis, narrowest first.
    """
    halves = _half_widths(ski)
    edges = [y for half in halves for y in (half, -half)]
    radii = layout.diameters / 2
    labels = name_holes(layout.ids, layout.positions, radii, along=(0.0, *edges))
    boxes = np.array([label.box for label in labels]).reshape(-1, 4)
    reach = (radii + ARM)[:, None]
    holes = np.hstack([layout.positions - reach, layout.positions + reach])
    extent = np.vstack([boxes, holes, [(0.0, -half, 0.0, half) for half in (0.0, *halves)]])
    tail, tip = float(extent[:, 0].min()) - BEYOND, float(extent[:, 2].max()) + BEYOND
    top = float(np.abs(extent[:, 1::2]).max()) + MARK

    sheet = Drawing(f"{figures.one_line(layout.pattern)}, boot {layout.boot:g} mm", layers=PENS)
    over_mark = (0.0, top + 0.6 * SMALL_HEIGHT)
    left, head = tail - MARGIN, tip + MARGIN + ARROW
    right = max(head, left + LEAST_WIDTH)
    foot = (left, -top - 2 * MARGIN)
    beside_bar = (left + figures.SCALE_BAR + 4.0, foot[1])
    cautions = figures.wrapped(CAUTIONS, SMALL_HEIGHT, right - left)
    sheet.shapes += [
        *(Line((tail, y), (tip, y), layer="ski") for y in edges),
        Line((left, 0.0), (tip + MARGIN, 0.0), layer="centre-line"),
        Line((0.0, -top), (0.0, top), layer="mounting-mark"),
        Text(over_mark, "mounting mark", SMALL_HEIGHT, "middle", "mounting-mark"),
        *_holes(layout, labels),
        Line((tip + MARGIN + 1.0, 0.0), (head - 5.0, 0.0), layer="notes"),
        Area(((head, 0.0), (head - 6.0, 1.8), (head - 6.0, -1.8)), layer="notes"),
        Text((head - ARROW / 2, 2.5), "tip", NOTE_HEIGHT, "middle", "notes"),
        Text((left, 3.0), "left", NOTE_HEIGHT, layer="notes"),
        Text((left, -3.0 - NOTE_HEIGHT), "right", NOTE_HEIGHT, layer="notes"),
        *_title(layout, ski, (left, top + MARGIN), right - left),
        *figures.scale_bar(foot, layer="scale"),
        Text(beside_bar, figures.MEASURE_BAR, NOTE_HEIGHT, layer="scale"),
        *figures.lines_of_text(cautions, (left, foot[1] - MARGIN / 2), SMALL_HEIGHT, "notes"),
    ]
    texts = list(sheet.of(Text))
    right = max(right, *(text.at[0] + text_width(text.words, text.height) for text in texts))
    sheet.lower = (left - MARGIN, texts[-1].at[1] - MARGIN)
    highest = max(text.at[1] + LEADING * text.height for text in texts)
    sheet.upper = (right + MARGIN, highest + MARGIN)
    return sheet


def _half_widths(ski: SkiWidths | None) -> tuple[float, ...]:
    """Half of each width to draw, once where both are the same."""
    if ski is None:
        return ()
    check_skis(ski)
    return tuple(sorted({width / 2 for width in ski}))


def name_holes(
    names: Sequence[str],
    sites: NDArray[np.float64],
    radii: NDArray[np.float64],
    *,
    along: Sequence[float] = (0.0,),
    across: Sequence[float] = (0.0,),
) -> tuple[Label, ...]:
    """A name beside each hole, clear of the lines along the ski at y and across it at x, mm."""
    lines = [(x - LINE_CLEAR, -ENDLESS, x + LINE_CLEAR, ENDLESS) for x in across]
    lines += [(-ENDLESS, y - LINE_CLEAR, ENDLESS, y + LINE_CLEAR) for y in along]
    shown = [figures.one_line(name) for name in names]
    sizes = [(text_width(name, ID_HEIGHT), ID_HEIGHT) for name in shown]
    places = place_boxes(sizes, sites, radii + ARM, np.array(lines))
    return tuple(Label(name, *place) for name, place in zip(shown, places, strict=True) if place)


def _holes(layout: Layout, labels: tuple[Label, ...]) -> Iterator[Shape]:
    for label, (x, y), diameter in zip(
        labels, layout.positions.tolist(), layout.diameters.tolist(), strict=True
    ):
        radius = diameter / 2
        yield Circle((x, y), radius, layer="holes", name=label.text)
        yield from figures.cross((x, y), radius + ARM, layer="crosses")
        at = (label.centre[0], label.box[1])
        yield Text(at, label.text, ID_HEIGHT, "middle", "hole-ids")
        if label.leader:
            yield figures.leader((x, y), radius, label.box, layer="hole-ids")


def _title(layout: Layout, ski: SkiWidths | None, foot: Point, width: float) -> Iterator[Shape]:
    """Name and numbers over the drawing, from `foot` upwards."""
    x, y = foot
    way = "tip" if layout.mount_shift > 0 else "tail"
    shift = f"{abs(layout.mount_shift):g} mm to the {way}" if layout.mount_shift else "none"
    skis = f"{layout.side} ski" if layout.pair == "mirrored" else "left and right ski alike"
    job = f"boot {layout.boot:g} mm, mount shift {shift}, core {layout.core}, {skis}"
    frame = "mm, 1:1, measured from the mounting mark and the centre line"
    if ski:
        span = f"{ski[0]:g}" if ski[0] == ski[1] else f"{ski[0]:g} to {ski[1]:g}"
        frame += f"; dashed: ski {span} mm wide"
    notes = figures.wrapped((job, *_drills(layout), frame), NOTE_HEIGHT, width)
    name = figures.wrapped((figures.one_line(layout.pattern),), NAME_HEIGHT, width)
    over = y + LEADING * NOTE_HEIGHT * len(notes) + NAME_GAP
    top = over + LEADING * NAME_HEIGHT * len(name)
    yield from figures.lines_of_text(name, (x, top), NAME_HEIGHT, "notes")
    yield from figures.lines_of_text(notes, (x, over - NAME_GAP), NOTE_HEIGHT, "notes")


def _drills(layout: Layout) -> list[str]:
    """One line per drill setting: the commonest first, every other with the holes it is for."""
    holes: dict[str, list[str]] = {}
    columns = (layout.diameters.tolist(), layout.depths.tolist())
    for name, diameter, depth in zip(layout.ids, *columns, strict=True):
        setting = f"drill {number(diameter)} mm, {number(depth)} mm deep"
        holes.setdefault(setting, []).append(figures.one_line(name))
    (first, _), *others = sorted(holes.items(), key=lambda setting: -len(setting[1]))
    rest = ": every hole not named below" if others else ""
    return [first + rest, *(f"{setting}: {', '.join(names)}" for setting, names in others)]
