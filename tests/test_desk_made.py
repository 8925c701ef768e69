"""What was built, on its page: files only of what passes now, and none by a name of one's own."""

from __future__ import annotations

import io
import json
import shlex
import shutil
import time
import zipfile
from html import unescape
from pathlib import Path

import pytest
from desk_client import OWN
from starlette.testclient import TestClient

import jiggen.desk.folders
import jiggen.desk.making
from jiggen.cli import main
from jiggen.desk.folders import address_of, key_of
from jiggen.desk.making import Made
from jiggen.desk.works import Works
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.files import MANIFEST, SHEET
from jiggen.pipeline.build import Built
from jiggen.progress import announce
from jiggen.verify import remember

ASKED = "/jig?pattern=club-piste&boot=305&ski=84-112"
NAME = "arvenal-club-piste-305-on-84-112"


@pytest.fixture
def jig(built: Built, desk: TestClient, tmp_path: Path) -> Path:
    """A jig where the desk builds it, known to pass."""
    folder = shutil.copytree(built.folder, tmp_path / "out" / NAME)
    remember(folder)
    return folder


def fail(folder: Path) -> None:
    """Let its record say that its verification failed."""
    record = json.loads((folder / MANIFEST).read_text())
    fault = {"code": "verify.moved", "source": "STEP", "subject": "toe-1", "message": "0.4 mm off"}
    record["verification"] |= {"passed": False, "faults": [fault]}
    (folder / MANIFEST).write_text(json.dumps(record))


def test_a_page_tells_what_the_build_told_and_shows_the_jig(desk: TestClient, jig: Path):
    text = desk.get(address_of(jig)).text
    record = json.loads((jig / MANIFEST).read_text())
    assert record["jig_mark"] in text and "it may be printed" in text
    for words in ("bed-1.3mf", "To buy", "depth stop", "9 holes for boot 305 mm", "toe-5"):
        assert words in text
    scene = text.split('id="scene">')[1].split("</script>")[0]
    assert {part["group"] for part in json.loads(scene)["parts"]} >= {"body", "rail", "ski"}
    assert "data:image" not in text


def test_the_zip_file_is_that_of_the_command_line(desk: TestClient, jig: Path, capsys):
    answer = desk.get(f"{address_of(jig)}/zip")
    assert answer.headers["content-disposition"].endswith(f"{NAME}.zip")
    assert main(["zip", str(jig)]) == 0
    assert (jig.parent / f"{NAME}.zip").read_bytes() == answer.content
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        names = archive.namelist()
        assert names == sorted(names)
        for name in names:
            assert archive.read(name) == (jig.parent / name).read_bytes()
    listed = json.loads((jig / MANIFEST).read_text())["files"]
    assert set(names) == {f"{NAME}/{name}" for name in (*listed, MANIFEST)}


def test_a_zip_file_is_not_put_into_the_folder(jig: Path, capsys):
    assert main(["zip", str(jig), "-o", str(jig / "all.zip")]) == 2
    assert "own folder" in capsys.readouterr().err


def test_files_are_those_of_the_record(desk: TestClient, jig: Path):
    address = address_of(jig)
    record = json.loads((jig / MANIFEST).read_text())
    assert all(f'href="{address}/{name}"' in desk.get(address).text for name in record["files"])
    for name in ("bed-1.3mf", "jig.step", SHEET, "parts/rail.stl"):
        answer = desk.get(f"{address}/{name}")
        assert answer.content == (jig / name).read_bytes()
        assert answer.headers["content-disposition"].startswith("attachment")
    assert desk.get(f"{address}/holes").content.startswith(b"%PDF")
    assert desk.get(f"{address}/look/preview.png").headers["content-type"] == "image/png"
    (jig.parent / "secret").write_text("secret")
    for name in ("../secret", "%2e%2e/secret", "..%2fsecret", "manifest.json", "%2fetc%2fpasswd"):
        answer = desk.get(f"{address}/{name}")
        assert answer.status_code >= 400 and "secret" not in answer.text.replace(name, "")
    assert desk.get(f"/made/{'0' * 16}").status_code == 404


