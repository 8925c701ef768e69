"""A STEP file's solids: areas and volumes as the kernel has them; and what is no solid is said."""

from __future__ import annotations

import re
from types import SimpleNamespace

import cadquery as cq
import numpy as np
import pytest
import step_faults as faults

from jiggen.verify.reading.step_assembly import read_assembly
from jiggen.verify.reading.step_shape import CONE, CYLINDER, PLANE
from jiggen.verify.reading.step_text import StepError
from jiggen.verify.results import Ledger
from jiggen.verify.shells import judge_shells
from jiggen.verify.surfaces import Surfaces


def plate():
    """A plate with a stepped, a leaning and a countersunk hole, bevelled, a corner rounded."""
    shape = cq.Workplane().box(60, 40, 10).edges("|Z").edges(">X and >Y").fillet(6)
    shape = shape.cut(cq.Workplane().circle(3).extrude(20, both=True))
    shape = shape.cut(cq.Workplane().circle(5).extrude(20))
    lean = cq.Workplane(origin=(-18, 0, -30)).circle(3).extrude(60)
    shape = shape.cut(lean.rotate((-18, 0, 0), (-18, 1, 0), 20))  # its rims are ellipses
    shape = shape.cut(cq.Workplane("XY").add(cq.Solid.makeCone(0, 4, 4, cq.Vector(16, 0, 1))))
    return shape.faces(">Z").edges("<X").chamfer(1.5).val()


def bevelled_hexagon():
    """A hexagon turned off at 30°, as a nut is: its sides end in hyperbolas."""
    hexagon = cq.Workplane().polygon(6, 11).extrude(5)
    cone = cq.Solid.makeCone(6.5, 2.5, 7)
    return hexagon.intersect(cq.Workplane().add(cone)).val()


def bevelled_bars():
    """Crossing cones and cylinders, whose edges are splines."""
    bar = cq.Workplane("YZ").circle(4).extrude(15, both=True)
    return bar.union(cq.Workplane().add(cq.Solid.makeCone(6, 2, 12))).val()


def step(tmp_path, shape):
    path = tmp_path / "thing.step"
    cq.Assembly(shape, name="thing").export(str(path), write_pcurves=False)
    return path


def codes(path, volume):
    """The faults of the one product of a file, each its code."""
    (piece,) = read_assembly(path).pieces
    part = SimpleNamespace(name="thing", placed=[SimpleNamespace(name="thing")], volume=volume)
    evidence = SimpleNamespace(manifest=SimpleNamespace(parts=[part]), pieces={"thing": piece})
    ledger = Ledger()
    judge_shells(evidence, ledger)
    assert ledger.checks >= 1
    return {fault.code: fault.message for fault in ledger.faults}


@pytest.mark.parametrize("make", [plate, bevelled_hexagon, bevelled_bars])
def test_areas_and_volume_are_the_kernels(tmp_path, make):
    # The second route: Open CASCADE's own integrals over the faces.
    shape = make()
    path = step(tmp_path, shape)
    (piece,) = read_assembly(path).pieces
    surfaces = Surfaces(piece.shape)
    theirs = sorted(face.Area() for face in shape.Faces())
    assert sorted(surfaces.areas) == pytest.approx(theirs, rel=2e-4, abs=1e-4)
    assert surfaces.volume == pytest.approx(shape.Volume(), rel=5e-5)
    assert surfaces.vectors.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-6)
    assert codes(path, shape.Volume()) == {}


def test_the_curves_of_conic_sections_are_met(tmp_path):
    text = "".join(step(tmp_path, make()).read_text() for make in (plate, bevelled_hexagon))
    assert {"ELLIPSE(", "HYPERBOLA(", "CIRCLE("} <= set(re.findall(r"[A-Z]+\(", text))
    assert "B_SPLINE_CURVE" in step(tmp_path, bevelled_bars()).read_text()


