"""Flat plates as solids: the trial plate; the gauge's frame, its slots, and the stub of a rack."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial

import cadquery as cq

from jiggen.design import gauge as gauges
from jiggen.design import trial as trials
from jiggen.design.engraving import Engraving
from jiggen.design.fit_ladder import RACK, SLOTS, STRIP, STRIP_HEIGHT, FitLadder
from jiggen.design.gauge import Gauge
from jiggen.design.guides import Guide
from jiggen.design.lettering import Region
from jiggen.design.trial import Trial
from jiggen.solid.body import make_rack
from jiggen.solid.level import OVER, engrave_top, insets_of
from jiggen.solid.model import Part, draw_pieces
from jiggen.solid.shapes import UP, block, footed_disc, one_solid, prism_y, revolve, wire

LOWEST = cq.selectors.DirectionMinMaxSelector(UP, False)


def _plate(
    outline: Region,
    guides: Iterable[Guide],
    engravings: Iterable[Engraving],
    thickness: float,
    foot: float,
) -> cq.Shape:
    """`outline` up to `thickness`, holes, engraved; edges at z = 0 taken off by `foot`; mm."""
    circles = [
        cq.Wire.makeCircle(guide.radius, cq.Vector(guide.x, guide.y, 0.0), UP) for guide in guides
    ]
    openings = [wire(ring, 0.0) for ring in outline.inner]
    blank = cq.Solid.extrudeLinear(wire(outline.outer, 0.0), [*circles, *openings], UP * thickness)
    footed = one_solid(blank.chamfer(foot, None, blank.edges(LOWEST)), "plate")
    return engrave_top(footed, thickness, insets_of(engravings))


def draw_trial(trial: Trial) -> Iterator[Part]:
    """Every piece of `trial` as a solid, one after the other."""
    thick, foot = trials.THICKNESS, trials.FOOT
    makers = {
        one.name: partial(_plate, one.outline, one.guides, one.engravings, thick, foot)
        for one in trial.plates
    }
    return draw_pieces(trial.pieces, makers)


def draw_gauge(gauge: Gauge) -> Iterator[Part]:
    """Every part of `gauge` as a solid, one after the other."""
    stub = gauge.ladder.stub
    makers: dict[str, Callable[[], cq.Shape]] = {
        gauges.NAME: partial(_frame, gauge),
        SLOTS: partial(_slots, gauge.ladder),
        RACK: partial(make_rack, stub, lean_to=stub.nose_sag + 2.0),
    }
    return draw_pieces(gauge.pieces, makers)


def _frame(gauge: Gauge) -> cq.Shape:
    thick, foot = gauges.THICKNESS, gauges.FOOT
    plate = _plate(gauge.outline, gauge.guides, gauge.engravings, thick, foot)
    lead_ins = []
    for pocket in gauge.pockets:
        r, lead, top = pocket.radius, pocket.lead_in, pocket.top_z
        wide, over = r + lead, top + OVER
        cone = [(0.0, top - lead), (r, top - lead), (wide, top), (wide, over), (0.0, over)]
        lead_ins.append(revolve(cone).moved(_at(pocket.x, pocket.y)))
    if lead_ins:
        plate = plate.cut(*lead_ins)
    pegs = (
        footed_disc(peg.diameter / 2, 0.0, peg.z[1], foot).moved(_at(peg.x, peg.y))
        for peg in gauge.pegs
    )
    return plate.fuse(*pegs)


def _at(x: float, y: float) -> cq.Location:
    return cq.Location(cq.Vector(x, y, 0))


def _slots(ladder: FitLadder) -> cq.Shape:
    (width, depth, height), low = ladder.size, gauges.FOOT
    strip = _plate(ladder.outline, (), ladder.engravings, STRIP_HEIGHT, low)
    walls = block((0.0, width), (STRIP, depth), (low, height))
    return strip.fuse(walls).cut(*(prism_y(slot, STRIP, depth + OVER) for slot in ladder.slots))
