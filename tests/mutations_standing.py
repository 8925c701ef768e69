"""Mutations of what a jig stands on, its windows, seats and pockets, and openings of any form."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import cadquery as cq
import numpy as np
import trimesh
from faults import boolean, edit_manifest
from mutation import Kind, Mutation

from jiggen.design.jig import Body, Design
from jiggen.solid import body as drawn
from jiggen.solid import model

BUSH, SCREW, KNOB = "verify.bush", "verify.fastener", "verify.knob"
TURNS = "verify.nut-turns"
PAD, WINDOW, POCKET, CUT = "verify.pad", "verify.window", "verify.pocket", "verify.cut"
EXTRA, OUTLINE, HARDWARE = "verify.extra", "verify.outline", "verify.hardware"
Plant = Callable[[], AbstractContextManager[object]]


# -- in written meshes ----------------------------------------------------------------------------


def block(*spans: tuple[float, float]) -> trimesh.Trimesh:
    """A box between these x, y and z; ski frame, mm."""
    low, high = np.array(spans).T
    return trimesh.creation.box(bounds=(low, high))


def column(
    x: float, y: float, z: tuple[float, float], across: float, sides: int = 48, lean: float = 0.0
) -> trimesh.Trimesh:
    """An upright prism about (x, y), which leans by so many degrees towards the tip."""
    made = trimesh.creation.cylinder(across / 2, z[1] - z[0], sections=sides)
    made.apply_translation((0, 0, sum(z) / 2))
    made.apply_transform(trimesh.transformations.rotation_matrix(np.radians(lean), (0, 1, 0)))
    made.apply_translation((x, y, 0))
    return made


def ring(x: float, y: float, z: tuple[float, float], inner: float, outer: float) -> trimesh.Trimesh:
    """An upright ring about (x, y) of these diameters."""
    made = trimesh.creation.annulus(inner / 2, outer / 2, z[1] - z[0], sections=48)
    made.apply_translation((x, y, sum(z) / 2))
    return made


STATION = 177.5, -140.0
"""X of the stations of the jig that is mutated; a pose puts parts onto the last of them."""


def on_station(made: trimesh.Trimesh) -> trimesh.Trimesh:
    """What is made about the axis of a station, where its part is first placed."""
    made.apply_translation((STATION[1], 0, 0))
    return made


def on_pinion(z: tuple[float, float], across: float, x: float = 0.0) -> trimesh.Trimesh:
    """A column in a pinion."""
    return on_station(column(x, 0.0, z, across))


def turned_off(z: tuple[float, float], inner: float, outer: float) -> trimesh.Trimesh:
    """A ring about a station's axis."""
    return on_station(ring(0.0, 0.0, z, inner, outer))


def edited(
    name: str,
    part: str,
    how: str,
    tool: Callable[[], trimesh.Trimesh],
    *codes: str,
    of: Kind = "jig",
) -> Mutation:
    """A mesh less `tool`, or with it."""
    return Mutation(
        name, "STL", lambda folder: boolean(folder, part, tool(), how, False), codes, product=of
    )


