import hashlib
import json
import struct

import numpy as np
import pytest

from jiggen.design import Bed
from jiggen.errors import InputError
from jiggen.export.folder import check_target, put_in_place, workshop
from jiggen.export.meshes import PartMesh, lay_out, stl_bytes, threemf_bytes
from jiggen.export.write import normalised
from jiggen.job import folder_name

BOX = np.array([(x, y, z) for x in (0.0, 2.0) for y in (0.0, 3.0) for z in (0.0, 4.0)])
FACES = np.array(
    [
        *((0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1)),
        *((2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)),
    ]
)


def test_stl_is_binary_as_described():
    # Layout: 80-byte header, uint32 count, 50 bytes a facet (loc.gov format fdd000505).
    data = stl_bytes(PartMesh("box", BOX, FACES, 1))
    assert len(data) == 84 + 50 * 12
    assert struct.unpack_from("<I", data, 80) == (12,)
    normal = struct.unpack_from("<3f", data, 84)
    assert normal == pytest.approx((-1, 0, 0))
    assert not data.startswith(b"solid")


def test_3mf_passes_a_strict_reader_without_a_warning(built):
    # lib3mf is the 3MF consortium's own reader of the core specification.
    import lib3mf

    printed = []
    for bed in built.record.values()["beds"]:
        model = lib3mf.get_wrapper().CreateModel()
        reader = model.QueryReader("3mf")
        reader.SetStrictModeActive(True)
        reader.ReadFromFile(str(built.folder / bed["file"]))
        assert reader.GetWarningCount() == 0
        assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
        objects = model.GetMeshObjects()
        while objects.MoveNext():
            assert objects.GetCurrentMeshObject().IsManifoldAndOriented()
        items = model.GetBuildItems()
        while items.MoveNext():
            item = items.GetCurrent()
            place = item.GetObjectTransform().Fields[3]
            printed.append((item.GetPartNumber(), item.GetObjectResource().GetName()))
            told = next(p for p in bed["pieces"] if p["name"] == item.GetPartNumber())
            assert tuple(place) == pytest.approx((told["x"], told["y"], 0.0), abs=1e-3)
    assert sorted(printed) == sorted(
        (placed["name"], part["name"])
        for part in built.record.values()["parts"]
        for placed in part["placed"]
    )


def test_3mf_bytes_are_the_same_twice():
    meshes = {"box": PartMesh("box", BOX, FACES, 3)}
    (bed,) = lay_out(meshes, {"box": ("one", "two", "three")}, Bed(), 2.0, {"box": None})
    assert [(piece.name, piece.part) for piece in bed.pieces] == [
        ("one", "box"),
        ("two", "box"),
        ("three", "box"),
    ]
    assert threemf_bytes(meshes, bed) == threemf_bytes(meshes, bed)


def test_step_text_is_freed_from_clock_and_counter():
    text = (
        "FILE_NAME('Open CASCADE Shape Model','2026-11-25T08:42:38',('Author'),(\n"
        "#7 = PRODUCT('rail toe left','rail toe left','',(#8));\n"
        "#9 = NEXT_ASSEMBLY_USAGE_OCCURRENCE('17','rail toe left','',#5,#31,$);\n"
        "#12 = NEXT_ASSEMBLY_USAGE_OCCURRENCE('18','rail toe right','',#5,#31,$);\n"
    )
    found = normalised(text, {"rail toe left": "rail"})
    assert "1970-01-01T00:00:00" in found and "2026" not in found
    assert "PRODUCT('rail','rail'" in found
    assert "OCCURRENCE('1','rail toe left'" in found and "OCCURRENCE('2'" in found


def test_manifest_lists_every_file_with_its_checksum(built):
    listed = built.record.values()["files"]
    found = {
        path.relative_to(built.folder).as_posix()
        for path in built.folder.rglob("*")
        if path.is_file()
    }
    assert set(listed) == found - {"manifest.json"}
    for name, entry in listed.items():
        data = (built.folder / name).read_bytes()
        assert entry == {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def test_manifest_says_what_was_asked_and_made(built, club_layout):
    manifest = json.loads((built.folder / "manifest.json").read_text())
    assert manifest == json.loads(json.dumps(built.record.values()))
    assert [hole["id"] for hole in manifest["holes"]] == list(club_layout.ids)
    assert manifest["inputs"]["boot"] == 305.0
    assert manifest["inputs"]["ski"] == {"least": 84.0, "most": 112.0}
    assert manifest["verification"]["passed"] is True


def test_a_foreign_folder_or_file_is_never_replaced(tmp_path):
    foreign = tmp_path / "photos"
    foreign.mkdir()
    (foreign / "holiday.txt").write_text("sun")
    with pytest.raises(InputError, match="did not make"):
        check_target(foreign, force=False)
    check_target(foreign, force=True)
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="already a file"):
        check_target(tmp_path / "file", force=True)


def test_our_own_folder_is_replaced_whole(tmp_path):
    target = tmp_path / "jig"
    for content in ("one", "two"):
        check_target(target, force=False)
        with workshop(target) as folder:
            (folder / "manifest.json").write_text('{"manifest": 1}')
            (folder / f"{content}.txt").write_text(content)
            put_in_place(folder, target)
    assert sorted(path.name for path in target.iterdir()) == ["manifest.json", "two.txt"]
    assert [path.name for path in tmp_path.iterdir()] == ["jig"]


def test_a_build_that_stops_leaves_nothing(tmp_path):
    with pytest.raises(RuntimeError), workshop(tmp_path / "jig") as folder:
        (folder / "half.stl").write_text("half")
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


def test_folder_names_are_plain():
    assert folder_name("Arvenal Club Piste", 305.0) == "arvenal-club-piste-305"
    assert folder_name("../../etc/passwd", 305.0) == "etc-passwd-305"
    assert folder_name("…", 300.5) == "jig-300.5"
