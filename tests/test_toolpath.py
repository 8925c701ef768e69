"""The check of G-code: what is right passes in every dialect, each thing done wrong is named."""

import json

import numpy as np
import pytest
import trimesh
from gcode_writing import DIALECTS, written

from jiggen.cli import main
from jiggen.errors import InputError
from jiggen.report.toolpath import toolpath_text
from jiggen.verify.reading.entries import Advice
from jiggen.verify.reading.gcode import follow
from jiggen.verify.reading.mesh import Mesh, read_stl
from jiggen.verify.reading.walls import pieces_of
from jiggen.verify.results import Ledger
from jiggen.verify.slicer import judge_settings, stated_in
from jiggen.verify.toolpath import check_toolpaths, read_manifest

PLACE = (2.0, 60.0)


@pytest.fixture(scope="module")
def mesh(built):
    return read_stl(built.folder / "parts/body-toe.stl")


@pytest.fixture(scope="module")
def knob(built):
    """The smallest part by which most is told as well, but for holes."""
    return read_stl(built.folder / "parts/knob.stl")


@pytest.fixture
def judged(built, mesh, knob, tmp_path):
    """What is found in the G-code of the toe body, or the knob, that is written in some way."""

    def judge(dialect="one", place=PLACE, name="toe.gcode", part="body-toe", **how):
        text = written([(part, mesh if part == "body-toe" else knob, place)], dialect, **how)
        (tmp_path / name).write_text(text)
        return check_toolpaths(built.folder, [tmp_path / name])

    return judge


def block(*size):
    hull = trimesh.creation.box(bounds=[(0.0, 0.0, 0.0), size])
    return Mesh(np.asarray(hull.vertices), np.asarray(hull.faces))


def codes(check):
    return {fault.code for fault in check.faults}


@pytest.mark.parametrize("arcs", [False, True])
def test_a_sound_body_passes_with_every_hole(judged, arcs):
    check = judged("two" if arcs else "one", arcs=arcs)
    assert check.passed, check.faults
    (file,) = check.files
    assert file.holds == "body-toe"
    assert [hole.id for hole in file.holes] == [f"toe-{n}" for n in range(1, 6)]
    assert max(hole.deviation for hole in file.holes) < 0.005
    for hole in file.holes:
        assert hole.diameter == pytest.approx(hole.wanted_diameter, abs=0.02)
        assert hole.layers == 57
    assert check.unchecked == ("body-heel", "4 x rail", "2 x pinion", "2 x knob")


@pytest.mark.parametrize(
    "how",
    [{"dialect": name, "broken": 1 + 4 * (name == "three")} for name in DIALECTS]
    + [{"inches": True}],
    ids=str,
)
def test_a_sound_part_passes_in_every_dialect(judged, how):
    check = judged(part="knob", **how)
    assert check.passed, check.faults
    (file,) = check.files
    assert file.holds == "knob"
    assert (file.stated.walls, file.stated.infill, file.stated.layer) == (4, 30.0, 0.2)


def test_nothing_is_to_be_printed_of_a_folder_that_failed(judged):
    check = judged(part="knob")
    assert check.passed
    assert "print the file" in toolpath_text(check)
    text = toolpath_text(check, sound=False)
    assert "do NOT print." in text and "Print it" not in text and "print the file" not in text


