"""A body made of the record's numbers alone, a little larger or a little smaller all over; mm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from jiggen.verify.reading.bodies import BodyShape, Drilled, Pit, Turned
from jiggen.verify.reading.entries import Guide, Hole, Peg
from jiggen.verify.solids import Solid, cone, cut, hull, joined, lathe, lying, prism

Cut = Pit | Turned | Drilled
Guided = Sequence[tuple[Hole, Guide]]
PAST = 1.0  # mm past the body's faces that cuts are drawn


def largest(shape: BodyShape, guides: Guided, pegs: Sequence[Peg], by: float) -> Solid:
    """All that the body may fill: its plan with each face `by` mm farther out.

    A guide's bridges, which carry its seat in print, may be there.
    """
    whole, top = shape.plan.buffer(by, join_style="mitre"), shape.top + by
    if shape.relief:
        foot = shape.standing.buffer(by, join_style="mitre")
        blank = [prism(foot, -by, shape.relief), prism(whole, shape.relief - by, top)]
    else:
        blank = [prism(whole, -by, top)]
    cuts = [_drawn(one, -by, _starts(one, shape, by), one.z[1] - by) for one in shape.cuts]
    for hole, guide in guides:
        seat, lead, at = guide.bore_z[0], guide.bore_z[1], (hole.x, hole.y)
        throat, bore = guide.throat / 2 - by, guide.bore / 2 - by
        steps = [(throat, -PAST), (throat, seat + by), (bore, seat + by), (bore, lead)]
        cuts.append(lathe([*steps, *_mouth(bore, shape.top - lead, shape.top)], *at))
    added = [_drawn(flare, by, flare.z[0] - by, flare.z[1] + by) for flare in shape.flares]
    for peg in pegs:
        radius = peg.diameter / 2 + by
        added.append(cone((radius, radius), (-by, peg.z[1] + by), peg.x, peg.y))
    return joined([cut(joined(blank), cuts), *added])


def smallest(shape: BodyShape, guides: Guided, by: float) -> Solid:
    """All that the body must fill: its plan with each face `by` mm farther in, marks left out."""
    lower, edge = (shape.foot, 0.0) if shape.footed == "underside" else (0.0, shape.foot)
    floor, top = max(shape.relief, lower), shape.top - max(shape.marks, edge) - by
    blank = [prism(shape.plan.buffer(-by, join_style="mitre"), floor + by, top)]
    if floor:
        foot = shape.standing.intersection(shape.plan).buffer(-by - lower, join_style="mitre")
        blank.append(prism(foot, by, floor + 2 * by))
    cuts = [
        _drawn(cut, by, cut.z[0] - by, cut.z[1] + by)
        for cut in (*shape.cuts, *shape.grooves, *shape.flares)
    ]
    for hole, guide in guides:
        bridge, lead = min(guide.throat_z[1], guide.bore_z[0]) - by, guide.bore_z[1]
        throat, bore, at = guide.throat / 2 + by, guide.bore / 2 + by, (hole.x, hole.y)
        steps = [(throat + lower, -PAST), (throat + lower, lower + by), (throat, lower + by)]
        steps += [(throat, bridge), (bore, bridge), (bore, lead - by)]
        cuts.append(lathe([*steps, *_mouth(bore, shape.top - lead, shape.top - by)], *at))
    return cut(joined(blank), cuts)


def _mouth(bore: float, wider: float, z: float) -> Iterator[tuple[float, float]]:
    """The upper end of a guide's profile: `wider` at the height `z` than its bore."""
    yield from ((bore + wider, z), (bore + wider, z + 2 * PAST))


def _starts(cut: Cut, shape: BodyShape, by: float) -> float:
    """From what height a smaller `cut` is drawn: lower than its own where it has a floor below."""
    low = cut.z[0]
    if isinstance(cut, Drilled) or low <= 0.0:
        return low + by if isinstance(cut, Drilled) else low
    others: tuple[Pit | Turned, ...] = (*shape.pits, *shape.turned)
    for below in others:
        if below.name == cut.name and abs(below.z[1] - low) < by:
            open_below = below.plan(below.z[1]).buffer(by).covers(cut.plan(low))
            return low + by if not open_below else low if below.tapers else low - 2 * by
    return low + by


def _drawn(cut: Cut, by: float, low: float, high: float) -> Solid:
    """A cut with its sides `by` mm farther out, between two heights."""
    if isinstance(cut, Drilled):
        return lying(cut.diameter / 2 + by, (cut.x[0] - by, cut.x[1] + by), cut.y, cut.at_z)
    if cut.tapers:  # its slope stays where it is, but for its sides
        low, high = cut.z
    if isinstance(cut, Turned):
        return cone((cut.radii[0] + by, cut.radii[1] + by), (low, high), cut.x, cut.y)
    corners = [
        (x, y, z)
        for (x0, x1, y0, y1), z in zip(cut.at, (low, high), strict=True)
        for x in (x0 - by, x1 + by)
        for y in (y0 - by, y1 + by)
    ]
    return hull(corners)
