from __future__ import annotations

import re

import cadquery as cq
import numpy as np
import pytest
from verify_samples import BODY_POSE, BORE, HOLES, RAIL_POSES, good_sample, location, moved, turned

from jiggen.verify.reading.step_assembly import read_assembly
from jiggen.verify.reading.step_text import StepError
from jiggen.verify.rings import StepBody


@pytest.fixture(scope="module")
def path():
    return good_sample() / "jig.step"


@pytest.fixture(scope="module")
def assembly(path):
    return read_assembly(path)


def corners(assembly):
    posed = (p.shape.corners @ p.pose[:3, :3].T + p.pose[:3, 3] for p in assembly.pieces)
    return np.vstack(list(posed))


def farthest(points, others):
    """The largest distance of any of (n, 3) points to the nearest of (m, 3) others."""
    return np.linalg.norm(points[:, None] - others[None], axis=2).min(axis=1).max()


def edited(tmp_path, path, *changes):
    text = path.read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    copy = tmp_path / "edited.step"
    copy.write_text(text)
    return copy


def test_pieces_bear_the_names_and_places_they_were_given(assembly):
    assert assembly.unit == 1.0
    assert [piece.names for piece in assembly.pieces] == [
        ("jig", "body"),
        ("jig", "rail left"),
        ("jig", "rail right"),
    ]
    assert [piece.products[-1] for piece in assembly.pieces] == ["body", "rail", "rail"]
    poses = [BODY_POSE, *RAIL_POSES.values()]
    for piece, pose in zip(assembly.pieces, poses, strict=True):
        assert np.abs(piece.pose - pose).max() < 1e-9
        assert piece.shape.solids == 1


def test_corners_and_hollow_cylinders_are_those_the_kernel_reads(path, assembly):
    # The second route: Open CASCADE's own STEP import, places applied by the kernel.
    kernel = cq.importers.importStep(str(path)).val()
    ours = corners(assembly)
    theirs = np.array([v.toTuple() for v in kernel.Vertices()])
    assert len(ours) == len(theirs)
    assert max(farthest(ours, theirs), farthest(theirs, ours)) < 1e-6

    def found():
        for face in kernel.Faces():
            if face.geomType() == "CYLINDER":
                cylinder = face._geomAdaptor().Cylinder()
                axis = cylinder.Axis()
                yield (
                    *(getattr(axis.Location(), name)() for name in "XYZ"),
                    abs(axis.Direction().Z()),
                    cylinder.Radius(),
                )

    theirs = np.array(list(found()))
    hollows = [
        (piece.pose, face)
        for piece in assembly.pieces
        for face in piece.shape.round_faces
        if face.hollow
    ]
    ours = np.array(
        [
            (*(pose @ hollow.place)[:3, 3], abs((pose @ hollow.place)[2, 2]), hollow.radius)
            for pose, hollow in hollows
            if hollow.radius
        ]
    )
    assert (
        len(ours) == 3 * 4 + 2
    )  # three bores, throats and pairs of slot ends, a hole in each rail
    assert np.abs(ours[np.lexsort(ours.T)] - theirs[np.lexsort(theirs.T)]).max() < 1e-6


def test_bores_are_where_the_sample_was_drilled(assembly):
    rings = StepBody(assembly.pieces[0]).rings(8.0)
    found = sorted((ring.x, ring.y, ring.diameter) for ring in rings)
    wanted = sorted((x, y, BORE) for x, y in HOLES.values())
    assert np.abs(np.array(found) - wanted).max() < 1e-9


def test_bosses_and_rounded_corners_are_no_holes(tmp_path):
    plate = cq.Workplane().box(40, 40, 10).edges("|Z").fillet(5)
    plate = plate.cut(cq.Workplane().rect(20, 8).extrude(20, both=True).edges("|Z").fillet(3))
    plate = plate.union(cq.Workplane(origin=(14, 14, 5)).circle(3).extrude(5))
    path = tmp_path / "plate.step"
    cq.Assembly(plate.val(), name="plate").export(str(path))
    (piece,) = read_assembly(path).pieces
    assert (
        sum(face.hollow for face in piece.shape.round_faces) == 4
    )  # the window's corners, not the boss or the outside
    assert StepBody(piece).rings(0.0) == []
    assert StepBody(piece).openings() == []


