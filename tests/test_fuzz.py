"""Files from elsewhere, spoilt: read or refused, never a traceback, a hang or a file written.

The whole of it: ``python tests/bench/fuzz.py --cases 10000 --seed 1``.
"""

from __future__ import annotations

import io
import json
import os
import zipfile
from pathlib import Path

import pytest
from fuzz_readers import READERS, Reader, jig_folder, run, shared, trial, whole_manifest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from spoiling import spoilt
from verify_samples import MODEL, RELATIONSHIPS, TYPES

pytestmark = pytest.mark.usefixtures("nothing_engraved")
CASES = 400
NAMED = {reader.name: reader for reader in READERS}
MEMORY = 700.0  # MB that one case may add to what the process has


SHARES = {reader.name: (reader, count) for reader, count in shared(CASES)}


@pytest.mark.parametrize(("reader", "count"), SHARES.values(), ids=SHARES)
def test_spoilt_files_are_read_or_refused(reader: Reader, count: int):
    cases = list(run(reader, range(count), seed=7))
    assert [f"{case.label}\n{case.fault}" for case in cases if case.fault] == []
    assert {case.outcome for case in cases} <= {"read", "refused"}
    if reader.name not in ("paper", "gcode"):  # which note what is wrong, and refuse little
        assert any(case.outcome == "refused" for case in cases)


def test_a_fault_a_hang_and_a_written_file_are_seen(tmp_path: Path):
    def crash(path: Path) -> object:
        raise KeyError(path)

    def hang(path: Path) -> object:
        while True:
            pass

    def write(path: Path) -> object:
        return (path.parent / "more").write_text("more")

    for name, read, said in (
        ("crash", crash, "KeyError"),
        ("hang", hang, "Hang"),
        ("write", write, "more"),
    ):
        reader = Reader(name, 1, lambda: {"a": b""}, read)
        case = trial(reader, 0, "a", b"a", tmp_path, limit=0.2)
        assert case.outcome == "FAULT" and said in case.fault


def test_mutations_change_most_files_and_are_the_same_again():
    from random import Random

    seed = NAMED["pattern"].seeds()["club-piste.toml"]
    first = [spoilt(seed, Random(number), ".toml") for number in range(100)]
    assert first == [spoilt(seed, Random(number), ".toml") for number in range(100)]
    assert sum(data != seed for data in first) > 90
    assert len(set(first)) > 90


def toml_text() -> st.SearchStrategy[bytes]:
    keys = st.sampled_from(
        ["format", "name", "units", "boot", "drill", "group", "hole", "at", "steps", "shift"]
    )
    values = st.recursive(
        st.none().map(lambda _: "nan")
        | st.integers().map(str)
        | st.floats().map(repr)
        | st.text(max_size=20).map(lambda text: json.dumps(text, ensure_ascii=False)),
        lambda inner: st.lists(inner, max_size=4).map(lambda found: f"[{', '.join(found)}]"),
        max_leaves=8,
    )
    pairs = st.tuples(keys, values).map(" = ".join)
    headers = st.sampled_from(["[drill]", "[[group]]", "[[group.hole]]", "[screw]", "[[hole]]"])
    return st.lists(pairs | headers, max_size=15).map("\n".join).map(str.encode)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(toml_text() | st.binary(max_size=200))
@pytest.mark.parametrize("name", ["pattern", "survey", "old holes", "terms", "profile"])
def test_any_text_at_all(tmp_path_factory, name: str, data: bytes):
    work = tmp_path_factory.mktemp("any")
    assert trial(NAMED[name], 0, "a.toml", data, work).fault == ""


HEX = "0x" + "f" * 5000  # tomllib reads it, and Python refuses to print it in decimals
TOML = {
    "deep lists": "a = " + "[" * 50_000 + "]" * 50_000,
    "deep keys": ".".join("a" * 40_000) + " = 1",
    "deep tables": "a = " + "{a = " * 20_000 + "1" + "}" * 20_000,
    "many keys": "\n".join(f"k{n} = 1" for n in range(7_000)),
    "many groups": "format = 1\n" + "[[group]]\n" * 20_000,
    "many holes": 'format = 1\nname = "x"\n[[group]]\n' + "[[group.hole]]\nat = [1, 2]\n" * 10_000,
    "hex format": f"format = {HEX}\nunits = {HEX}\nname = {HEX}\nboot = [{HEX}, {HEX}]\n",
    "hex holes": f"[holes]\na = {HEX}\n[distances]\na-b = {HEX}\n[[hole]]\nat = [{HEX}, 1]",
    "long name": f'format = 1\nname = "{"n" * 900_000}"\n',
    "one line": "x" * 999_999,
    "quotes": "a" + '."a"' * 200_000,
    "quotes open": '"' * 999_999,
    "too big": "#" * 1_000_001,
    "zero": "\0",
    "bidi": 'format = 1\nname = "\u202egnp.exe"\n',
}


