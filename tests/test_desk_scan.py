"""The page of scans: what is dropped, found, named and left out; the same as the command."""

from __future__ import annotations

import io
import re
import shlex
import struct
import time
import zlib
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import pytest
from desk_client import OWN, part
from PIL import Image
from scanner import Drilled, Lying, Plate, a_scanner

from jiggen.cli import run
from jiggen.cli.program import app

# A small plate: pairs, and a hole on the line that tells its turn.
PLACES = {"a": (-38.0, 3.0), "b": (-20.0, 14.0), "c": (-20.0, -14.0), "d": (36.0, 15.0),
          "e": (36.0, -15.0)}  # fmt: skip
ROW = {"from.1": "a", "to.1": "d", "how.1": "centre", "read.1": "74.97"}
SAID = {
    "face": "top", "name": "Bench Plate", "origin": "b,c", "front": "d,e", "pairs": "b-c d-e",
    "drill-plain": "3.6", "drill-metal": "4.1", "drill-depth": "9",
}  # fmt: skip


def png(picture: Image.Image, **how) -> bytes:
    stream = io.BytesIO()
    picture.save(stream, "PNG", compress_level=1, **how)
    return stream.getvalue()


@pytest.fixture(scope="module")
def scans() -> dict[str, bytes]:
    """The plate on a scanner, turned by half, at 300 dpi."""
    outline = ((-46, -22), (46, -22), (46, 22), (-46, 22))
    plate = Plate(tuple(Drilled(*at, 6.0) for at in PLACES.values()), outline, grey=0.6)
    scanner = a_scanner(5, dpi=300.0, dust=0)
    laid = [Lying(scanner, plate, turn, (0.5, 0), (104.0, 56.0), turn, 2) for turn in (1, 181)]
    return {
        f"turn {number}.PNG": png(Image.fromarray(one.picture()), dpi=(300, 300))
        for number, one in enumerate(laid)
    }


def send(desk, query: str, files: dict[str, bytes]):
    named = [("file", (name, data)) for name, data in files.items()]
    return desk.post(f"/scan/file?{query}", files=named, headers=OWN)


@pytest.fixture
def query(desk, scans) -> str:
    """The scans dropped one by one and read: what the address of their page is asked for with."""
    query = ""
    for name, data in scans.items():
        address = send(desk, query, {name: data}).headers["location"]
        query = address.partition("?")[2]
    until = time.monotonic() + 60
    while (answer := desk.get(address)).status_code != 200:
        work = desk.get(answer.headers["location"]).text
        assert "data-then" not in work or f'data-then="{address}"' in unescape(work)
        assert time.monotonic() < until
        time.sleep(0.05)
    return query


def test_dropped_scans_are_measured_and_become_what_the_command_makes(desk, scans, query):
    first, second = re.findall(r"images=(turn-\d-[0-9a-f]{8}\.png)", query)
    assert Path("scans", second).read_bytes() == scans["turn 1.PNG"]
    again = send(desk, query, scans).headers["location"]
    assert again == f"/scan?{query}"  # kept by what is in them: nothing new
    page = desk.get(f"/scan?{query}").text
    assert "not known" in part(page, "found") or "no distance" in part(page, "found").lower()
    address = f"{query}&{urlencode(ROW | SAID)}"
    page = desk.get(f"/scan?{address}").text
    found = part(page, "found")
    assert found.startswith("Result The scans agree")
    assert f"{first}: 0.0" in found
    assert "a to d, centre: read 74.97, fits 74.97" in found
    assert part(page, "of.a.7") == "2"  # scans
    assert page.count('href="#call.a"') == 2
    assert desk.get(f"/scan/picture/{first}").content.startswith(b"\xff\xd8")
    sent = desk.post(f"/scan/survey?{address}", headers=OWN)
    assert sent.status_code == 303
    sent = desk.post(f"/scan/pattern?{address}", headers=OWN)
    assert sent.headers["location"] == "/jig?pattern=bench-plate"
    files = [Path("surveys/bench-plate.toml"), Path("patterns/bench-plate.toml")]
    texts = [one.read_text(encoding="utf-8") for one in files]
    for one in files:
        one.unlink()
    assert run(app, shlex.split(part(page, "command"))[1:]) == 0
    assert [one.read_text(encoding="utf-8") for one in files] == texts