CUTS, ADDS = "drill", "fill"
STL = [
    edited(
        f"bump of {high:g} mm on a pad at {x:g}, {y:g}",
        part,
        ADDS,
        lambda x=x, y=y, high=high: block((x, x + 2), (y, y + 2), (-high, 0.3)),
        PAD,
    )
    for high, part, x, y in (
        (0.3, "body-toe", 60.0, 27.0),
        (1.5, "body-heel", -60.0, -30.0),
        (0.05, "body-toe", 140.0, -31.0),
    )
] + [
    edited(
        "hollow of 0.3 mm in a pad",
        "body-toe",
        CUTS,
        lambda: block((50, 60), (26, 32), (-1, 0.3)),
        PAD,
    ),
    edited(
        "a third pad in the middle, 0.6 mm high",
        "body-heel",
        ADDS,
        lambda: block((-70, -60), (-5, 5), (0, 1)),
        PAD,
    ),
    edited(
        "pad's lip of 0.2 mm over the ski's side",
        "body-toe",
        ADDS,
        lambda: block((50, 60), (33, 34), (-0.2, 1)),
        PAD,
    ),
    edited(
        "bush pocket narrowed 0.6 mm at half its height",
        "body-toe",
        ADDS,
        lambda: ring(155.3, 17.3, (7.0, 8.0), 6.5, 8.0),
        POCKET,
    ),
    edited(
        "bush pocket's seat 0.5 mm lower",
        "body-toe",
        CUTS,
        lambda: column(117.4, 20.9, (1.5, 3.0), 7.1),
        POCKET,
    ),
    edited(
        "hexagonal hole of 6 mm right through",
        "body-toe",
        CUTS,
        lambda: column(70.0, 10.0, (-1, 15), 6.0, sides=6),
        EXTRA,
    ),
    edited(
        "leaning hole of 3.6 mm, 20 degrees, right through",
        "body-heel",
        CUTS,
        lambda: column(-70.0, 5.0, (-4, 18), 3.6, lean=20.0),
        EXTRA,
    ),
    edited(
        "square pocket of 4 mm in the underside, 5 mm deep",
        "body-toe",
        CUTS,
        lambda: block((68, 72), (-12, -8), (-1, 5)),
        EXTRA,
    ),
    edited(
        "tilted passage of 3 mm from the edge",
        "body-toe",
        CUTS,
        lambda: column(60.0, 0.0, (-30, 30), 3.0, lean=70.0),
        EXTRA,
        CUT,
        OUTLINE,
    ),
    edited(
        "sight window filled, one half of it",
        "body-toe",
        ADDS,
        lambda: block((0.01, 7.5), (24.5, 34), (0, 14)),
        WINDOW,
    ),
    edited(
        "sight window's wall moved 1 mm",
        "body-toe",
        CUTS,
        lambda: block((6, 8), (27, 35), (-1, 15)),
        WINDOW,
    ),
    edited(
        "joint screw's hole filled",
        "body-heel",
        ADDS,
        lambda: block((-5, -2), (13, 19), (4, 10)),
        CUT,
    ),
    edited(
        "nut's pocket 0.5 mm narrower",
        "body-heel",
        ADDS,
        lambda: block((-10, -5.5), (12.0, 12.9), (1, 10)),
        CUT,
    ),
    edited(
        "channel's roof 0.3 mm lower at one place",
        "body-toe",
        ADDS,
        lambda: block((188, 192), (20, 26), (10.1, 11)),
        CUT,
    ),
    edited(
        "lock screw's bore filled",
        "pinion",
        ADDS,
        lambda: on_pinion((10.0, 11.0), 6.0),
        SCREW,
    ),
    edited(
        "lock nut's trap filled in one corner",
        "pinion",
        ADDS,
        lambda: on_pinion((1.3, 5.0), 2.0, x=4.3),
        SCREW,
    ),
    edited(
        "lock nut's trap round, so that it turns",
        "pinion",
        CUTS,
        lambda: on_pinion((0.0, 6.2), 9.6),
        TURNS,
    ),
    edited(
        "lock nut's trap without a ceiling",
        "pinion",
        CUTS,
        lambda: on_pinion((5.0, 9.0), 9.2),
        SCREW,
    ),
    edited(
        "hexagon of the pinion turned off",
        "pinion",
        CUTS,
        lambda: turned_off((14.5, 22.0), 8.9, 12.0),
        KNOB,
    ),
    edited(
        "knob's socket narrowed at its mouth",
        "knob",
        ADDS,
        lambda: on_station(ring(0.0, 0.0, (14.6, 15.0), 8.8, 14.0)),
        KNOB,
    ),
    edited(
        "knob's bore filled",
        "knob",
        ADDS,
        lambda: on_station(column(0.0, 0.0, (24.0, 25.0), 7.0)),
        SCREW,
    ),
    edited(
        "knob's top hollow under the screw's head",
        "knob",
        CUTS,
        lambda: on_station(column(0.0, 0.0, (25.4, 28.0), 8.8)),
        SCREW,
    ),
    edited(
        "hexagonal hole of 6 mm in a half for many boots",
        "body-toe",
        CUTS,
        lambda: column(110.0, 0.0, (-1, 15), 6.0, sides=6),
        EXTRA,
        of="boots",
    ),
    edited(
        "bump of 0.3 mm on a pad of a half for many boots",
        "body-heel",
        ADDS,
        lambda: block((-140, -138), (28, 30), (-0.3, 0.3)),
        PAD,
        of="boots",
    ),
    edited(
        "square hole in a trial plate",
        "plate-toe",
        CUTS,
        lambda: block((60, 64), (3, 7), (-1, 3)),
        EXTRA,
        of="trial",
    ),
    edited(
        "hexagonal hole in a gauge",
        "gauge",
        CUTS,
        lambda: column(70.0, 6.5, (-1, 8), 2.5, sides=6),
        EXTRA,
        of="gauge",
    ),
]


# -- in the room that draws -----------------------------------------------------------------------


def changed_body(name: str, change: Callable[[cq.Shape], cq.Shape]) -> Plant:
    """The body of that `name` as `change` leaves it."""
    make = model.make_body

    def made(body: Body, design: Design) -> cq.Shape:
        shape = make(body, design)
        return change(shape) if body.name == name else shape

    return lambda: patch.object(model, "make_body", made)