@pytest.mark.parametrize("name", ["pattern", "survey", "old holes", "terms", "profile"])
@pytest.mark.parametrize("text", TOML.values(), ids=TOML)
def test_toml_made_to_harm(tmp_path: Path, name: str, text: str):
    case = trial(NAMED[name], 0, "a.toml", text.encode(), tmp_path, limit=8.0)
    assert (case.outcome, case.fault) == ("refused", "")
    assert case.growth < MEMORY


@pytest.mark.parametrize("name", ["old holes", "drawing"])
@pytest.mark.parametrize("cell", ["9" * 200_000, '"' + "x" * 200_000, "\0", "nan", "1e999"])
def test_tables_made_to_harm(tmp_path: Path, name: str, cell: str):
    data = f"x,y,diameter\n1,2,{cell}\n".encode()
    case = trial(NAMED[name], 0, "a.csv", data, tmp_path, limit=8.0)
    assert (case.outcome, case.fault) == ("refused", "")


def changed(data: bytes, **keys: object) -> bytes:
    return json.dumps(json.loads(data) | keys).encode()


@pytest.mark.parametrize("name", ["manifest", "sheet", "sheet pdf"])
def test_manifests_made_to_harm(tmp_path: Path, name: str):
    good = whole_manifest()["manifest.json"]
    data = json.loads(good)
    many = {"holes": data["holes"] * 500, "parts": data["parts"] * 100}
    for harm in (
        b"[" * 100_000,
        good[:-2] + b', "more": ' + b"[" * 50_000 + b"]" * 50_000 + b"}",
        changed(good, holes=many["holes"]),
        changed(good, parts=many["parts"]),
        changed(good, inputs=None),
        changed(good, inputs=[]),
        changed(good, inputs={}),
        changed(good, verification=[]),
        changed(good, drilling={"settings": 1}),
        changed(good, files={"../../etc/passwd": {"bytes": 1, "sha256": "0" * 64}}),
        changed(good, manifest=int("9" * 4000)),
        good[:-2] + b', "more": ' + b"9" * 100_000 + b"}",
    ):
        case = trial(NAMED[name], 0, "manifest.json", harm, tmp_path, limit=8.0)
        assert case.fault == "", harm[:80]
        assert case.growth < MEMORY


