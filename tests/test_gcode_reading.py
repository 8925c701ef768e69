"""The reader of G-code on texts small enough to work out by hand."""

import math

import numpy as np
import pytest
from gcode_reading import circles, fit_circle, read_paths


def ring(x, y, radius, corners=48):
    angles = np.linspace(0, 2 * math.pi, corners + 1)
    return [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]


def moves(points, relative=False):
    lines, e = [f"G1 X{points[0][0]:.4f} Y{points[0][1]:.4f} F7800"], 0.0
    for x, y in points[1:]:
        e = 0.1 if relative else e + 0.1
        lines.append(f"G1 X{x:.4f} Y{y:.4f} E{e:.5f}")
    return lines


# What four common slicing programs write before a wall: role, layer and object.
DIALECTS = {
    "one": [";LAYER_CHANGE", "; printing object body id:0 copy 0", ";TYPE:External perimeter"],
    "two": [";LAYER_CHANGE", "EXCLUDE_OBJECT_START NAME=body", ";TYPE:Outer wall"],
    "three": ["; CHANGE_LAYER", "; printing object body id:1", "; FEATURE: Outer wall"],
    "four": [";LAYER:0", ";MESH:body", ";TYPE:WALL-OUTER"],
}


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("relative", [False, True])
def test_a_round_wall_is_found_however_it_is_announced(dialect, relative):
    text = ["M83" if relative else "M82", "G90", "G92 E0", "G1 Z0.2", *DIALECTS[dialect]]
    text += moves(ring(40.0, 30.0, 3.5), relative)
    (found,) = circles(read_paths(text))
    assert (found.layer, found.z, found.thing) == (0, 0.2, "body")
    assert (found.x, found.y, found.diameter) == pytest.approx((40.0, 30.0, 7.0), abs=1e-4)


def test_arcs_are_followed():
    # Anticlockwise half a turn about (40, 30), then the other half.
    text = [";TYPE:Outer wall", "G1 X43.5 Y30", "G3 X36.5 Y30 I-3.5 J0 E1", "G3 X43.5 Y30 I3.5 E2"]
    (found,) = circles(read_paths(text))
    assert (found.x, found.y, found.diameter) == pytest.approx((40.0, 30.0, 7.0), abs=1e-3)
    text = [line.replace("G3", "G2") for line in text]
    (found,) = circles(read_paths(text))
    assert (found.x, found.y, found.diameter) == pytest.approx((40.0, 30.0, 7.0), abs=1e-3)


def test_relative_moves_are_added_up():
    text = [";TYPE:Outer wall", "G1 X10 Y10", "G91", "M82", "G92 E0"]
    points = np.array(ring(0.0, 0.0, 2.0))
    text += [
        f"G1 X{dx:.5f} Y{dy:.5f} E{n}" for n, (dx, dy) in enumerate(np.diff(points, axis=0), 1)
    ]
    (found,) = circles(read_paths(text))
    assert (found.x, found.y) == pytest.approx((8.0, 10.0), abs=1e-3)


def test_what_is_no_round_wall_is_left_out():
    square = [(0, 0), (4, 0), (4, 4), (0, 4), (0, 0)]
    half = ring(40.0, 30.0, 3.5)[:30]
    infill = [";TYPE:Internal infill", *moves(ring(5.0, 5.0, 3.0))]
    text = [";TYPE:External perimeter", *moves(square), *moves(half), *infill]
    assert len(list(read_paths(text))) == 3
    assert list(circles(read_paths(text))) == []


def test_a_wall_that_partly_hangs_over_is_one_loop():
    whole = moves(ring(0.0, 0.0, 3.0))
    text = [";TYPE:External perimeter", *whole[:20], ";TYPE:Overhang perimeter", *whole[20:]]
    (path,) = read_paths(text)
    assert path.is_loop


def test_the_circle_through_three_points():
    # Thales: the hypotenuse from (0, 0) to (6, 8) is the diameter.
    points = np.array([(0.0, 0.0), (6.0, 8.0), (6.0, 0.0)])
    assert fit_circle(points) == pytest.approx((3.0, 4.0, 10.0))
