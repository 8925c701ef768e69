"""The expected scatter of every hole drawn over the layout, jig and paper sheet side by side."""

from __future__ import annotations

import io
import math
import os
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial.distance import pdist

from jiggen.accuracy.budget import Budget
from jiggen.accuracy.causes import Array
from jiggen.errors import Finding, InputError
from jiggen.files import write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

KINDS = ("svg", "png", "pdf")
FACTORS = (50, 40, 30, 25, 20, 15, 12, 10, 8, 6, 5, 4, 3, 2, 1)
LARGEST = 16.0  # mm: no outline is drawn wider, to either side
# Principal deviations at which an ellipse holds 95 % of a normal scatter: √(-2 ln 0.05), exact.
ELLIPSE = math.sqrt(-2 * math.log(0.05))

TITLES = {"jig": "with the jig", "sheet": "with a paper sheet, by hand"}
COLOURS = {"jig": "#14468c", "sheet": "#aa141e"}  # blue and red, as the layout drawing's lines
GREY = "#6e6e6e"
BEYOND = 34.0  # mm of ski drawn past the outermost holes
MARGIN = 52.0  # mm beside the ski for names
NAME = 14  # characters of a name that fit there
LINE = 7.5  # mm between names one below the other
INCH_PER_MM = 1 / 58.0  # of the ski, on the figure


def check_kind(path: str | os.PathLike[str], key: str = "--plot") -> str:
    """The kind of picture that the suffix of `path` asks for.  Raises InputError."""
    kind = Path(path).suffix.lower().removeprefix(".")
    if kind not in KINDS:
        message = f"{Path(path).name or path} does not end in .svg, .png or .pdf"
        hint = "The ending of the name decides the kind of picture."
        raise InputError(Finding("accuracy.plot-suffix", message, key=key, hint=hint))
    return kind


def write_plot(
    path: str | os.PathLike[str], budgets: tuple[Budget, ...], ski: float, limit: float
) -> None:
    """Draw `budgets` of one layout to `path`; `ski` is the width of the band drawn, mm.

    Raises InputError for another suffix and where the file cannot be written.
    """
    kind = check_kind(path)
    write_whole(path, plot(budgets, ski, limit, kind), "--plot")


def plot(budgets: tuple[Budget, ...], ski: float, limit: float, kind: str) -> bytes:
    """The picture's bytes, the same each time; `kind` is one of KINDS."""
    from matplotlib import style

    # The person's own matplotlib settings stay out; text as curves needs no font to be looked at.
    ours = {"svg.hashsalt": "jiggen", "svg.fonttype": "path", "font.size": 8.0}
    metadata: dict[str, dict[str, Any]] = {
        "svg": {"Date": None, "Creator": "jiggen"},
        "pdf": {"CreationDate": None, "Creator": "jiggen", "Producer": None},
        "png": {"Software": None},
    }
    stream = io.BytesIO()
    with style.context(["default", ours]), warnings.catch_warnings():
        # A group's name may have letters that the font lacks: they show as boxes.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure = _figure(budgets, ski, limit)
        figure.savefig(stream, format=kind, dpi=150, metadata=metadata[kind])
    return stream.getvalue()


def exaggeration(budgets: Iterable[Budget]) -> int:
    """How many times too large the scatter is drawn: as much as keeps it from overlapping."""
    most = min(_most(budget) for budget in budgets)
    return next((factor for factor in FACTORS if factor <= most), FACTORS[-1])


def _most(budget: Budget) -> float:
    """The factor at which two ellipses, taken as circles of their longer axis, touch."""
    radius = ELLIPSE * np.sqrt(np.maximum(np.linalg.eigvalsh(budget.blocks)[:, 1], 1e-12))
    first, second = np.triu_indices(len(radius), k=1)
    touching = pdist(budget.layout.positions) / (radius[first] + radius[second])
    return float(np.min(touching, initial=LARGEST / radius.max()))


def _figure(budgets: tuple[Budget, ...], ski: float, limit: float) -> Figure:
    from matplotlib.figure import Figure

    layout = budgets[0].layout
    low, high = layout.bounds[:, 0]
    span = (min(low, 0.0) - BEYOND, max(high, 0.0) + BEYOND)
    half = max(ski / 2, float(np.abs(layout.positions[:, 1]).max()) + 10.0)
    width, height = 2 * (half + MARGIN), span[1] - span[0]
    head, foot, gap = 0.75, 0.95, 0.15  # inches
    size = (len(budgets) * (width * INCH_PER_MM + gap) + gap, height * INCH_PER_MM + head + foot)
    figure = Figure(figsize=size)
    factor = exaggeration(budgets)
    for index, budget in enumerate(budgets):
        left = gap + index * (width * INCH_PER_MM + gap)
        axes = figure.add_axes(
            (
                left / size[0],
                foot / size[1],
                width * INCH_PER_MM / size[0],
                height * INCH_PER_MM / size[1],
            )
        )
        axes.set_xlim(half + MARGIN, -half - MARGIN)  # y to the left, as seen from the tail
        axes.set_ylim(*span)
        axes.set_axis_off()
        _ski(axes, ski / 2, span, factor)
        _scatter(axes, budget, factor, limit)
        _names(axes, budget, half, span, limit)
        axes.set_title(TITLES[budget.method], color=COLOURS[budget.method], fontweight="bold")
    _words(figure, budgets, factor, limit, size[1])
    return figure