def test_the_page_for_the_pair_in_hand_is_that_of_the_command_line(
    desk: TestClient, jig: Path, tmp_path: Path, capsys
):
    address = f"{address_of(jig)}/pair"
    assert f'href="{address}"' in desk.get(address_of(jig)).text
    query = "boot=305&thickness=22&width-at=150:96&width-at=-150:94&ticket=4711&folder=/etc"
    text = desk.get(f"{address}?{query}").text
    assert "both rails read about" in text and "/etc" not in unescape(text).replace(query, "")
    answer = desk.get(f"{address}/pdf?{query}")
    assert answer.headers["content-disposition"].endswith(f"{NAME}-boot-305.pdf")
    line = text.split('aria-label="Command line">')[1].split("<")[0]
    assert main(shlex.split(line)[1:]) == 0
    assert (jig.parent / f"{NAME}-boot-305.pdf").read_bytes() == answer.content


@pytest.mark.parametrize(
    ("query", "field"), [("boot=300", "boot"), ("boot=305&thickness=8", ""), ("core=metal", "core")]
)
def test_a_pair_that_the_jig_does_not_fit_gets_no_page(
    desk: TestClient, jig: Path, query: str, field: str
):
    text = desk.get(f"{address_of(jig)}/pair?{query}").text
    beside = text.split(f'id="{field}-faults"' if field else 'id="faults"')[1].split("</div>")[0]
    assert 'class="fault"' in beside and "/pair/pdf" not in text
    assert desk.get(f"{address_of(jig)}/pair/pdf?{query}").status_code == 422


def test_what_failed_gives_no_file(desk: TestClient, jig: Path):
    address = address_of(jig)
    fail(jig)
    text = desk.get(address).text
    assert "Do not print" in text and "toe-1: 0.4 mm off" in text
    assert f'href="{address}/' not in text and "id=&#34;scene" not in text and "scene" not in text
    for name in ("zip", "holes", "bed-1.3mf", "look/preview.png", SHEET, "report.html", "pair/pdf"):
        answer = desk.get(f"{address}/{name}")
        assert answer.status_code == 422 and "content-disposition" not in answer.headers
    assert "Failed: do not print" in desk.get("/made").text


def test_what_does_not_pass_now_gives_no_file(
    desk: TestClient, jig: Path, monkeypatch: pytest.MonkeyPatch
):
    (jig / "bed-1.3mf").write_bytes(b"changed")
    refused = Finding("verify.refused", "this folder does not pass its verification")

    def certify(_: Path) -> None:
        raise CheckFailed(refused)

    monkeypatch.setattr(jiggen.desk.folders, "certify", certify)
    for name in ("zip", "bed-1.3mf", SHEET):
        assert desk.get(f"{address_of(jig)}/{name}").status_code == 422


def refuse(folder: Path) -> None:
    raise CheckFailed(Finding("verify.refused", "it does not pass", where=folder.name))


@pytest.mark.parametrize("passes", [True, False])
def test_what_is_not_known_to_pass_is_verified_first(
    desk: TestClient, works: Works, jig: Path, monkeypatch: pytest.MonkeyPatch, passes: bool
):
    (jig / "notes.txt").write_text(f"another seal {passes}")
    monkeypatch.setattr(jiggen.desk.folders, "certify", nothing if passes else refuse)
    answer = desk.get(address_of(jig))
    assert answer.status_code == 303
    work = works.latest()[0]
    assert answer.headers["location"] == f"/work/{work.number}"
    while not work.over:
        time.sleep(0.02)
    assert work.next_address == (address_of(jig) if passes else "")
    text = desk.get(address_of(jig)).text
    assert ("it may be printed" in text) is passes
    assert ("does not pass" in text) is not passes
    assert (f'href="{address_of(jig)}/zip"' in text) is passes