def changed(where: Any, maker: str, **differently: float) -> Plant:
    """What `maker` draws of its first argument, some of whose numbers are raised."""
    make = getattr(where, maker)

    def made(shape: Any, *others: Any) -> cq.Shape:
        new = {key: getattr(shape, key) + by for key, by in differently.items()}
        return make(replace(shape, **new), *others)

    return lambda: patch.object(where, maker, made)


def solid_box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> cq.Shape:
    """A box for the kernel."""
    size = (x[1] - x[0], y[1] - y[0], z[1] - z[0])
    return cq.Solid.makeBox(*size, pnt=cq.Vector(x[0], y[0], z[0]))


def _planted(name: str, plant: Plant, *codes: str) -> Mutation:
    return Mutation(name, "solid", plant, codes)


UP, ORIGIN = cq.Vector(0, 1, 0), cq.Vector(0, 0, 0)
SOLID = [
    _planted(
        "toe's pads 0.3 mm higher than the heel's",
        changed_body(
            "body-toe", lambda shape: shape.cut(solid_box((20, 300), (-50, 50), (-1, 0.3)))
        ),
        PAD,
    ),
    _planted(
        "toe's pads 0.3 mm lower than the heel's",
        changed_body(
            "body-toe",
            lambda shape: shape.fuse(
                *(solid_box((60, 90), (y, y + 5), (-0.3, 1)) for y in (-33.0, 28.0))
            ),
        ),
        PAD,
    ),
    _planted(
        "sight window filled",
        changed_body(
            "body-toe", lambda shape: shape.fuse(solid_box((0, 7.5), (24.5, 34), (0, 14)))
        ),
        WINDOW,
    ),
    _planted(
        "sight window's wall moved 1 mm",
        changed_body("body-toe", lambda shape: shape.cut(solid_box((6, 8), (27, 35), (-1, 15)))),
        WINDOW,
    ),
    _planted(
        "body leans 0.3 degrees",
        changed_body("body-toe", lambda shape: shape.rotate(ORIGIN, UP, 0.3)),
        "verify.lean",
    ),
    _planted("bushes' seats 0.5 mm too high", changed(drawn, "_guide_cutter", seat_z=0.5), POCKET),
    _planted("relief 0.2 mm too low", changed_body("body-toe", lambda shape: shape.fuse(
        solid_box((60, 90), (-18, 18), (0.4, 1)))), PAD),
    *(
        _planted(name, changed(model, maker, **{what: by}), code)
        for name, maker, what, by, code in (
            ("knob's socket 0.3 mm too small", "make_knob", "socket_flats", -0.3, KNOB),
            ("knob's socket 1 mm too wide", "make_knob", "socket_flats", 1.0, KNOB),
            ("lock nuts' traps 0.3 mm too small", "make_pinion", "nut_flats", -0.3, SCREW),
            ("lock nuts' traps 1.4 mm too wide", "make_pinion", "nut_flats", 1.4, TURNS),
            ("lock screws' bores too small", "make_pinion", "bore", -0.8, SCREW),
        )
    ),
    _planted("channels' roof 0.5 mm too low", changed(drawn, "_station_cutter", roof_z=-0.5), CUT),
    _planted("channels 0.3 mm too wide", changed(drawn, "_station_cutter", half_length=0.3), CUT),
]  # fmt: skip

# -- in the record --------------------------------------------------------------------------------


def _stated(name: str, change: Callable[[dict[str, Any]], object], *codes: str) -> Mutation:
    return Mutation(name, "record", lambda folder: edit_manifest(folder, change), codes)


def _each(key: str, **values: Any) -> Callable[[dict[str, Any]], object]:
    return lambda data: [entry.update(values) for entry in data[key]]


RECORD = [
    _stated("shapes of bodies left out", lambda data: data.pop("bodies"), "verify.unstated"),
    _stated("fasteners left out", lambda data: data.pop("fasteners"), "verify.unstated"),
    _stated("one bush fewer to buy", lambda data: data["hardware"][0].update(count=8), HARDWARE),
    _stated(
        "longer screws to buy", lambda data: data["hardware"][1].update(size="M5 x 30"), HARDWARE
    ),
    _stated("screws 5 mm longer", _each("fasteners", length=30.0), SCREW, HARDWARE),
    _stated(
        "bushes of 6 mm outside",
        _each("guides", bush={"outside": 6.0, "length": 12.0}),
        BUSH,
        HARDWARE,
    ),
    _stated(
        "stops that come down 2 mm lower",
        _each("guides", top_z=12.0),
        "verify.stop-height",
    ),
    _stated("relief of 0.4 mm", _each("bodies", relief=0.4), CUT, WINDOW, POCKET),
    _stated("a body 0.1 mm thicker", _each("bodies", top=14.1), OUTLINE),
]

MUTATIONS = [*STL, *SOLID, *RECORD]