def _ski(axes: Axes, half: float, span: tuple[float, float], factor: int) -> None:
    """The ski's edges, centre line, mounting mark, way to the tip, and 1 mm of error to scale."""
    for y in (half, -half):
        axes.plot([y, y], span, color=GREY, linewidth=0.8, dashes=(6, 3))
    axes.plot([0, 0], span, color=GREY, linewidth=0.6, dashes=(12, 3, 2, 3))
    axes.plot([half, -half], [0, 0], color=GREY, linewidth=1.0)
    axes.text(-half - 4, 0, "mounting mark", va="center", ha="left", color=GREY, fontsize=7)
    edge, tip = half + 3, span[1] - 2
    arrow = {"arrowstyle": "->", "color": GREY, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (edge + 4, tip), (edge + 4, tip - 16), arrowprops=arrow)
    axes.text(edge + 8, tip - 8, "to the tip", va="center", ha="right", color=GREY, fontsize=7)
    start, bottom = -half - 4, span[0] + 3
    ends = [start, start - factor]
    axes.plot(ends, [bottom, bottom], color="black", linewidth=1.2, marker="|")
    axes.text(start, bottom + 2, "1 mm off", va="bottom", ha="left", fontsize=7)


def _scatter(axes: Axes, budget: Budget, factor: int, limit: float) -> None:
    """Holes at their own size, and about each the ellipse of 95 %, `factor` times too large."""
    from matplotlib.patches import Circle, Ellipse

    colour = COLOURS[budget.method]
    variances, directions = np.linalg.eigh(budget.blocks)
    axis = 2 * factor * ELLIPSE * np.sqrt(np.maximum(variances, 0.0))
    for hole, (x, y) in enumerate(budget.layout.positions):
        # Drawn with y across and x up: an axis along (dx, dy) stands at the angle of (dy, dx).
        along = directions[hole, :, 1]
        turn = math.degrees(math.atan2(along[0], along[1]))
        over = budget.radial_expected[hole] > limit
        axes.add_patch(
            Ellipse(
                (y, x),
                axis[hole, 1],
                axis[hole, 0],
                angle=turn,
                facecolor=colour + "33",
                edgecolor=colour,
                linewidth=1.0,
                linestyle=(0, (3, 1.5)) if over else "-",
            )
        )
        radius = budget.layout.diameters[hole] / 2
        axes.add_patch(Circle((y, x), radius, facecolor="white", edgecolor="black", linewidth=0.7))
        axes.plot([y], [x], marker="+", color="black", markersize=3, markeredgewidth=0.5)


def _names(
    axes: Axes, budget: Budget, half: float, span: tuple[float, float], limit: float
) -> None:
    """Each hole's name and expected error beside the ski, on the hole's side of it."""
    at, errors = budget.layout.positions, budget.radial_expected
    places = int((span[1] - span[0]) / LINE) - 4  # less those of the other words there
    for side in (1.0, -1.0):
        mine = np.flatnonzero(at[:, 1] > 0 if side > 0 else at[:, 1] <= 0)
        # Where there is no room for all, the holes that are farthest off have their names.
        mine = np.sort(mine[np.argsort(-errors[mine], kind="stable")[:places]])
        # The way to the tip stands on the left; on the right the mark's name and the scale.
        taken = np.empty(0) if side > 0 else np.array([0.0])
        room = (span[0], span[1] - 20.0) if side > 0 else (span[0] + 12.0, span[1])
        for hole, height in zip(mine, spread(at[mine, 0], LINE, taken, room), strict=True):
            star = " *" if errors[hole] > limit else ""
            text = f"{_short(budget.layout.ids[hole])}  {errors[hole]:.2f}{star}"
            edge = side * (half + 3)
            axes.plot([at[hole, 1], edge], [at[hole, 0], height], color=GREY, linewidth=0.4)
            axes.text(
                edge + side,
                height,
                text,
                ha="right" if side > 0 else "left",
                va="center",
                fontsize=7,
                parse_math=False,
            )


def _short(name: str) -> str:
    """`name` cut in the middle to what the margin holds; its number stays."""
    return name if len(name) <= NAME else f"{name[: NAME - 5]}…{name[-4:]}"


def spread(wanted: Array, apart: float, taken: Array, span: tuple[float, float]) -> Array:
    """Heights near `wanted`, at least `apart` from one another and from `taken`, within `span`.

    From the top down each name takes its own height or the next free one below; what comes out
    at the bottom is pushed up again.
    """
    order = np.argsort(-wanted, kind="stable")
    slots = np.empty(0)
    for height in wanted[order]:
        place = min(height, span[1] - apart / 2, *(slots[-1:] - apart))
        for blocked in taken:
            if abs(place - blocked) < apart:
                place = blocked - apart
        slots = np.append(slots, place)
    floor = span[0] + apart / 2
    for index in range(len(slots) - 1, -1, -1):
        if slots[index] >= floor:
            break
        for blocked in taken:
            if abs(floor - blocked) < apart:
                floor = blocked + apart
        slots[index] = floor
        floor += apart
    heights = np.empty(len(wanted))
    heights[order] = slots
    return heights


def _words(
    figure: Figure, budgets: tuple[Budget, ...], factor: int, limit: float, height: float
) -> None:
    layout = budgets[0].layout
    figure.text(
        0.5,
        1 - 0.28 / height,
        f"{layout.pattern}, boot {layout.boot:g} mm",
        ha="center",
        fontsize=11,
        fontweight="bold",
        parse_math=False,
    )
    lines = (
        "Outlines: where 95 of 100 drillings come to lie, "
        f"drawn {factor} times as far from the hole as they are.",
        "Beside each name: what 95 of 100 drillings stay within, in mm.",
        f"*, dashed: over the limit of {limit:g} mm.",
    )
    for index, line in enumerate(lines):
        figure.text(0.5, (0.6 - 0.19 * index) / height, line, ha="center", color="black")