def test_a_boss_is_a_peg_where_it_stands_free(tmp_path):
    plate = cq.Workplane().box(40, 40, 10).edges("|Z").fillet(5)
    plate = plate.union(cq.Workplane(origin=(14, 14, 5)).circle(3).extrude(5))
    corner = cq.Workplane(origin=(-20, -20, -5)).circle(4).extrude(12)  # down beside the plate
    path = tmp_path / "plate.step"
    cq.Assembly(plate.union(corner).val(), name="plate").export(str(path))
    body = StepBody(read_assembly(path).pieces[0])
    found = sorted((peg.x, peg.y, peg.diameter, peg.top) for peg in body.studs(6.0))
    assert np.array(found) == pytest.approx(np.array([(-20, -20, 8, 7), (14, 14, 6, 10)]))
    assert [(peg.x, peg.y) for peg in body.studs(8.0)] == [pytest.approx((14, 14))]
    assert body.studs(0.0) == []  # the plate stands in the way, and its corners are no pegs


def test_a_hole_whose_edge_is_cut_in_two_is_still_round(tmp_path):
    plate = cq.Workplane().box(40, 40, 10, centered=(True, True, False))
    plate = plate.cut(cq.Workplane().circle(4).extrude(10))
    step = plate.cut(cq.Workplane().box(20, 40, 2, centered=(False, True, False)))
    path = tmp_path / "step.step"
    cq.Assembly(step.val(), name="plate").export(str(path))
    (piece,) = read_assembly(path).pieces
    assert [(ring.x, ring.y, ring.diameter) for ring in StepBody(piece).rings(5.0)] == [(0, 0, 8)]
    assert StepBody(piece).rings(1.0) == []  # half of it ends at z = 2


def test_a_leaning_hole_is_found_where_it_crosses(tmp_path):
    degrees = 1.5
    hole = cq.Workplane(origin=(0, 0, -30)).circle(3).extrude(60)
    leaning = hole.rotate((0, 0, 0), (0, 1, 0), degrees).translate((7, 2, 0))
    cut = cq.Workplane().box(60, 60, 10).cut(leaning)  # its edges are ellipses
    whole = cq.Workplane().box(60, 60, 10).faces(">Z").workplane().center(7, 2).hole(6)
    for shape, turn in ((cut, 0.0), (whole, degrees)):
        path = tmp_path / "leaning.step"
        place = cq.Location(cq.Vector(), cq.Vector(0, 1, 0), turn)
        cq.Assembly(name="jig").add(shape.val(), name="plate", loc=place).export(str(path))
        (piece,) = read_assembly(path).pieces
        low, high = (StepBody(piece).rings(z)[0] for z in (-2.0, 2.0))
        assert low.diameter == pytest.approx(6)
        assert (high.x - low.x) / 4.0 == pytest.approx(np.tan(np.radians(degrees)), rel=1e-9)


def test_a_cylinder_whose_edges_lie_elsewhere_is_no_hole(tmp_path):
    path = tmp_path / "plate.step"
    plate = cq.Workplane().box(60, 60, 10).faces(">Z").workplane().center(7, 2).hole(6)
    cq.Assembly(plate.val(), name="plate").export(str(path))
    assert len(StepBody(read_assembly(path).pieces[0]).rings(0.0)) == 1
    text = path.read_text()
    circle = re.search(r"CIRCLE\('',(#\d+),3\.\)", text)
    centre = re.search(rf"{circle[1]} = AXIS2_PLACEMENT_3D\('',(#\d+),", text)[1]
    point = re.search(rf"{centre} = CARTESIAN_POINT\('',\(7\.", text)[0]
    moved_edge = edited(tmp_path, path, (point, point + "1"))
    assert StepBody(read_assembly(moved_edge).pieces[0]).rings(0.0) == []


def test_assemblies_in_assemblies_multiply_their_places(tmp_path):
    cube = cq.Workplane().box(10, 8, 6).val()
    inner = cq.Assembly(name="inner")
    inner.add(cube, name="one", loc=location(moved(5.0, 0.0, 1.0) @ turned(30.0)))
    inner.add(cube, name="two", loc=location(turned(-75.0) @ moved(0.0, 9.0, 0.0)))
    outer = cq.Assembly(name="outer")
    outer.add(inner, name="left", loc=location(moved(0.0, 50.0, 0.0)))
    outer.add(inner, name="right", loc=location(turned(180.0) @ moved(3.0, 50.0, 0.0)))
    path = tmp_path / "nested.step"
    outer.export(str(path))
    assembly = read_assembly(path)
    assert len(assembly.pieces) == 4
    assert {piece.names[-1] for piece in assembly.pieces} == {"one", "two"}
    kernel = cq.importers.importStep(str(path)).val()
    theirs = np.array([v.toTuple() for v in kernel.Vertices()])
    assert len(theirs) == 32
    assert farthest(corners(assembly), theirs) < 1e-6
    assert farthest(theirs, corners(assembly)) < 1e-6


