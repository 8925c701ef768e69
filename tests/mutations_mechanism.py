"""Mutations of the centring mechanism: channels, seats, racks, pinions, noses, clamping faces."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from unittest.mock import patch

import cadquery as cq
import faults
import numpy as np
from mutation import Mutation
from numpy.typing import NDArray
from verify_samples import read_manifest_data

from jiggen.design.gear import Rack
from jiggen.design.station import PinionShape, RailShape, StationShape
from jiggen.export import manifest
from jiggen.solid import body, model, shapes

Array = NDArray[np.float64]
Cutter = Callable[[StationShape, float, float], cq.Shape]
PITCH = np.pi * 1.5

# -- planted in the room that draws ---------------------------------------------------------------

STATION, TOOLS = body._station_cutter, body.mechanical_tools
RAIL, PINION, OUTLINE, LIST = body.make_rail, body.make_pinion, Rack.outline, model.list_pieces
RACK = body.make_rack


@contextmanager
def cut_by(cutter: Cutter, only: str = "body-toe") -> Iterator[None]:
    """The station of one body cut by another cutter."""

    def tools(part: body.Body, design: body.Design) -> Iterator[cq.Shape]:
        made = cutter if part.name == only else STATION
        with patch.object(body, "_station_cutter", made):
            yield from list(TOOLS(part, design))

    with patch.object(body, "mechanical_tools", tools):
        yield


def station(**more: float) -> Callable[[], object]:
    """The toe's station with some of its numbers larger by so much."""

    def cutter(shape: StationShape, top: float, half: float) -> cq.Shape:
        changed = {name: getattr(shape, name) + by for name, by in more.items()}
        return STATION(replace(shape, **changed), top, half)

    return partial(cut_by, cutter)


def shifted(x: float = 0.0, y: float = 0.0) -> Callable[[], object]:
    """The toe's whole station elsewhere."""
    where = cq.Location(cq.Vector(x, y, 0))
    return partial(cut_by, lambda shape, top, half: STATION(shape, top, half).moved(where))


def right_channel(
    change: Callable[[cq.Shape], cq.Shape] = lambda shape: shape, **more: float
) -> Callable[[], object]:
    """The toe's right channel alone changed, or with some of its numbers larger by so much."""

    def cutter(shape: StationShape, top: float, half: float) -> cq.Shape:
        reach = half + 1.0
        other = replace(shape, **{name: getattr(shape, name) + by for name, by in more.items()})
        left, right = (shapes.prism_y(s.channel(-1.0), -reach, reach) for s in (shape, other))
        right = change(right.rotate(cq.Vector(), shapes.UP, 180))
        return shapes.revolve(shape.recess(top, 1.0)).fuse(left, right)

    return partial(cut_by, cutter)


def aside(by: float) -> Callable[[cq.Shape], cq.Shape]:
    return lambda shape: shape.moved(cq.Location(cq.Vector(by, 0, 0)))


def skew(degrees: float) -> Callable[[cq.Shape], cq.Shape]:
    return lambda shape: shape.rotate(cq.Vector(), shapes.UP, degrees)


def seat_aside(by: float) -> Callable[[], object]:
    """The round recess and seat of the toe's pinion beside its channels' middle."""

    def cutter(shape: StationShape, top: float, half: float) -> cq.Shape:
        reach = half + 1.0
        left = shapes.prism_y(shape.channel(-1.0), -reach, reach)
        right = left.rotate(cq.Vector(), shapes.UP, 180)
        round_ = shapes.revolve(shape.recess(top, 1.0)).moved(cq.Location(cq.Vector(0, by, 0)))
        return round_.fuse(left, right)

    return partial(cut_by, cutter)


def rails(change: Callable[[RailShape], RailShape]) -> Callable[[], object]:
    return lambda: patch.object(model, "make_rail", lambda shape: RAIL(change(shape)))


def rails_as(change: Callable[[cq.Shape], cq.Shape]) -> Callable[[], object]:
    return lambda: patch.object(model, "make_rail", lambda shape: change(RAIL(shape)))


def pinions(change: Callable[[PinionShape], PinionShape]) -> Callable[[], object]:
    return lambda: patch.object(model, "make_pinion", lambda shape: PINION(change(shape)))


def pinions_as(change: Callable[[cq.Shape], cq.Shape]) -> Callable[[], object]:
    return lambda: patch.object(model, "make_pinion", lambda shape: change(PINION(shape)))


def geared(**change: float) -> Callable[[PinionShape], PinionShape]:
    return lambda shape: replace(shape, gear=replace(shape.gear, **change))