@pytest.mark.parametrize(
    ("how", "code"),
    [
        ({"made": 1.005 * np.eye(2), "part": "knob"}, "verify.gcode-scale"),
        ({"made": np.array([[1.0, 0.003], [0.0, 1.0]]), "part": "knob"}, "verify.gcode-scale"),
        ({"grown": -0.1}, "verify.gcode-diameter"),
        ({"grown": -0.1, "dialect": "four", "part": "knob"}, "verify.gcode-offset"),
        ({"place": (195.0, 60.0), "part": "knob"}, "verify.gcode-off-bed"),
        ({"layer": 0.28, "part": "knob"}, "verify.gcode-layer"),
        ({"name": "bed-2.gcode", "part": "knob"}, "verify.gcode-other-bed"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_what_was_done_wrong_is_named(judged, how, code):
    check = judged(**how)
    assert code in codes(check)
    text = toolpath_text(check)
    assert code in text
    assert "do NOT print: " in text


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("PETG", "PLA", "material"),
        ("perimeters = 4", "perimeters = 2", "walls"),
        ("30%", "15%", "infill"),
        ("_layers = 5", "_layers = 3", "skins"),
        ("compensation = 0", "compensation = 0.05", "compensation"),
        (";TYPE:Perimeter", ";TYPE:Support material", "support"),
    ],
)
def test_a_setting_against_the_advice_is_named(built, old, new, code):
    advice = Advice.model_validate(built.record.values()["beds"][0]["advice"])
    text = written([("block", block(20.0, 20.0, 2.0), PLACE)])
    for used in (text, text.replace(old, new)):
        path, ledger = follow(used.splitlines()), Ledger()
        stated = stated_in(path, pieces_of(path))
        assert judge_settings(stated, advice, path, ledger.about("a", "settings")) == []
        expected = [] if used is text else [f"verify.gcode-{code}"]
        assert [fault.code for fault in ledger.faults] == expected
    assert (stated.time, stated.filament) == ("3h 5m", "88 g")


def test_a_turned_part_is_named_and_refused_where_the_printer_is_made_up_for(
    judged, mesh, monkeypatch, built, tmp_path
):
    place = (mesh.vertices[:, 1].max() + 5.0, 5.0)
    how = {"made": np.array([[0.0, -1.0], [1.0, 0.0]]), "place": place}
    check = judged(**how)
    assert check.passed
    text = toolpath_text(check)
    assert "turned by 90.0°" in text
    assert "Print it." in text
    manifest = read_manifest(built.folder)
    shed = manifest.model_copy(update={"compensation": manifest.done})
    monkeypatch.setitem(check_toolpaths.__globals__, "read_manifest", lambda folder: shed)
    check = check_toolpaths(built.folder, [tmp_path / "toe.gcode"])
    assert codes(check) == {"verify.gcode-turned"}
    assert "do NOT print: toe.gcode" in toolpath_text(check)


def test_a_moved_hole_is_off_by_as_much(built, mesh, tmp_path):
    """A wall of one hole 0.05 mm aside, in every layer."""
    (hole,) = (h for h in built.record.values()["holes"] if h["id"] == "toe-3")
    entry = next(p for p in built.record.values()["parts"] if p["name"] == "body-toe")
    x, y, *_ = np.linalg.inv(entry["to_ski"]) @ (hole["x"], hole["y"], 0.0, 1.0)
    vertices = mesh.vertices.copy()
    near = np.hypot(vertices[:, 0] - x, vertices[:, 1] - y) < 4.5
    vertices[near, 0] += 0.05
    moved = Mesh(vertices, mesh.triangles)
    (tmp_path / "toe.gcode").write_text(written([("body-toe", moved, PLACE)]))
    check = check_toolpaths(built.folder, [tmp_path / "toe.gcode"])
    assert [fault.subject for fault in check.faults] == ["toe-3"]
    found = {hole.id: hole.deviation for hole in check.files[0].holes}
    assert found["toe-3"] == pytest.approx(0.05, abs=0.003)


def test_a_bed_is_told_by_its_pieces(built, tmp_path):
    bed = built.record.values()["beds"][-1]
    files = {part["name"]: part["file"] for part in built.record.values()["parts"]}
    pieces = [
        (piece["part"], read_stl(built.folder / files[piece["part"]]), (piece["x"], piece["y"]))
        for piece in bed["pieces"]
    ]
    text = written(pieces).replace("30%", "100%")
    (tmp_path / "last.gcode").write_text(text)
    check = check_toolpaths(built.folder, [tmp_path / "last.gcode"])
    assert check.passed, check.faults
    assert check.files[0].holds == bed["file"]
    assert check.unchecked == ("body-toe", "body-heel", "2 x knob")


def test_a_piece_more_than_is_needed_is_named(built, knob, tmp_path):
    (tmp_path / "knob.gcode").write_text(written([("knob", knob, PLACE)]))
    check = check_toolpaths(built.folder, [tmp_path / "knob.gcode"] * 3)
    assert codes(check) == {"verify.gcode-count"}


def test_what_is_no_part_of_the_folder_is_refused(built, tmp_path):
    (tmp_path / "a.gcode").write_text(written([("block", block(214.0, 68.0, 14.0), (3.0, 3.0))]))
    check = check_toolpaths(built.folder, [tmp_path / "a.gcode"])
    assert codes(check) & {"verify.gcode-part", "verify.gcode-hole-missing"}


def test_a_container_is_refused_with_what_to_do(built, tmp_path, capsys):
    for name, data in {"a.bgcode": b"GCDE\1\0", "b.gcode.3mf": b"PK\3\4", "c.gcode": b"\0"}.items():
        (tmp_path / name).write_bytes(data)
    names = [tmp_path / "a.bgcode", tmp_path / "b.gcode.3mf", tmp_path / "c.gcode"]
    with pytest.raises(InputError) as caught:
        check_toolpaths(built.folder, [*names, tmp_path / "none.gcode"])
    assert len(caught.value.findings) == 4
    assert all("plain G-code" in str(finding) for finding in caught.value.findings)


def test_the_command_says_print_it_or_do_not(built, mesh, knob, tmp_path, capsys):
    good, bad = tmp_path / "good.gcode", tmp_path / "bad.gcode"
    good.write_text(written([("knob", knob, PLACE)]))
    way = {"made": np.diag([1.0, -1.0])}
    place = (2.0, mesh.vertices[:, 1].max() + 2.0)
    bad.write_text(written([("body-toe", mesh, place)], **way))
    assert main(["check", str(built.folder), "--gcode", str(good)]) == 0
    assert "print the file" in capsys.readouterr().out
    assert main(["check", str(built.folder), "--gcode", str(bad), "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["passed"] is True
    assert data["gcode"]["passed"] is False
    assert {fault["code"] for fault in data["gcode"]["faults"]} == {"verify.gcode-mirrored"}
