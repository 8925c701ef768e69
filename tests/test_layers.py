"""Heights in the printed files are whole layers from the bed; what opens on the bed has a lead-in.

A slicing program fills a layer if its middle is in the part: a step between two layers comes out
up to half a layer off, and a bridge of one and a half layers is one or two.
"""

from __future__ import annotations

from functools import reduce

import numpy as np
import pytest
import shapely
import trimesh

from jiggen.advice import LAYER, more_layers, whole_layers
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.station import design_mechanism

LEVEL = 1e-6
HAIR = 2e-3  # mm: chords of a lying hole, single precision


def meshes(built):
    for part in built.record.parts:
        yield part, trimesh.load_mesh(built.folder / part.file)


def steps(mesh):
    """Heights of level faces in mm over the bed, with their area."""
    level = np.abs(mesh.face_normals[:, 2]) > 1 - LEVEL
    heights = np.round(mesh.triangles_center[level, 2], 3)
    return {float(z): float(mesh.area_faces[level][heights == z].sum()) for z in np.unique(heights)}


def test_every_step_of_every_part_is_a_whole_number_of_advised_layers(built):
    (layer,) = {bed.advice.layer for bed in built.record.beds}
    assert layer == 0.2
    for part, mesh in meshes(built):
        off = {
            z: area
            for z, area in steps(mesh).items()
            if abs(z / layer - round(z / layer)) * layer > HAIR
        }
        # The crown of a hole that lies along x is a strip of a few mm², not a step.
        assert {z: area for z, area in off.items() if area > 6.0} == {}, part.name


def test_the_bush_is_flush_where_the_sheet_sets_the_stop(built):
    """Seat by the sliced layers, not by the model: 12 mm of bush from there end at the stop."""
    bush = 12.0  # DIN 179, of the build's own list
    assert any("x 12 mm" in line.size for line in built.record.hardware)
    for guide in built.record.guides:
        (part,) = (part for part in built.record.parts if part.name == guide.part)
        over = part.to_ski[2][3]  # of the bed, which is the body's top
        seat = over - guide.bore_z[0]  # mm over the bed
        printed = LAYER * round(seat / LAYER)
        assert over - printed + bush == pytest.approx(guide.top_z, abs=1e-6)


@pytest.mark.parametrize("body", [12.0, 13.5, 14.0, 14.3, 15.0])
@pytest.mark.parametrize("relief", [0.5, 0.6])
def test_seats_and_ceilings_are_on_layers_whatever_the_body(club_layout, body, relief):
    bush = "none" if body == 12.0 else "auto"
    settings = Settings(SkiRange(84, 112), body=body, relief=relief, bush=bush, slide=0.23)
    design = design_jig(club_layout, settings)
    for guide in design.guides:
        deep = body - guide.seat_z
        assert deep == pytest.approx(whole_layers(deep + LAYER / 2))
        assert guide.throat_z[1] - guide.throat_z[0] >= 1.0 - 1e-9
        if guide.bush:
            assert guide.seat_z - guide.throat_z[1] == pytest.approx(2 * LAYER)
    made = design.mechanism
    nut = made.pinion.nut_top_z - made.pinion.bottom_z
    rack = made.rail.top_z - made.rail.bottom_rack_z
    recess = body - made.station.flange_z
    knob = made.knob.top_z - made.knob.bottom_z
    socket = made.knob.top_z - made.knob.socket_top_z
    for height in (nut, rack, recess, knob, socket):
        assert height == pytest.approx(whole_layers(height + LAYER / 2), abs=1e-6)
    # And nothing has become tighter for it.
    assert made.rail.bottom_rack_z - made.pinion.flange_z >= 0.23 - 1e-9
    assert made.station.flange_z - made.pinion.flange_z >= 0.23 - 1e-9
    assert nut >= made.lock.nut.height + LAYER - 1e-9


def test_layers_are_counted_up_and_down():
    assert (whole_layers(11.9), whole_layers(12.0), whole_layers(0.0)) == (11.8, 12.0, 0.0)
    assert (more_layers(4.9), more_layers(5.0)) == (5.0, 5.0)


def openings(mesh, z):
    """The openings of a section `z` mm over the bed, as areas."""
    section = mesh.section(plane_origin=(0, 0, z), plane_normal=(0, 0, 1))
    loops = [shapely.Polygon(loop[:, :2]) for loop in section.discrete]
    whole = reduce(shapely.symmetric_difference, [loop.buffer(0) for loop in loops])
    return [shapely.Polygon(ring) for one in shapely.get_parts(whole) for ring in one.interiors]


def test_what_opens_on_the_bed_is_wider_there(built):
    """Elephant's foot, 0.1 to 0.3 mm, must not narrow what a screw, nut or bush goes into."""
    seen = {}
    for part, mesh in meshes(built):
        # The neck of a seat is half a mm deep, engravings end at 0.6.
        on_bed, neck, deeper = (openings(mesh, z) for z in (0.01, 0.45, 1.0))
        for centre in (opening.centroid for opening in deeper):
            (mouth,), (inner,) = (
                [o for o in found if o.contains(centre)] for found in (on_bed, neck)
            )
            seen.setdefault(part.kind, []).append((mouth.area - inner.area) / inner.length)
    assert set(seen) == {"body", "pinion", "knob"}
    assert len(seen["body"]) == 9 + 2  # guides, and the cones' seats
    for kind, found in seen.items():
        assert min(found) > 0.3, kind


def test_the_nut_goes_into_its_trap_whatever_the_foot():
    pinion = design_mechanism(Settings(SkiRange(84, 112))).pinion
    assert pinion.nut_flats == pytest.approx(8.2)  # ISO 4032: M5 is 8 over its flats