def racked(shift: float = 0.0, thinner: float = 0.0) -> Callable[[RailShape], RailShape]:
    def change(rail: RailShape) -> RailShape:
        rack = rail.rack
        rack = replace(rack, space_y=rack.space_y + shift, thinning=rack.thinning + thinner)
        return replace(rail, rack=rack)

    return change


@contextmanager
def teeth_moved(move: Callable[[Rack, Array], Array]) -> Iterator[None]:
    """The teeth's y moved within every rack's outline, where it is drawn: plans are kept."""

    def outline(rack: Rack, chord: float = 0.01) -> Array:
        points = OUTLINE(rack, chord).copy()
        inside = slice(2, -2)  # all but the outline's own corners
        points[inside, 1] = move(rack, points[inside, 1])
        return points

    def make_rack(rail: RailShape, lean_to: float) -> cq.Shape:
        with patch.object(Rack, "outline", outline):
            return RACK(rail, lean_to)

    RAIL.cache_clear()
    try:
        with patch.object(body, "make_rack", make_rack):
            yield
    finally:
        RAIL.cache_clear()


def stretched(rack: Rack, y: Array, by: float) -> Array:
    """The pitch `by` times as long, about the middle of the teeth."""
    middle = sum(rack.toothed) / 2
    return np.asarray(np.clip(middle + (y - middle) * by, *rack.toothed))


def one_shifted(rack: Rack, y: Array, by: float, which: int = 4) -> Array:
    at = rack.space_y + (which + 0.5) * rack.gear.pitch
    return np.where(np.abs(y - at) < 0.4 * rack.gear.pitch, y + by, y)


def nose_off(by: float) -> Callable[[cq.Shape], cq.Shape]:
    """The leg with its nose and clamping face `by` further out, on the rack as it was."""

    def change(rail: cq.Shape) -> cq.Shape:
        box = rail.BoundingBox()
        leg = shapes.block((box.xmin - 1, box.xmax + 1), (-1.0, box.ymax + 1), (box.zmin - 1, 2.0))
        moved = rail.intersect(leg).moved(cq.Location(cq.Vector(0, by, 0)))
        return shapes.cut_away(rail, [leg]).fuse(moved)

    return change


def lean(degrees: float, axis: tuple[float, float, float]) -> Callable[[cq.Shape], cq.Shape]:
    return lambda shape: shape.rotate(
        cq.Vector(0, 0, 5), cq.Vector(0, 0, 5) + cq.Vector(axis), degrees
    )


@contextmanager
def unlike(by: float) -> Iterator[None]:
    """Two kinds of rails: the right ones have their noses `by` mm further out."""

    def listed(design: model.Design, width: float | None = None) -> tuple[model.Piece, ...]:
        made = []
        for piece in LIST(design, width):
            if piece.name != "rail":
                made.append(piece)
                continue
            for name, side in (("rail", "left"), ("rail-right", "right")):
                mine = tuple(one for one in piece.placed if one.name.endswith(side))
                made.append(replace(piece, name=name, placed=mine))
        return tuple(made)

    def drawn(
        pieces: tuple[model.Piece, ...], makers: dict[str, Callable[[], cq.Shape]]
    ) -> Iterator[model.Part]:
        rail = makers["rail"]
        return DRAW(pieces, makers | {"rail-right": lambda: nose_off(by)(rail())})

    with (
        patch.object(model, "list_pieces", listed),
        patch.object(manifest, "list_pieces", listed),
        patch.object(model, "draw_pieces", drawn),
    ):
        yield


DRAW = model.draw_pieces


@contextmanager
def exchanged() -> Iterator[None]:
    """Left and right rails of each station have one another's places."""

    def listed(design: model.Design, width: float | None = None) -> tuple[model.Piece, ...]:
        made = []
        for piece in LIST(design, width):
            if piece.name == "rail":
                poses = {one.name: one.pose for one in piece.placed}
                swap = {"left": "right", "right": "left"}
                placed = tuple(
                    replace(one, pose=poses[f"{stem} {swap[side]}"])
                    for one in piece.placed
                    for stem, side in [one.name.rsplit(" ", 1)]
                )
                piece = replace(piece, placed=placed)
            made.append(piece)
        return tuple(made)

    with patch.object(model, "list_pieces", listed), patch.object(manifest, "list_pieces", listed):
        yield


# -- in the written files -------------------------------------------------------------------------