def test_a_single_part_without_an_assembly_is_a_piece(tmp_path):
    path = tmp_path / "cube.step"
    cq.exporters.export(cq.Workplane().box(10, 8, 6), str(path))
    (piece,) = read_assembly(path).pieces
    assert np.abs(piece.pose - np.eye(4)).max() == 0
    assert np.ptp(piece.shape.corners, axis=0) == pytest.approx([10, 8, 6])


MM = "SI_UNIT(.MILLI.,.METRE.)"
LENGTH = f"( LENGTH_UNIT() NAMED_UNIT(*) {MM} )"
INCH = (
    "( CONVERSION_BASED_UNIT('INCH',#999001) LENGTH_UNIT() NAMED_UNIT(#999003) );\n"
    "#999001 = LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#999002);\n"
    f"#999002 = {LENGTH};\n#999003 = DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)"
)


@pytest.mark.parametrize(
    ("unit", "size"),
    [
        (LENGTH.replace(".MILLI.", "$"), 1000.0),
        (LENGTH.replace(".MILLI.", ".CENTI."), 10.0),
        (INCH, 25.4),  # the international inch is 25.4 mm exactly (from memory)
    ],
)
def test_lengths_are_in_the_unit_that_the_file_says(tmp_path, unit, size):
    path = tmp_path / "cube.step"
    cq.exporters.export(cq.Workplane().box(10, 8, 6), str(path))
    assembly = read_assembly(edited(tmp_path, path, (LENGTH, unit)))
    assert assembly.unit == pytest.approx(size)
    (piece,) = assembly.pieces
    assert np.ptp(piece.shape.corners, axis=0) == pytest.approx([10 * size, 8 * size, 6 * size])


def test_an_inch_file_of_the_kernel_is_read_in_mm(tmp_path):
    path = tmp_path / "inch.step"
    cube = cq.Assembly(cq.Workplane().box(50.8, 8, 6).val(), name="cube")
    cube.export(str(path), unit="MM", outputUnit="INCH")
    assert "CONVERSION_BASED_UNIT" in path.read_text()
    assembly = read_assembly(path)
    assert assembly.unit == pytest.approx(25.4)
    assert np.ptp(assembly.pieces[0].shape.corners, axis=0) == pytest.approx([50.8, 8, 6])


def test_the_order_of_the_two_ends_of_a_placement_does_not_matter(tmp_path, path, assembly):
    def turn(match):
        return f"{match[1]}{match[3]},{match[2]}{match[4]}"

    text = path.read_text()
    text = re.sub(r"(REPRESENTATION_RELATIONSHIP\('','',)(#\d+),(#\d+)(\))", turn, text)
    text = re.sub(r"(ITEM_DEFINED_TRANSFORMATION\('','',)(#\d+),(#\d+)(\))", turn, text)
    assert text != path.read_text()
    copy = tmp_path / "turned.step"
    copy.write_text(text)
    for piece, other in zip(read_assembly(copy).pieces, assembly.pieces, strict=True):
        assert np.abs(piece.pose - other.pose).max() < 1e-12


def test_what_is_not_understood_is_refused(tmp_path, path):
    for changes, said in (
        ([(MM, "SI_UNIT(.MILLI.,.GRAM.)")], "unit of length"),
        ([("LENGTH_UNIT() ", "")], "no unit of length"),
        ([("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION", "OTHER")], "without a place"),
        ([("MANIFOLD_SOLID_BREP", "BREP_WITH_VOIDS")], "hollows"),
        ([("MANIFOLD_SOLID_BREP", "OTHER_ITEM")], "no solid"),
    ):
        with pytest.raises(StepError, match=said):
            read_assembly(edited(tmp_path, path, *changes))


def test_an_assembly_that_holds_itself_is_refused(tmp_path, path):
    usage = re.search(
        r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('\d+','rail left','',(#\d+),(#\d+)", path.read_text()
    )
    itself = usage[0].replace(f",{usage[1]},", f",{usage[2]},")
    with pytest.raises(StepError, match="without end"):
        read_assembly(edited(tmp_path, path, (usage[0], itself)))
