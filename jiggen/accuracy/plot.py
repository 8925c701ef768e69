"""The expected scatter of every hole drawn over the layout, jig and paper sheet side by side."""

import math
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial.distance import pdist

from jiggen.accuracy.budget import AnyBudget, OverBoots
from jiggen.draw.figures import arrow, cross, one_line
from jiggen.draw.fonts import points
from jiggen.draw.labels import spread
from jiggen.draw.shapes import WHITE, Area, Circle, Drawing, Ellipse, Line, Pen, Point, Shape, Text
from jiggen.draw.vector import svg_text
from jiggen.errors import Finding, InputError

FACTORS = (50, 40, 30, 25, 20, 15, 12, 10, 8, 6, 5, 4, 3, 2, 1)
LARGEST = 16.0  # mm: no outline is drawn wider, to either side
# Principal deviations at which an ellipse holds 95 % of a normal scatter: √(-2 ln 0.05), exact.
ELLIPSE = math.sqrt(-2 * math.log(0.05))

STYLES = {  # title, and the layout drawing's blue and red, and these thinned to a fifth
    "jig": ("with the jig, its print checked", "#14468c", "#d0dae8"),
    "sheet": ("with a paper sheet, by hand", "#aa141e", "#eed0d2"),
}
GREY = "#6e6e6e"
EDGE, MARK = Pen(0.28, GREY, (1.7, 0.85)), Pen(0.35, GREY)
CENTRE, LEADER = Pen(0.21, GREY, (2.5, 0.6, 0.4, 0.6)), Pen(0.14, GREY)
RIM, CROSS, BAR = Pen(0.25), Pen(0.18), Pen(0.42)
BEYOND = 34.0  # mm of ski drawn past the outermost holes
MARGIN = 52.0  # mm beside the ski for names
NAME = 14  # characters of a name that fit there
LINE = 7.5  # mm between names one below the other

SCALE = 25.4 / 58  # of the picture to the ski
HEAD, FOOT, GAP = 19.0, 24.0, 3.8  # mm of paper over and under the two skis, and beside them
SMALL, BODY, TITLE = points(7.0), points(8.0), points(11.0)  # mm, of capitals


def check_kind(path: str | os.PathLike[str]) -> str:
    """The kind of picture that the suffix of `path` asks for.  Raises InputError."""
    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in ("svg", "pdf"):
        message = f"{Path(path).name or path} does not end in .svg or .pdf"
        hint = "The ending of the file's name decides the kind of picture."
        raise InputError(Finding("accuracy.plot-suffix", message, key="plot", hint=hint))
    return kind


def plot(
    budgets: tuple[AnyBudget, ...], unmeasured: AnyBudget, ski: float, limit: float, kind: str
) -> bytes:
    """The picture's bytes, "svg" or "pdf", the same each time; for the rest see `draw_scatter`."""
    drawing = draw_scatter(budgets, unmeasured, ski, limit)
    if kind == "svg":
        return svg_text(drawing, digits=3).encode()
    from jiggen.draw.pdf import pdf_bytes

    return pdf_bytes(drawing)


def exaggeration(budgets: Iterable[AnyBudget]) -> int:
    """How many times too large the scatter is drawn: as much as keeps it from overlapping.

    Ellipses are taken for circles of their longer axis.
    """
    most = []
    for budget in budgets:
        radius = ELLIPSE * np.sqrt(np.maximum(np.linalg.eigvalsh(budget.blocks)[:, 1], 1e-12))
        first, second = np.triu_indices(len(radius), k=1)
        touching = pdist(budget.layout.positions) / (radius[first] + radius[second])
        most.append(float(np.min(touching, initial=LARGEST / radius.max())))
    return next((factor for factor in FACTORS if factor <= min(most)), FACTORS[-1])


@dataclass(frozen=True)
class _Panel:
    """One method's picture, with its left edge at `left` on the paper.

    Seen from the tail: x of the ski runs up the paper, y to the left.  `half` is half the width of
    the ski or of the holes, `span` the part of the ski that is drawn; mm of the ski.
    """

    budget: AnyBudget
    left: float
    half: float
    span: tuple[float, float]
    factor: int
    limit: float

    def at(self, x: float, y: float) -> Point:
        """A place of the ski frame on the paper."""
        across = self.left + SCALE * (self.half + MARGIN - y)
        return across, FOOT + SCALE * (x - self.span[0])