def rail_block(
    how: str, x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]
) -> Callable[[Path], None]:
    """A box joined to the rail or cut from it; x from its station, y from its nose's place."""

    def apply(folder: Path) -> None:
        (part,) = (one for one in read_manifest_data(folder)["parts"] if one["name"] == "rail")
        name = part["placed"][0]["name"].split()[1]
        (at,) = (s["x"] for s in read_manifest_data(folder)["stations"] if s["name"] == name)
        ski = read_manifest_data(folder)["inputs"]["ski"]
        half = (ski["least"] + ski["most"]) / 4
        box = faults.box_of((at + x[0], at + x[1]), (half + y[0], half + y[1]), z)
        faults.boolean(folder, "rail", box, how, True)

    return apply


def rail_moved(
    where: Callable[[Array], Array], by: tuple[float, float, float]
) -> Callable[[Path], None]:
    """Corners of the rail moved; `where` gets them with x from its station and y from its nose."""

    def apply(folder: Path) -> None:
        data = read_manifest_data(folder)
        (at,) = (one["x"] for one in data["stations"] if one["name"] == "heel")
        half = (data["inputs"]["ski"]["least"] + data["inputs"]["ski"]["most"]) / 4

        def change(points: Array) -> Array:
            moved = points.copy()
            moved[where(points - (at, half, 0.0))] += by
            return moved

        faults.edit_mesh(folder, "rail", change)

    return apply


def body_block(
    x: tuple[float, float], y: tuple[float, float], z: tuple[float, float], how: str = "fill"
) -> Callable[[Path], None]:
    """A box joined to the toe's body or cut from it; x from the station."""

    def apply(folder: Path) -> None:
        data = read_manifest_data(folder)
        (toe,) = (one for one in data["stations"] if one["name"] == "toe")
        box = faults.box_of((toe["x"] + x[0], toe["x"] + x[1]), y, z)
        faults.boolean(folder, toe["part"], box, how, True)

    return apply


def pinion_block(
    how: str, radius: tuple[float, float], z: tuple[float, float]
) -> Callable[[Path], None]:
    """A box joined to the pinion or cut from it, 1 mm wide, on its tooth along x."""

    def apply(folder: Path) -> None:
        data = read_manifest_data(folder)
        (heel,) = (one for one in data["stations"] if one["name"] == "heel")
        box = faults.box_of((heel["x"] + radius[0], heel["x"] + radius[1]), (-1.5, 1.5), z)
        faults.boolean(folder, "pinion", box, how, True)

    return apply


def pinion_scaled(by: float) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        (heel,) = (s["x"] for s in read_manifest_data(folder)["stations"] if s["name"] == "heel")
        middle = np.array([heel, 0.0, 0.0])
        size = np.array([by, by, 1.0])
        faults.edit_mesh(folder, "pinion", lambda points: middle + (points - middle) * size)

    return apply


def pose(name: str, kind: str, change: Callable[[Array], Array]) -> Callable[[Path], None]:
    """One placed piece elsewhere in the record."""

    def apply(folder: Path) -> None:
        def edit(data: dict[str, object]) -> None:
            (part,) = (one for one in data["parts"] if one["name"] == kind)  # type: ignore
            for one in part["placed"]:
                if one["name"] == name:
                    one["to_ski"] = change(np.array(one["to_ski"])).tolist()
            part["to_ski"] = part["placed"][0]["to_ski"]

        faults.edit_manifest(folder, edit)

    return apply


def by(x: float = 0.0, y: float = 0.0) -> Callable[[Array], Array]:
    move = np.eye(4)
    move[:2, 3] = x, y
    return lambda matrix: move @ matrix


def edited(change: Callable[[dict[str, object]], object]) -> Callable[[Path], None]:
    return lambda folder: faults.edit_manifest(folder, change)  # type: ignore[arg-type]


SEAT, CHANNEL, ROOF = "verify.seat", "verify.channel", "verify.roof"
TOUCH, CENTRED, TEETH = "verify.touch", "verify.off-centre", "verify.teeth"
JAMMED, BACKLASH, RUN = "verify.jammed", "verify.backlash", "verify.run-free"
LEANS, FACE, SHARED = "verify.leaning", "verify.clamp-face", "verify.interference"
LOST = "verify.station"


def _solid(name: str, apply: Callable[[], object], *codes: str, product: str = "jig") -> Mutation:
    return Mutation(name, "solid", apply, codes, product)  # type: ignore[arg-type]


def _stl(name: str, apply: Callable[[Path], None], *codes: str, product: str = "jig") -> Mutation:
    return Mutation(name, "STL", apply, codes, product)  # type: ignore[arg-type]


