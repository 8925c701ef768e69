import hashlib
import json
import struct
from dataclasses import replace

import numpy as np
import pytest
from killing import small_record

from jiggen.cli import main
from jiggen.design import Bed, Bush, Settings, SkiRange
from jiggen.drilling import SkiState
from jiggen.errors import InputError
from jiggen.export.asked import asked_of_jig, asked_of_trial
from jiggen.export.folder import check_target, listing, put_in_place, workshop
from jiggen.export.meshes import PartMesh, lay_out, stl_bytes, threemf_bytes
from jiggen.files import plain_name
from jiggen.job import Job, folder_name, job_name
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pipeline.build import Built, Planned

CLUB = Job(
    read_pattern(find_pattern("club-piste")), (305.0, 305.0), Settings(SkiRange(84.0, 112.0))
)

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
    (bed,) = lay_out(meshes, {"box": ("one", "two", "three")}, Bed(), {"box": None})
    assert [(piece.name, piece.part) for piece in bed.pieces] == [
        ("one", "box"),
        ("two", "box"),
        ("three", "box"),
    ]
    assert threemf_bytes(meshes, bed) == threemf_bytes(meshes, bed)


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
            (folder / "manifest.json").write_text(
                json.dumps({"manifest": 1, "files": {f"{content}.txt": {}}})
            )
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


def test_a_folder_has_what_distinguishes_its_jig_in_its_name():
    usual, skew = CLUB, read_pattern(find_pattern("skew-plate"))
    settings = usual.settings
    jigs = {
        "arvenal-club-piste-305-on-84-112": usual,
        "arvenal-club-piste-265-345-on-84-112": replace(usual, boots=(265.0, 345.0)),
        "arvenal-club-piste-305-on-70-112.5": replace(
            usual, settings=replace(settings, ski=SkiRange(70.0, 112.5))
        ),
        "arvenal-club-piste-305-on-84-112-tip5": replace(usual, shift=5.0),
        "arvenal-club-piste-305-on-84-112-tail0.5-metal": replace(usual, shift=-0.5, core="metal"),
        "arvenal-skew-plate-305-on-84-112-left": replace(usual, pattern=skew),
        "arvenal-skew-plate-305-on-84-112-right": replace(usual, pattern=skew, side="right"),
        "arvenal-club-piste-305-on-84-112-bush8x12": replace(
            usual, settings=replace(settings, bush=Bush(8.0, 12.0))
        ),
        "arvenal-club-piste-305-on-84-112-nobush": replace(
            usual, settings=replace(settings, bush="none")
        ),
        "arvenal-club-piste-305-on-84-112-asa": replace(
            usual, settings=replace(settings, material="ASA")
        ),
    }
    assert {job_name(job): job for job in jigs.values()} == jigs


def test_letters_of_every_script_stay_apart_in_a_name():
    names = [plain_name(words, "jig") for words in ("Müller 2", "Möller 2", "Мост", "Łódź ß")]
    assert names == ["muller-2", "moller-2", "most", "lodz-ss"]
    assert plain_name("Mu\u0308ller 2", "jig") == names[0]


@pytest.fixture
def jig(tmp_path):
    """A folder as a build leaves it, as far as its job and what lies beside it go."""
    folder = tmp_path / "jig"
    (folder / "parts").mkdir(parents=True)
    for name, text in asked_of_jig(CLUB).items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "parts" / "body.stl").write_text("old")
    files = {name: {} for name in ("parts/body.stl", *asked_of_jig(CLUB))}
    (folder / "manifest.json").write_text(
        json.dumps({"manifest": 2, "kind": "jig", "files": files})
    )
    return folder


def test_a_folder_of_another_job_is_replaced_only_when_told(jig):
    pattern = CLUB.pattern
    same = (
        CLUB,
        replace(CLUB, side="right"),  # of a pattern that is alike on both
        replace(CLUB, measured=SkiState(thickness=(23.0,))),
        replace(CLUB, pattern=replace(pattern, note="another")),
    )
    for job in same:
        check_target(jig, force=False, asked=asked_of_jig(job))
    others = {
        "another core": replace(CLUB, core="metal"),
        "another shift": replace(CLUB, shift=1.0),
        "another copy": replace(CLUB, copy=2),
        "another bed, another ski": replace(
            CLUB, settings=replace(CLUB.settings, ski=SkiRange(80.0, 112.0), bed=Bed(400, 400, 250))
        ),
        "another pattern": replace(
            CLUB, pattern=parse_pattern(pattern.text.replace("9.2", "9.1"), "club.toml")
        ),
    }
    for words, job in others.items():
        with pytest.raises(InputError, match=f"a jig of that name, for {words}; nothing was"):
            check_target(jig, force=False, asked=asked_of_jig(job))
        check_target(jig, force=True, asked=asked_of_jig(job))
    trial = asked_of_trial(pattern, CLUB.lay_out(), Bed(), None)
    with pytest.raises(InputError, match="a jig of that name, for another purpose"):
        check_target(jig, force=False, asked=trial)
    (jig / "job.toml").write_text("kind =")
    with pytest.raises(InputError, match=r"whose job\.toml cannot be read"):
        check_target(jig, force=False, asked=asked_of_jig(CLUB))


def test_the_command_does_not_replace_another_jig_and_says_what_it_is_for(folder, capsys):
    before = {path: path.read_bytes() for path in folder.rglob("*.*")}
    words = ["build", "club-piste", "--boot", "305", "--ski", "84-112", "--bed", "400x400x400"]
    assert main([*words, "--out", str(folder)]) == 2
    said = capsys.readouterr().err
    assert f"{folder}: there is already a jig of that name, for another bed" in said
    assert "force its replacement (--out, --force)" in said
    assert {path: path.read_bytes() for path in folder.rglob("*.*")} == before


def test_what_jiggen_did_not_write_stays_in_a_folder_that_is_replaced(jig):
    (jig / "photos").mkdir()
    own = {"notes.txt": "mine", "photos/a.jpg": "sun", "parts/body.gcode": "G1", "sheet.pdf": "old"}
    for name, text in own.items():
        (jig / name).write_text(text)
    (jig / "link").symlink_to(jig.parent)
    with workshop(jig) as folder:
        (folder / "parts").mkdir()
        for name in ("manifest.json", "parts/body.stl", "sheet.pdf"):
            (folder / name).write_text("new")
        put_in_place(folder, jig)
    there = {p.relative_to(jig).as_posix() for p in jig.rglob("*") if p.is_file()}
    own["sheet.pdf.yours"] = own.pop("sheet.pdf")
    assert there == {*own, "manifest.json", "parts/body.stl", "sheet.pdf"}
    assert {name: (jig / name).read_text() for name in own} == own
    assert (jig / "sheet.pdf").read_text() == (jig / "parts" / "body.stl").read_text() == "new"
    assert (jig / "link").is_symlink()
    record = small_record("jig").model_copy(update={"files": listing(jig)})
    for name in own:
        del record.files[name]
    made = Built(jig, Planned(None, Bed(), 0.0), record, None)
    assert made.warnings == ()
    (jig / "knob.3mf").write_text("mine")
    assert [finding.where for finding in made.warnings] == [str(jig / "knob.3mf")]
    assert [path.name for path in jig.parent.iterdir()] == ["jig"]