def nothing(folder: Path) -> None:
    assert folder.is_dir()


def test_a_damaged_record_is_said(desk: TestClient, jig: Path):
    (jig / MANIFEST).write_text('{"manifest": 2, "kind": "jig"')
    assert "Do not print" in desk.get(address_of(jig)).text
    assert "damaged" in desk.get("/made").text


def write_a_note(asked, target: Path, force: bool) -> Made:
    announce("stand-in")
    target.mkdir(parents=True, exist_ok=True)
    (target / "note").write_text(f"{asked.boot} {force}")
    return Made(str(target), (Finding("test.warning", "mind the bed"),))


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jiggen.desk.making, "build_asked", write_a_note)


@pytest.mark.usefixtures("stand_in")
def test_a_build_is_of_the_address_and_leads_to_its_page(
    desk: TestClient, works: Works, tmp_path: Path
):
    answer = desk.post(ASKED, headers=OWN)
    work = works.latest()[0]
    assert (answer.status_code, answer.headers["location"]) == (303, f"/work/{work.number}")
    while not work.over:
        time.sleep(0.02)
    target = tmp_path / "out" / NAME
    assert (target / "note").read_text() == "305.0 False"
    page = desk.get(f"/work/{work.number}").text
    assert f'data-then="/made/{key_of(target)}"' in page and "stand-in" in page
    assert work.address == ASKED


@pytest.mark.usefixtures("stand_in")
def test_another_job_in_the_way_is_replaced_only_where_that_is_ticked(
    desk: TestClient, works: Works, jig: Path
):
    other = f"{ASKED}&body=12"
    before = len(works.latest())
    text = desk.get(other).text
    assert "for another body" in text and 'name="force"' in text and address_of(jig) in text
    answer = desk.post(other, headers=OWN)
    assert answer.status_code == 422 and "for another body" in answer.text
    assert len(works.latest()) == before and not (jig / "note").exists()
    assert desk.post(other, data={"force": "on"}, headers=OWN).status_code == 303
    work = works.latest()[0]
    while not work.over:
        time.sleep(0.02)
    assert (jig / "note").read_text() == "305.0 True"
    assert 'name="force"' not in desk.get(ASKED).text


def test_the_jig_mark_is_known_before_it_is_built(desk: TestClient, built: Built):
    assert f'class="mark">{built.record.jig_mark}<' in desk.get(ASKED).text


@pytest.mark.parametrize(
    ("address", "command", "drawn"),
    [
        ("/trial?pattern=club-piste&boot=305", "jiggen trial club-piste --boot 305", 9),
        ("/gauge?caliper=200", "jiggen gauge --caliper 200", 0),
        ("/gauge", "jiggen gauge", 0),
    ],
)
def test_trial_plate_and_gauge_are_asked_for_likewise(
    desk: TestClient, address: str, command: str, drawn: int
):
    text = desk.get(address).text
    assert f">{command}</pre>" in text and text.count("<circle cx=") == drawn
    assert 'class="main">Build' in text


def test_the_list_has_the_newest_first(desk: TestClient, jig: Path, built: Built, tmp_path: Path):
    other = shutil.copytree(built.folder, tmp_path / "out" / "evening" / "second")
    record = json.loads((other / MANIFEST).read_text())
    (other / MANIFEST).write_text(json.dumps(record))
    text = desk.get("/made").text
    assert text.index(address_of(other)) < text.index(address_of(jig))


def test_a_folder_that_is_not_the_desks_is_not_replaced(desk: TestClient, tmp_path: Path):
    (tmp_path / "out" / NAME).mkdir(parents=True)
    (tmp_path / "out" / NAME / "mine.txt").write_text("mine")
    assert desk.post(ASKED, headers=OWN).status_code == 422
    with pytest.raises(InputError):
        jiggen.desk.folders.BuiltFolder("", tmp_path / "out" / NAME).record()