MUTATIONS = [
    _solid("toe station 0.4 mm left of the centre line", shifted(y=0.4), CENTRED),
    _solid("toe station 0.1 mm right of the centre line", shifted(y=-0.1), CENTRED),
    _solid("toe station 0.4 mm along the ski", shifted(x=0.4), SEAT),
    _solid("right channel 0.4 mm beside its rail", right_channel(aside(0.4)), CHANNEL),
    _solid("right channel skew by 0.3°", right_channel(skew(0.3)), CHANNEL),
    _solid("channels 0.1 mm too narrow outside", station(half_length=-0.1), CHANNEL),
    _solid("channels 0.1 mm too narrow inside", station(channel_x=0.1), CHANNEL),
    _solid("channels 0.1 mm too wide", station(half_length=0.1), CHANNEL),
    _solid("ledges of the channels 0.15 mm too low", station(lean_z=-0.15), CHANNEL),
    _solid("roof 0.1 mm too low", station(roof_z=-0.1), ROOF),
    _solid("roof 0.1 mm too high", station(roof_z=0.1), ROOF),
    _solid("roof over the right rail 0.15 mm too low", right_channel(roof_z=-0.15), ROOF),
    _solid("seat of the pinion 0.1 mm wider", station(cone_radius=0.1, cone_top_radius=0.1), SEAT),
    _solid("seat of the pinion 0.1 mm narrower", station(cone_radius=-0.1), SEAT),
    _solid("seat of the pinion 0.1 mm beside its channels", seat_aside(0.1), SEAT),
    _solid("recess of the flange 0.3 mm too narrow", station(flange_radius=-0.3), RUN),
    _solid("recess of the teeth 0.3 mm too narrow", station(gear_radius=-0.3), RUN),
    _solid("teeth of the racks shifted 0.2 mm", rails(racked(shift=0.2)), TOUCH),
    _solid(
        "one tooth of the racks shifted 0.2 mm",
        partial(teeth_moved, partial(one_shifted, by=0.2)),
        TEETH,
    ),
    _solid(
        "pitch of the racks 1 % long", partial(teeth_moved, partial(stretched, by=1.01)), BACKLASH
    ),
    _solid(
        "pitch of the racks 1 % short", partial(teeth_moved, partial(stretched, by=0.99)), BACKLASH
    ),
    _solid("teeth of the racks 0.05 mm thinner", rails(racked(thinner=0.05)), BACKLASH),
    _solid("teeth of the racks 0.05 mm thicker", rails(racked(thinner=-0.05)), BACKLASH),
    _solid("pinion with a tooth more", pinions(geared(teeth=13)), TEETH),
    _solid(
        "pinion with two teeth more on its pitch circle",
        pinions(geared(teeth=14, module=18 / 14)),
        JAMMED,
    ),
    _solid("pinion of another profile shift", pinions(geared(shift=0.35)), BACKLASH),
    _solid("teeth of the pinion 0.05 mm thinner", pinions(geared(thinning=0.13)), BACKLASH),
    _solid(
        "pinion turned by 2° in its hexagon",
        pinions_as(lambda s: s.rotate(cq.Vector(), shapes.UP, 2)),
        TOUCH,
    ),
    _solid("noses 0.3 mm shorter", rails_as(nose_off(0.3)), TOUCH),
    _solid("noses 0.05 mm longer", rails_as(nose_off(-0.05)), TOUCH),
    _solid("right rails unlike the left by 0.3 mm", partial(unlike, 0.3), CENTRED),
    _solid("right rails unlike the left by 0.05 mm", partial(unlike, -0.05), CENTRED),
    _solid(
        "rails leaning over by 1°",
        rails_as(lean(1.0, (1, 0, 0))),
        LEANS,
        "verify.print-contact",
    ),
    _solid("rails leaning along by 0.4°", rails_as(lean(0.4, (0, 1, 0))), CHANNEL),
    _solid(
        "noses 1 mm too short downwards",
        rails(lambda r: replace(r, bottom_z=r.bottom_z + 1.0)),
        TOUCH,
    ),
    _solid("left and right rails exchanged", exchanged, LOST),
    _solid("roof 0.1 mm too low, many boots", station(roof_z=-0.1), ROOF, product="boots"),
    _solid("toe station 0.1 mm off, many boots", shifted(y=0.1), CENTRED, product="boots"),
    _stl(
        "bump of 0.5 mm on the clamping face",
        rail_block("fill", (0.0, 2.0), (9.5, 10.5), (-6.0, -4.0)),
        FACE,
    ),
    _stl(
        "bump of 0.05 mm on the clamping face",
        rail_block("fill", (0.0, 2.0), (9.5, 10.05), (-6.0, -4.0)),
        FACE,
    ),
    _stl(
        "bump of 0.5 mm on the nose",
        rail_block("fill", (-1.0, 1.0), (-0.5, 1.0), (-8.0, -7.0)),
        TOUCH,
    ),
    _stl(
        "bump of 0.1 mm on the back of the rack",
        rail_block("fill", (14.0, 16.125), (-40.0, -39.0), (7.0, 8.0)),
        CHANNEL,
    ),
    _stl(
        "bump of 0.1 mm on a tooth's tip",
        rail_block("fill", (7.85, 9.0), (-50.5, -49.5), (7.2, 7.6)),
        CHANNEL,
        TEETH,
    ),
    _stl(
        "bump of 0.1 mm on top of the rack",
        rail_block("fill", (9.0, 11.0), (-45.0, -44.0), (9.0, 10.3)),
        ROOF,
    ),
    _stl(
        "a tooth of the rack cut away",
        rail_block("drill", (7.0, 11.0), (-51.4, -48.0), (3.0, 11.0)),
        TEETH,
    ),
    _stl(
        "nose 0.3 mm shorter",
        rail_moved(lambda p: (p[:, 1] < 2.5) & (p[:, 2] < 0), (0.0, 0.3, 0.0)),
        TOUCH,
    ),
    _stl(
        "rail 0.1 mm longer outside the rack",
        rail_moved(lambda p: p[:, 1] > -1, (0.0, 0.1, 0.0)),
        TOUCH,
    ),
    _stl(
        "bump of 0.15 mm on a channel's wall",
        body_block((16.075, 17.0), (20.0, 22.0), (7.0, 8.0)),
        CHANNEL,
    ),
    _stl(
        "bump of 0.15 mm on a channel's roof",
        body_block((10.0, 12.0), (20.0, 22.0), (10.25, 11.0)),
        CHANNEL,
    ),
    _stl("a channel filled at its end", body_block((10.0, 12.0), (25.0, 27.0), (4.0, 8.0)), SHARED),
    _stl(
        "a channel's wall cut away",
        body_block((16.0, 17.5), (15.0, 20.0), (4.0, 9.0), "drill"),
        CHANNEL,
    ),
    _stl(
        "a channel's roof cut away",
        body_block((9.0, 15.0), (15.0, 20.0), (9.0, 12.0), "drill"),
        ROOF,
    ),
    _stl(
        "a tooth of the pinion cut away",
        pinion_block("drill", (8.0, 12.0), (3.1, 9.9)),
        TEETH,
        BACKLASH,
    ),
    _stl(
        "a tooth of the pinion 0.2 mm higher",
        pinion_block("fill", (8.0, 11.15), (3.1, 9.9)),
        JAMMED,
        TEETH,
        RUN,
    ),
    _stl("pinion 0.5 % larger across", pinion_scaled(1.005), BACKLASH, SEAT),
    Mutation(
        "a rail's place 0.1 mm farther out",
        "record",
        pose("rail toe left", "rail", by(y=0.1)),
        (SHARED,),
    ),
    Mutation(
        "a rail's place a tooth farther out",
        "record",
        pose("rail toe left", "rail", by(y=PITCH)),
        (TOUCH,),
    ),
    Mutation(
        "a pinion's place 0.3 mm along",
        "record",
        pose("pinion heel", "pinion", by(x=0.3)),
        (SHARED,),
    ),
    Mutation(
        "station 0.4 mm along in the record",
        "record",
        edited(lambda d: d["stations"][0].update(x=d["stations"][0]["x"] + 0.4)),
        (SEAT,),
    ),  # type: ignore[index]
    Mutation(
        "no stations in the record", "record", edited(lambda d: d.update(stations=[])), (LOST,)
    ),
    Mutation(
        "backlash of 0.1 in the record",
        "record",
        edited(lambda d: d["inputs"].update(backlash=0.1)),
        (BACKLASH,),
    ),  # type: ignore[attr-defined]
    Mutation(
        "slide of 0.3 in the record",
        "record",
        edited(lambda d: d["inputs"].update(slide=0.3)),
        (CHANNEL,),
    ),  # type: ignore[attr-defined]
    Mutation(
        "rails 5 mm deep in the record",
        "record",
        edited(lambda d: d["inputs"].update(rail_depth=5.0)),
        (TOUCH,),
    ),  # type: ignore[attr-defined]
]