def draw_scatter(
    budgets: tuple[AnyBudget, ...], unmeasured: AnyBudget, ski: float, limit: float
) -> Drawing:
    """`budgets` of one layout side by side; `ski` is the width of the band drawn, mm.

    Of the `unmeasured` jig it says what the worst hole is off by: it is too much to draw.
    """
    layout = budgets[0].layout
    low, high = layout.bounds[:, 0]
    span = (float(min(low, 0.0)) - BEYOND, float(max(high, 0.0)) + BEYOND)
    half = max(ski / 2, float(np.abs(layout.positions[:, 1]).max()) + 10.0)
    factor = exaggeration(budgets)
    shapes: list[Shape] = []
    left = GAP
    for budget in budgets:
        panel = _Panel(budget, left, half, span, factor, limit)
        (x, y), (title, colour, _) = panel.at(span[1], 0.0), STYLES[budget.method]
        shapes += [*_ski(panel, ski / 2), *_scatter(panel), *_names(panel)]
        shapes.append(Text((x, y + 2.0), title, BODY, "middle", bold=True, colour=colour))
        left += 2 * (half + MARGIN) * SCALE + GAP
    size = (left, FOOT + SCALE * (span[1] - span[0]) + HEAD)
    ground = Area(((0.0, 0.0), (size[0], 0.0), size, (0.0, size[1])), WHITE)
    title = f"{one_line(layout.pattern)}, boot {layout.boot:g} mm"
    if isinstance(budgets[0], OverBoots):
        title += ": each hole with its largest error of any boot"
    shapes.append(Text((left / 2, size[1] - 7.0), title, TITLE, "middle", bold=True))
    lines = (
        "Outlines: where 95 of 100 holes come to be, "
        f"drawn {factor} times as far from their place as they are.",
        "Beside each name: the error that 95 of 100 holes stay within, in mm.",
        f"*, dashed: over the limit of {limit:g} mm.",
        "With a print that nobody measured 95 of 100 holes stay within "
        f"{unmeasured.expected[:, 2].max():.2f} mm at the worst hole.",
    )
    for index, line in enumerate(lines):
        shapes.append(Text((left / 2, 19.4 - 4.8 * index), line, BODY, "middle"))
    return Drawing(title, (0.0, 0.0), size, shapes=[ground, *shapes])


def _ski(panel: _Panel, half: float) -> Iterator[Shape]:
    """The ski's edges, centre line, mounting mark, way to the tip, and 1 mm of error to scale."""
    low, high = panel.span
    for y, pen in ((half, EDGE), (-half, EDGE), (0.0, CENTRE)):
        yield Line(panel.at(low, y), panel.at(high, y), pen)
    yield Line(panel.at(0.0, half), panel.at(0.0, -half), MARK)
    edge, tip = half + 3, high - 2
    yield from arrow(panel.at(tip - 16, edge + 4), panel.at(tip, edge + 4), MARK)
    yield _text(panel.at(tip - 8, edge + 8), "to the tip", colour=GREY, right=True)
    start, bottom = -half - 4, low + 3
    ends = panel.at(bottom, start), panel.at(bottom, start - panel.factor)
    yield Line(*ends, BAR)
    for x, y in ends:
        yield Line((x, y - 0.6), (x, y + 0.6), BAR)
    yield _text(panel.at(bottom + 6, start), "1 mm of error")


def _scatter(panel: _Panel) -> Iterator[Shape]:
    """Holes at their own size, and about each the ellipse of 95 %, `factor` times too large."""
    budget = panel.budget
    _, colour, tint = STYLES[budget.method]
    variances, directions = np.linalg.eigh(budget.blocks)
    radii = SCALE * panel.factor * ELLIPSE * np.sqrt(np.maximum(variances, 0.0))
    for hole, (x, y) in enumerate(budget.layout.positions.tolist()):
        along, across = directions[hole, :, 1]
        turn = math.degrees(math.atan2(along, -across))  # x runs up the paper, y to the left
        over = budget.expected[hole, 2] > panel.limit
        pen = Pen(0.35, colour, (1.0, 0.5) if over else ())
        at = panel.at(x, y)
        yield Ellipse(at, (float(radii[hole, 1]), float(radii[hole, 0])), turn, pen, tint)
        yield Circle(at, SCALE * float(budget.layout.diameters[hole]) / 2, RIM, fill=WHITE)
        yield from cross(at, 0.5, CROSS)


def _names(panel: _Panel) -> Iterator[Shape]:
    """Each hole's name and expected error beside the ski, on the hole's side of it."""
    budget, half, span = panel.budget, panel.half, panel.span
    at, errors = budget.layout.positions, budget.expected[:, 2]
    places = int((span[1] - span[0]) / LINE) - 4  # less those of the other words there
    for side in (1.0, -1.0):
        mine = np.flatnonzero(at[:, 1] > 0 if side > 0 else at[:, 1] <= 0)
        # Where not all fit, the holes with the largest errors have their names.
        mine = mine[np.argsort(-errors[mine], kind="stable")[:places]]
        rows: list[tuple[float, float, str, str | None]] = []
        for hole in mine.tolist():
            name, error = one_line(budget.layout.ids[hole]), errors[hole]
            if len(name) > NAME:  # cut in the middle: its number stays
                name = f"{name[: NAME - 5]}…{name[-4:]}"
            star = " *" if error > panel.limit else ""
            rows.append((*at[hole].tolist(), f"{name}  {error:.2f}{star}", None))
        # The arrow to the tip is drawn on the left; on the right the mark's name and the scale.
        room = (span[0], span[1] - 20.0) if side > 0 else (span[0] + 12.0, span[1])
        if side < 0:
            rows.append((0.0, -half, "mounting mark", GREY))
        rows.sort(key=lambda row: row[0])
        low, high = room[0] + LINE / 2, room[1] - LINE / 2
        heights = spread([row[0] for row in rows], LINE, low, high)
        edge = side * (half + 3)
        for (x, y, words, colour), height in zip(rows, heights, strict=True):
            yield Line(panel.at(x, y), panel.at(height, edge), LEADER)
            yield _text(panel.at(height, edge + side), words, colour=colour, right=side > 0)


def _text(at: Point, words: str, *, colour: str | None = None, right: bool = False) -> Text:
    """Small words with their middle at the height of `at`; `right`: they end there."""
    place = (at[0], at[1] - SMALL / 2)
    return Text(place, words, SMALL, "end" if right else "start", colour=colour)