def package(model: bytes, **members: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {
            "[Content_Types].xml": TYPES,
            "_rels/.rels": RELATIONSHIPS,
            MODEL: model,
            **members,
        }.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def stl(count: int, facets: int) -> bytes:
    return b" " * 80 + count.to_bytes(4, "little") + b"\0" * 50 * facets


MESH = (
    '<object id="1" name="body"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" '
    'z="0"/><vertex x="0" y="1" z="0"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/>'
    "</triangles></mesh></object>"
)
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"


def model(resources: str, items: str = "") -> bytes:
    return (
        f'<model xmlns="{CORE}"><resources>{resources}</resources><build>{items}</build></model>'
    ).encode()


HARM = {
    "bomb of blanks": ("bed-1.3mf", lambda: package(b" " * 300_000_000)),
    "bomb of tags": ("bed-1.3mf", lambda: package(b"<a>" + b"<a/>" * 4_000_000 + b"</a>")),
    "deep tags": ("bed-1.3mf", lambda: package(b"<a>" * 240_000 + b"</a>" * 240_000)),
    "long attribute": ("bed-1.3mf", lambda: package(b'<a b="' + b"c" * 30_000_000 + b'"/>')),
    "many items": (
        "bed-1.3mf",
        lambda: package(model(MESH, '<item objectid="1"/>' * 200_000)),
    ),
    "many members": (
        "bed-1.3mf",
        lambda: package(model(MESH), **{f"m{n}": b"" for n in range(20_000)}),
    ),
    "huge count": ("parts/body.stl", lambda: stl(0xFFFFFFFF, 1)),
    "no count": ("parts/body.stl", lambda: stl(0, 0)),
    "flat facets": ("parts/body.stl", lambda: stl(100_000, 100_000)),
    "big file": ("parts/body.stl", lambda: stl(1_400_000, 1_400_000)),
    "deep step": (
        "jig.step",
        lambda: jig_folder()["jig.step"].replace(
            b"DATA;\n", b"DATA;\n#999999=A(" + b"(" * 300_000 + b")" * 300_000 + b");\n"
        ),
    ),
    "quotes": ("jig.step", lambda: jig_folder()["jig.step"] + b"'" * 1_000_000),
    "long number": (
        "jig.step",
        lambda: jig_folder()["jig.step"].replace(b"#10 ", b"#" + b"9" * 5000 + b" "),
    ),
}


@pytest.mark.parametrize(("file", "data"), HARM.values(), ids=HARM)
def test_a_folder_made_to_harm_fails_its_verification(tmp_path: Path, file: str, data):
    case = trial(NAMED["folder"], 0, f"jig/{file}", data(), tmp_path, limit=15.0)
    assert (case.outcome, case.fault) == ("read", "")
    assert case.growth < MEMORY


@pytest.fixture
def small(tmp_path: Path) -> Path:
    for name, data in jig_folder().items():
        path = tmp_path / "jig" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return tmp_path / "jig"


def test_the_smallest_folder_verifies(small: Path):
    from jiggen.verify import check

    verification = check(small)
    assert (verification.passed, verification.faults) == (True, ())


@pytest.mark.parametrize("name", ["jig.step", "bed-1.3mf", "parts/body.stl", "manifest.json"])
@pytest.mark.parametrize("what", ["link out", "link to itself", "pipe", "device", "folder"])
def test_only_plain_files_in_the_folder_are_read(small: Path, tmp_path: Path, name: str, what: str):
    from jiggen.errors import InputError
    from jiggen.verify import check

    path, outside = small / name, tmp_path / "outside"
    path.rename(outside)  # the very bytes that would verify
    match what:
        case "link out":
            path.symlink_to(outside)
        case "link to itself":
            path.symlink_to(path.name)
        case "pipe":
            os.mkfifo(path)
        case "device":
            path.symlink_to("/dev/zero")
        case "folder":
            path.mkdir()
    if name == "manifest.json":
        with pytest.raises(InputError):
            check(small)
        return
    faults = [fault for fault in check(small).faults if fault.source == name]
    assert {fault.code for fault in faults} == {"verify.unreadable"}


def test_a_link_within_the_folder_is_no_harm_and_a_linked_folder_neither(
    small: Path, tmp_path: Path
):
    from jiggen.verify import check

    (small / "parts/body.stl").rename(small / "parts/.kept.stl")
    (small / "parts/body.stl").symlink_to(".kept.stl")
    (tmp_path / "link").symlink_to(small)
    (fault,) = check(tmp_path / "link").faults  # read as ever; but hidden files are not ours
    assert (fault.code, fault.source) == ("verify.unlisted", "parts/.kept.stl")


ESCAPES = "\x1b[31m\x9b2J\u202e"


def test_a_hole_or_a_file_whose_name_steers_a_terminal_is_shown_as_escapes(
    tmp_path: Path, monkeypatch, capsys
):
    from jiggen.cli import main

    for name, data in jig_folder().items():
        text = (
            data.replace(b"toe-1", b"toe\\u001b[31m\\n\\u009b2J\\u202e")
            if name == "manifest.json"
            else data
        )
        path = tmp_path / "jig" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text)
    (tmp_path / "patterns").mkdir()
    (tmp_path / f"patterns/a{ESCAPES}\nb.toml").write_text("format = 1")
    monkeypatch.chdir(tmp_path)
    for words in (["check", "jig"], ["patterns"], ["show", f"patterns/a{ESCAPES}\nb.toml"]):
        main(words)
        said = "".join(capsys.readouterr())
        assert "\\x1b[31m" in said and "\\x9b2J" in said
        assert all(c.isprintable() or c == "\n" for c in said)