def test_a_hole_is_named_and_left_out(desk, query):
    more = urlencode(ROW | {"call.a": "heel", "without.e": "on"})
    page = desk.get(f"/scan?{query}&{more}").text
    command = part(page, "command")
    assert "--leave-out e" in command
    assert "--rename a=heel" in command
    assert "--distance heel-d:centre=74.97" in command
    assert part(page, "of.e.1") == ""
    assert float(part(page, "of.a.1")) == pytest.approx(-27.5, abs=0.3)
    assert ">heel</text>" in page
    assert page.count('stroke="#c02020"') == 2
    page = desk.get(f"/scan?{query}&{urlencode(ROW | {'call.a': 'b'})}").text
    assert "Two holes would be called" in part(page, "found")
    assert "--rename a=b" in part(page, "command")
    assert ">a</text>" in page  # drawn with what is known all the same
    for turned, names, said in (
        ("0,180", "a b c d e", "No distance was measured"),
        ("0,90", "", "turned by 180° and not by 90°"),
    ):
        page = desk.get(f"/scan?{query}&turned={turned}").text
        assert f'id="holes" data-part data-same="{names}"' in page
        assert f'id="distances" data-part data-same="{names}"' in page
        assert said in part(page, "found")


def test_what_contradicts_is_refused_and_nothing_is_written(desk, query):
    for wrong in (ROW | {"read.1": "79.97"}, ROW | {"to.1": ""}, ROW | {"read.1": "x"}):
        address = f"{query}&{urlencode(wrong | SAID)}"
        page = desk.get(f"/scan?{address}").text
        assert "The scans agree" not in page
        for end in ("survey", "pattern"):
            assert desk.post(f"/scan/{end}?{address}", headers=OWN).status_code == 422
    assert not Path("surveys").exists()
    assert not Path("patterns").exists()


def bomb() -> bytes:
    """The head of a PNG of 60 000 × 60 000 pixels."""
    chunks = [
        (b"IHDR", struct.pack(">IIBBBBB", 60000, 60000, 8, 0, 0, 0, 0)),
        (b"pHYs", struct.pack(">IIB", 23622, 23622, 1)),
        (b"IDAT", zlib.compress(b"")),
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"<svg/>", "not a PNG, TIFF or JPEG"),
        (bomb(), "million pixels"),
        (png(Image.new("L", (40, 30))), "has no resolution"),
    ],
)
def test_what_is_no_scan_is_refused_and_not_kept(desk, data, said):
    answer = send(desk, "", {"../../x.png": data})
    assert answer.status_code == 422
    assert said in answer.text
    assert "x.png: " in answer.text
    assert not Path("scans").exists()
    assert send(desk, "", {}).status_code == 422


def test_only_scans_in_the_folder_are_read(desk, scans):
    Path("outside.png").write_bytes(next(iter(scans.values())))
    Path("scans").mkdir()
    Path("scans/large.png").write_bytes(b"no picture")
    begin = desk.get("/scan").text
    assert 'href="/scan?images=large.png"' in begin
    assert "64 MB" in begin
    for name in ("../outside.png", str(Path("outside.png").resolve()), "other.png"):
        page = desk.get("/scan", params={"images": name})
        assert page.status_code == 200
        assert "no such scan" in page.text
    assert desk.get("/scan/picture/..%2Foutside.png").status_code == 404
    address = "/scan?images=large.png"
    until = time.monotonic() + 60
    while (page := desk.get(address)).status_code != 200:
        assert time.monotonic() < until
        time.sleep(0.05)
    assert "not a PNG, TIFF or JPEG" in page.text
