"""The gauge as solids: the frame with its pegs, the slots, and the stub of a rack."""

from __future__ import annotations

from collections.abc import Callable

import cadquery as cq

from jiggen.design.engraving import Engraving
from jiggen.design.fit_ladder import STRIP, STRIP_HEIGHT, FitLadder
from jiggen.design.gauge import DEPTH, FOOT, THICKNESS, Gauge
from jiggen.design.guides import Guide
from jiggen.design.lettering import Region
from jiggen.progress import announce
from jiggen.record.entries import PartKind, Peg
from jiggen.solid.model import Model, Part
from jiggen.solid.moving import make_rack
from jiggen.solid.plates import make_plate
from jiggen.solid.shapes import block, one_solid, prism_y, revolve

OVER = 1.0  # mm that cutters reach past what they cut


def build_gauge(gauge: Gauge) -> Model:
    """Every part of `gauge` as a solid."""
    makers: dict[PartKind, Callable[[], cq.Shape]] = {
        "gauge": lambda: _frame(gauge),
        "slots": lambda: _slots(gauge.ladder),
        "rack": lambda: _rack(gauge.ladder),
    }
    parts = []
    for piece in gauge.pieces:
        announce(f"solid: {piece.name}")
        solid = one_solid(makers[piece.kind](), piece.name)
        parts.append(Part(piece, solid, float(solid.Volume())))
    return Model(tuple(parts))


def _frame(gauge: Gauge) -> cq.Shape:
    plate = make_plate(
        gauge.outline,
        gauge.guides,
        _regions(gauge.engravings),
        thickness=THICKNESS,
        depth=DEPTH,
        foot=FOOT,
    )
    flared = plate.cut(*(_lead_in(pocket) for pocket in gauge.pockets)) if gauge.pockets else plate
    return flared.fuse(*(_peg(peg) for peg in gauge.pegs))


def _regions(engravings: tuple[Engraving, ...]) -> list[Region]:
    return [region for item in engravings for region in item.regions]


def _peg(peg: Peg) -> cq.Shape:
    r = peg.diameter / 2
    profile = [(0.0, 0.0), (r - FOOT, 0.0), (r, FOOT), (r, peg.z[1]), (0.0, peg.z[1])]
    return revolve(profile).moved(cq.Location(cq.Vector(peg.x, peg.y, 0)))


def _lead_in(pocket: Guide) -> cq.Shape:
    r, lead, top = pocket.radius, pocket.lead_in, pocket.top_z
    wide = r + lead
    profile = [(0.0, top - lead), (r, top - lead), (wide, top), (wide, top + OVER)]
    profile += [(0.0, top + OVER)]
    return revolve(profile).moved(cq.Location(cq.Vector(pocket.x, pocket.y, 0)))


def _slots(ladder: FitLadder) -> cq.Shape:
    width, depth, height = ladder.size
    foot = make_plate(
        ladder.outline,
        (),
        _regions(ladder.engravings),
        thickness=STRIP_HEIGHT,
        depth=DEPTH,
        foot=FOOT,
    )
    walls = block((0.0, width), (STRIP, depth), (FOOT, height))
    cutters = [prism_y(profile, STRIP, depth + OVER) for profile in ladder.slots]
    return foot.fuse(walls).cut(*cutters)


def _rack(ladder: FitLadder) -> cq.Shape:
    stub = ladder.stub
    return make_rack(stub, lean_to=stub.nose_sag + 2.0)
