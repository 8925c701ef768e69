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
from faults import boolean
from mutations import Kind, Mutation

from jiggen.design.jig import Body, Design
from jiggen.solid import body as drawn
from jiggen.solid import model

PAD, WINDOW, POCKET, CUT = "verify.pad", "verify.window", "verify.pocket", "verify.cut"
EXTRA, OUTLINE = "verify.extra", "verify.outline"
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
        lambda: column(70.0, 11.5, (-1, 8), 3.0, sides=6),
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
        PAD,
    ),
    _planted("bushes' seats 0.5 mm too high", changed(drawn, "_guide_cutter", seat_z=0.5), POCKET),
    _planted("relief 0.2 mm too low", changed_body("body-toe", lambda shape: shape.fuse(
        solid_box((60, 90), (-18, 18), (0.4, 1)))), PAD),
    _planted("channels' roof 0.5 mm too low", changed(drawn, "_station_cutter", roof_z=-0.5), CUT),
    _planted("channels 0.3 mm too wide", changed(drawn, "_station_cutter", half_length=0.3), CUT),
]  # fmt: skip

MUTATIONS = [*STL, *SOLID]
