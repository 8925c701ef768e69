"""Pictures of a jig: its parts by their names, seen from above, and how a station goes together.

Round parts are drawn with corners: a circle on a bench page is a hole.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from jiggen.design.station import BAR, LEG_SIDE, LOCK_SCREW
from jiggen.draw.figures import arrow, box, polyline
from jiggen.draw.fonts import plain, points, width_of
from jiggen.draw.labels import spread
from jiggen.draw.shapes import WHITE, Area, Line, Pen, Point, Shape, grey
from jiggen.record import JigRecord
from jiggen.report.assembly import BUSHES, KNOB, PINION, RAILS, assembly_steps
from jiggen.report.sheet import kit
from jiggen.report.sheet.drawing import CENTRE, EDGE, MARK, STRIP, View, draw_way

NAME = 7.5  # points
OUTLINE, THIN, HIDDEN = Pen(0.18), Pen(0.12, grey(0.3)), Pen(0.15, grey(0.4), (1.2, 0.8))
BODY, RAIL, KNOB_FILL, STEEL = grey(0.86), grey(0.7), grey(0.93), grey(0.45)
KNOB_RADIUS, SCREW_RADIUS = 16.0, 4.25  # mm, as drawn: the head of an M5 screw, ISO 4762
LEG, NOSE = 10.0, 2.0  # mm of a rail outside the ski, and of its nose
BEYOND = 5.0  # mm of paper past a hole: a bush is not wider
MOST = 0.43  # scale
ROW = 6.5  # mm from the drawing to a row of names
LONGEST = 24  # letters of a name
CORNERS = 24  # of what is round


class Named(NamedTuple):
    """A name, the place it is of, and whether it stands over the drawing."""

    words: str
    at: Point
    above: bool


def parts_picture(job: JigRecord, width: float) -> kit.Picture:
    """The jig on a ski from above, `width` mm wide, with the names of its parts."""
    moved = {part.name: job.shown.get(part.name, 0.0) for part in job.parts}
    parts = {guide.id: guide.part for guide in job.guides}
    xs = [x + moved[body.part] for body in job.bodies for ring in body.outline for x, _ in ring]
    xs += [hole.x + moved[parts[hole.id]] for hole in job.holes]
    half = (job.inputs.ski.least + job.inputs.ski.most) / 4
    out = max(half + LEG, *(abs(hole.y) + BEYOND for hole in job.holes))
    scale = min(MOST, (width - 3 * BEYOND) / (max(xs) - min(xs)))
    middle = -STRIP - ROW - scale * out
    view = View(scale, width / 2 - scale * (max(xs) + min(xs)) / 2, middle)
    foot = middle - scale * out
    shapes = [
        *draw_way(width, 1.2 - STRIP),
        *_ski(view, half, width),
        *_rails(job, view, half, moved),
        *draw_bodies(job, view, moved),
        *_names(_named(job, half, moved), view, (middle + scale * out, foot), width),
    ]
    return kit.Picture(width, ROW + 1.0 - foot, shapes)


def _ski(view: View, half: float, width: float) -> Iterator[Shape]:
    for y, pen in ((half, EDGE), (0.0, CENTRE), (-half, EDGE)):
        level = view.at(0.0, y)[1]
        yield Line((0.0, level), (width, level), pen)
    yield Line(view.at(0.0, half), view.at(0.0, -half), MARK)


def _rails(job: JigRecord, view: View, half: float, moved: dict[str, float]) -> Iterator[Shape]:
    """The legs beside the ski; hidden lines where the racks run in the body."""
    for station in job.stations:
        x = station.x + moved[station.part]
        racks = next(line.at for line in job.index_lines if line.station == station.name)
        for sign, (rack, _) in zip((1, -1), racks, strict=True):
            back = sign * (rack - station.x) + BAR / 2
            near, far = x - sign * LEG_SIDE, x + sign * back
            leg = view.at(near, sign * (half + NOSE)), view.at(far, sign * (half + LEG))
            yield from kit.filled(*leg, RAIL, OUTLINE)
            nose = [(x - sign * 6, NOSE), (x, 0.0), (x + sign * 6, NOSE)]
            yield from _area([view.at(a, sign * (half + b)) for a, b in nose], RAIL)
            bar = view.at(far - sign * BAR, -sign * half), view.at(far, sign * (half + NOSE))
            yield from kit.filled(*bar, RAIL, OUTLINE)


def draw_bodies(job: JigRecord, view: View, moved: dict[str, float]) -> Iterator[Shape]:
    """The bodies from above, each `moved` by so many mm along the ski."""
    for body in job.bodies:
        by = moved[body.part]
        outer, *inner = ([view.at(x + by, y) for x, y in ring] for ring in body.outline)
        yield from _area(outer, BODY)
        for ring in (*inner, *([view.at(x + by, y) for x, y in w.ring] for w in body.windows)):
            yield from _area(ring, WHITE)
    for mark in job.clamps:
        x, y = mark.x + moved[mark.part], mark.y
        diamond = [view.at(x + dx, y + dy) for dx, dy in ((6, 0), (0, 4), (-6, 0), (0, -4))]
        yield from polyline(diamond, THIN, closed=True)
    places = {hole.id: (hole.x, hole.y, hole.diameter) for hole in job.holes}
    for guide in job.guides:
        x, y, drill = places[guide.id]
        at = view.at(x + moved[guide.part], y)
        wide = guide.bush.outside if guide.bush else drill
        yield from _area(_round(at, view.scale * wide / 2), STEEL)
        yield from _area(_round(at, view.scale * drill / 2), WHITE)
    for station in job.stations:
        at = view.at(station.x + moved[station.part], 0.0)
        yield from _area(_round(at, view.scale * KNOB_RADIUS), KNOB_FILL)
        yield from _area(_round(at, view.scale * SCREW_RADIUS), STEEL)


def _named(job: JigRecord, half: float, moved: dict[str, float]) -> Iterator[Named]:
    """Each kind of part once, and each body."""
    for body in job.bodies:
        outer = body.outline[0]
        x = (min(x for x, _ in outer) + max(x for x, _ in outer)) / 2 + moved[body.part]
        yield Named(plain(body.part)[:LONGEST], (x, 0.8 * max(y for _, y in outer)), True)
    if windows := [window for body in job.bodies for window in body.windows]:
        ring = windows[0].ring
        yield Named("sight window", (ring[0][0], (ring[0][1] + ring[1][1]) / 2), True)
    first, last = job.stations[0], job.stations[-1]
    x, y = last.x + moved[last.part], first.x + moved[first.part]
    yield Named("rail", (x, half + 0.7 * LEG), True)
    yield Named("rail", (y, -half - 0.7 * LEG), False)
    yield Named("lock screw in the knob", (x, -SCREW_RADIUS / 2), False)
    yield Named("knob", (y, -0.7 * KNOB_RADIUS), False)
    hole, guide = job.holes[-1], {guide.id: guide for guide in job.guides}[job.holes[-1].id]
    words = "drill bush" if guide.bush else "hole for the drill"
    yield Named(words, (hole.x + moved[guide.part], hole.y), False)
    if job.clamps:
        mark = min(job.clamps, key=lambda mark: mark.y)
        yield Named("clamp here", (mark.x + moved[mark.part], mark.y), False)


def _names(
    named: Iterable[Named], view: View, ends: tuple[float, float], width: float
) -> Iterator[Shape]:
    """The names in a row over the drawing and one under it, each with a line to what it is of."""
    rows: dict[bool, list[tuple[float, Named]]] = {True: [], False: []}
    for one in named:
        rows[one.above].append((view.at(*one.at)[0], one))
    for above, row in rows.items():
        row.sort()
        pitch = max((width_of(one.words, NAME) for _, one in row), default=0.0) + 4.0
        places = spread((x for x, _ in row), pitch, pitch / 2, width - pitch / 2)
        base = ends[0] + ROW - points(NAME) - 1.0 if above else ends[1] - ROW + 1.0
        for place, (_, one) in zip(places, row, strict=True):
            near = base - 1.0 if above else base + points(NAME) + 1.0
            yield Line((place, near), view.at(*one.at), THIN)
            yield kit.typeset((place, base), one.words, NAME, anchor="middle")


# -- how a station goes together ------------------------------------------------------------------

SIZE = 0.53  # of the parts as drawn
WIDE, SHORT = 34.0, 19.0  # mm of the body to either side, and of a rail: cut short
AWAY = 9.0  # mm that parts are drawn from where they go


def assembly_picture(job: JigRecord, width: float) -> kit.Picture:
    """A station's parts, each beside its place, as on the ski; with the numbers of the steps."""
    steps = {step: str(number) for number, step in enumerate(assembly_steps(job), start=1)}
    top = max(body.top for body in job.bodies)
    screw = next(one for one in job.fasteners if one.thread == LOCK_SCREW)
    knob, high = screw.head[2] - top, screw.length + 5.0  # its head is as high as it is thick
    drill = max(job.guides, key=lambda guide: guide.bush.length if guide.bush else 0.0)
    head = top + 2 * AWAY + knob + high
    foot = -2 * AWAY - top - 6.0

    def at(y: float, z: float) -> Point:
        return width / 2 + SIZE * y, SIZE * (z - head) - 2.0

    def block(y: Sequence[float], z: Sequence[float], fill: str) -> Iterator[Shape]:
        yield from kit.filled(at(y[0], z[0]), at(y[1], z[1]), fill, OUTLINE)

    def move(y: Sequence[float], z: Sequence[float], step: str) -> Iterator[Shape]:
        yield from arrow(at(y[0], z[0]), at(y[1], z[1]), OUTLINE, 1.8)
        if number := steps.get(step):
            x, level = at((y[0] + y[1]) / 2, (z[0] + z[1]) / 2)
            x, level = (x + 1.6, level - 1.6) if z[0] != z[1] else (x - 1.6, level + 1.0)
            yield from box((x, level), (x + 3.6, level + 3.4), THIN)
            yield kit.typeset((x + 1.8, level + 0.8), number, NAME, bold=True, anchor="middle")

    def name(y: float, z: float, words: str, anchor: str = "start") -> Shape:
        return kit.typeset(at(y, z), words, NAME, anchor="end" if anchor == "end" else "start")

    shapes: list[Shape] = [
        *block((-WIDE, WIDE), (0.0, top), BODY),
        *polyline([at(-WIDE, 3.2), at(WIDE, 3.2)], HIDDEN),
        *polyline([at(-WIDE, 10.4), at(WIDE, 10.4)], HIDDEN),
        *block((-5.3, 5.3), (10.4, top), WHITE),
        *block((-11.4, 11.4), (0.0, 10.4), WHITE),
        name(-WIDE + 1.5, 5.0, "body"),
    ]
    for sign in (-1, 1):
        near = sign * (WIDE + AWAY)
        bar, leg = (near, near + sign * SHORT), (near + sign * SHORT, near + sign * (SHORT + 8.0))
        shapes += [*block(bar, (4.4, 10.0), RAIL), *block(leg, (-9.0, 10.0), RAIL)]
        nose = (bar[1] - 2.0 * sign, bar[1])
        shapes += [*block(nose, (-9.0, -1.0), RAIL)]
        shapes += move((near - sign, near - sign * (AWAY - 1)), (7.2, 7.2), RAILS)
        shapes.append(name(near + sign * (SHORT + 8.0), 13.0, "rail", "end" if sign > 0 else ""))
    pinion = -AWAY - top
    shapes += [
        *block((-12.4, 12.4), (pinion - 1.0, pinion + 0.8), RAIL),
        *block((-10.5, 10.5), (pinion + 0.8, pinion + 8.0), RAIL),
        *block((-7.3, 7.3), (pinion + 8.0, pinion + 11.0), RAIL),
        *block((-4.5, 4.5), (pinion + 11.0, pinion + 18.0), RAIL),
        name(14.0, pinion + 2.0, "pinion"),
        *block((-4.0, 4.0), (foot + 1.0, foot + 5.0), STEEL),
        name(6.0, foot + 1.0, f"{LOCK_SCREW} nut"),
        *move((-16.0, -16.0), (pinion, -1.5), PINION),
    ]
    low = top + AWAY
    shapes += [
        *block((-KNOB_RADIUS, KNOB_RADIUS), (low, low + knob), KNOB_FILL),
        name(-KNOB_RADIUS - 2.0, low + knob / 2, "knob", "end"),
        *block((-2.5, 2.5), (low + knob + AWAY, head - 5.0), STEEL),
        *block((-4.25, 4.25), (head - 5.0, head), STEEL),
        name(6.5, head - 10.0, f"lock screw {LOCK_SCREW} x {screw.length:g}"),
        *move((-12.0, -12.0), (low, top + 0.5), KNOB),
    ]
    if drill.bush:
        wide, long = drill.bush.outside / 2, drill.bush.length
        shapes += [
            *block((WIDE - 7 - wide, WIDE - 7 + wide), (low, low + long), STEEL),
            name(WIDE - 7 + wide + 2.0, low + long / 2, "drill bush"),
            *move((WIDE - 7, WIDE - 7), (low, top + 0.5), BUSHES),
        ]
    return kit.Picture(width, 3.0 - at(0.0, foot)[1], shapes)


def _area(points_: Sequence[Point], fill: str) -> Iterator[Shape]:
    """A polygon, filled and outlined."""
    yield Area(tuple(points_), fill)
    yield from polyline(points_, OUTLINE, closed=True)


def _round(at: Point, radius: float) -> list[Point]:
    turns = (2 * math.pi * n / CORNERS for n in range(CORNERS))
    return [(at[0] + radius * math.cos(a), at[1] + radius * math.sin(a)) for a in turns]
