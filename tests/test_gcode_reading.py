"""The reader of G-code on texts small enough to work out by hand."""

import math
import os

import numpy as np
import pytest
from gcode_writing import DIALECTS

from jiggen.verify.reading.gcode import GcodeError, follow, read_gcode
from jiggen.verify.toolpath import fit_circle, round_wall


def ring(x, y, radius, corners=48):
    angles = np.linspace(0, 2 * math.pi, corners + 1)
    return [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]


def moves(points, relative=False):
    lines, e = [f"G1 X{points[0][0]:.4f} Y{points[0][1]:.4f} F7800"], 0.0
    for x, y in points[1:]:
        e = 0.1 if relative else e + 0.1
        lines.append(f"G1 X{x:.4f} Y{y:.4f} E{e:.5f}")
    return lines


def circle(path, middle=(40.0, 30.0), bore=7.0):
    return round_wall(path.points, np.array(middle), bore, np.zeros(len(path.points)))


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("relative", [False, True])
def test_a_round_wall_is_found_however_it_is_announced(dialect, relative):
    text = ["M83" if relative else "M82", "G90", "G92 E0", "G1 Z0.2", DIALECTS[dialect].outer]
    path = follow([*text, *moves(ring(40.0, 30.0, 3.5), relative)])
    assert path.height.tolist() == [0.2]
    assert circle(path) == pytest.approx((40.0, 30.0, 7.0), abs=1e-4)


@pytest.mark.parametrize("form", ["I", "R"])
@pytest.mark.parametrize("way", ["G2", "G3"])
def test_arcs_are_followed(form, way):
    by = ("I-3.5 J0", "I3.5") if form == "I" else ("R3.5", "R3.5")
    text = [";TYPE:Outer wall", "G1 X43.5 Y30"]
    text += [f"{way} X36.5 Y30 {by[0]} E1", f"{way} X43.5 Y30 {by[1]} E2"]
    path = follow(text)
    assert circle(path) == pytest.approx((40.0, 30.0, 7.0), abs=1e-3)
    assert path.points[1, 1] > 30 if way == "G3" else path.points[1, 1] < 30


def test_relative_moves_are_added_up_and_inches_are_mm():
    points = np.array(ring(0.0, 0.0, 2.0))
    text = [";TYPE:Outer wall", "G1 X10 Y10", "G91", "M82", "G92 E0"]
    text += [
        f"G1 X{dx:.5f} Y{dy:.5f} E{n}" for n, (dx, dy) in enumerate(np.diff(points, axis=0), 1)
    ]
    assert circle(follow(text), (8.0, 10.0), 4.0)[:2] == pytest.approx((8.0, 10.0), abs=1e-3)
    inches = follow(["G20", *text])
    assert np.ptp(inches.points, axis=0) == pytest.approx((4 * 25.4, 4 * 25.4), abs=0.01)


def test_a_place_that_is_called_another_stays_where_it_is():
    path = follow([";TYPE:Outer wall", "G1 X10 Y10", "G92 X0 Y0", "G1 X5 Y0 E1"])
    assert path.points.tolist() == [[10.0, 10.0], [15.0, 10.0]]


def test_only_outer_walls_are_kept_and_all_is_measured():
    text = [";TYPE:Outer wall", "G1 X0 Y0", "G1 X4 E1", ";TYPE:Internal infill", "G1 X0 E2"]
    path = follow(text)
    assert path.points.tolist() == [[0.0, 0.0], [4.0, 0.0]]
    assert path.lengths == {"outer wall": 4.0, "internal infill": 4.0}


def test_half_a_circle_is_no_hole():
    path = follow([";TYPE:Outer wall", *moves(ring(40.0, 30.0, 3.5)[:28])])
    assert circle(path) is None


def test_the_circle_through_three_points():
    # Thales: the hypotenuse from (0, 0) to (6, 8) is the diameter.
    points = np.array([(0.0, 0.0), (6.0, 8.0), (6.0, 0.0)])
    assert fit_circle(points) == pytest.approx((3.0, 4.0, 10.0))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("; nothing", "nothing in it lays plastic"),
        ("G1 X5 E1", "which lines are outer walls"),
        (";TYPE:Outer wall\nG1 X9e9 E1", "beyond any printer"),
        (";TYPE:Outer wall\nG2 X5 I1e9 E1", "line 2: an arc"),
        (";TYPE:Outer wall\nG1 Xnan E1\nG1 X5 E2", "nothing in it lays plastic"),
    ],
)
def test_what_cannot_be_followed_is_refused(tmp_path, text, says):
    (tmp_path / "a.gcode").write_text(text)
    with pytest.raises(GcodeError, match=says):
        read_gcode(tmp_path / "a.gcode")


def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "a.gcode")
    with pytest.raises(OSError, match="not an ordinary file"):
        read_gcode(tmp_path / "a.gcode")
    with pytest.raises(OSError, match="not an ordinary file"):
        read_gcode(tmp_path)