def test_a_drilled_cube_by_hand(tmp_path):
    # 20 mm cube with an 8 mm bore: 8000 − 320 π mm³; the bore 160 π mm², top and bottom 400 − 16 π.
    path = step(tmp_path, cq.Workplane().box(20, 20, 20).faces(">Z").hole(8).val())
    (piece,) = read_assembly(path).pieces
    surfaces = Surfaces(piece.shape)
    assert surfaces.volume == pytest.approx(8000 - 320 * np.pi, rel=1e-5)
    kinds = piece.shape.kind
    assert surfaces.areas[kinds == CYLINDER] == pytest.approx([160 * np.pi], rel=1e-5)
    level = np.sort(surfaces.areas[kinds == PLANE])
    assert level == pytest.approx([400 - 16 * np.pi] * 2 + [400] * 4, rel=1e-5)
    face = np.flatnonzero(kinds == CYLINDER)
    points = np.array([[5.0, 0.0, 3.0], [0.0, -3.5, 1.0]])
    off = surfaces.off(np.repeat(face, 2), points)
    assert off == pytest.approx([-1.0, 0.5])  # into the material, and into the hole
    normals = surfaces.normals(np.repeat(face, 2), points)
    assert normals == pytest.approx(np.array([[-1.0, 0, 0], [0, 1.0, 0]]))


def test_a_cone_by_hand(tmp_path):
    # Radius 6, height 8: slant 10, side 60 π, volume 96 π; 1 mm beyond its side is 1 mm off.
    path = step(tmp_path, cq.Solid.makeCone(6, 0, 8))
    (piece,) = read_assembly(path).pieces
    surfaces = Surfaces(piece.shape)
    face = np.flatnonzero(piece.shape.kind == CONE)
    assert surfaces.areas[face] == pytest.approx([60 * np.pi], rel=1e-5)
    assert surfaces.volume == pytest.approx(96 * np.pi, rel=5e-5)  # of chords
    middle, out = np.array([3.0, 0.0, 4.0]), np.array([0.8, 0.0, 0.6])
    assert surfaces.off(face, middle[None] + out) == pytest.approx([1.0])
    assert surfaces.normals(face, middle[None])[0] == pytest.approx(out)


def test_faces_that_are_not_understood_are_said(tmp_path):
    ring = cq.Solid.makeTorus(20, 4)
    assert "TOROIDAL_SURFACE" in codes(step(tmp_path, ring), ring.Volume())["verify.step-strange"]


def test_angles_in_degrees_are_refused(tmp_path):
    path = step(tmp_path, cq.Workplane().box(5, 5, 5).val())
    path.write_text(path.read_text().replace(".RADIAN.", ".DEGREE."))
    with pytest.raises(StepError, match="radians"):
        read_assembly(path)


ROUND = faults.is_kind("CYLINDRICAL_SURFACE")
SPOILT = {
    "verify.step-open": [
        lambda text: faults.without_faces(text, "thing", lambda f, n: n == top(f)),
        lambda text: faults.without_faces(text, "thing", faults.is_side),
    ],
    "verify.step-edge": [
        lambda text: faults.moved_surface(text, "thing", faults.is_level, (0, 0, 0.002)),
        lambda text: faults.moved_surface(text, "thing", ROUND, (0.002, 0, 0)),
        lambda text: faults.widened(text, "thing", "CYLINDRICAL_SURFACE", 0.002),
        lambda text: faults.widened(text, "thing", "CIRCLE", 0.002),
    ],
    "verify.step-face": [
        lambda text: faults.turned_face(text, "thing", faults.is_level),
        lambda text: faults.turned_face(text, "thing", ROUND),
    ],
    "verify.step-loop": [lambda text: faults.turned_edge(text, "thing")],
}


def top(found):
    shell = faults.shell_of(found, "thing")
    return next(n for n in faults.faces_of(found, shell) if faults.is_level(found, n))


@pytest.mark.parametrize(
    ("code", "spoil"), [(code, one) for code, many in SPOILT.items() for one in many]
)
def test_what_is_no_solid_is_said(tmp_path, code, spoil):
    shape = plate()
    path = step(tmp_path, shape)
    text = path.read_text()
    path.write_text(spoil(text))
    found = codes(path, shape.Volume())
    assert code in found
    assert re.search(r"\(-?\d+\.\d\d, -?\d+\.\d\d, -?\d+\.\d\d\)", found[code])  # where


def test_a_spline_bent_between_its_ends_is_said(tmp_path):
    shape = bevelled_bars()
    path = step(tmp_path, shape)
    path.write_text(faults.bent_splines(path.read_text(), "thing", 0.01))
    assert "verify.step-edge" in codes(path, shape.Volume())


def test_another_volume_than_the_record_says_is_said(tmp_path):
    shape = plate()
    assert list(codes(step(tmp_path, shape), 1.0002 * shape.Volume())) == ["verify.step-volume"]
