"""Pictures of scanners are read with their resolution; photographs and bombs are refused."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from jiggen.errors import InputError
from jiggen.measure.scan.read import read_scan
from jiggen.progress import keeping_notes, noted


def saved(path: Path, mode="L", size=(60, 40), dpi=(600, 600), **kept) -> Path:
    Image.new(mode, size, kept.pop("colour", 0)).save(path, dpi=dpi, **kept)
    return path


def code_of(path: Path) -> str:
    with pytest.raises(InputError) as refused:
        read_scan(path)
    (finding,) = refused.value.findings
    assert finding.where == str(path)
    assert finding.hint
    return finding.code


@pytest.mark.parametrize("ending", ["png", "tif", "jpg"])
def test_a_grey_picture_is_read_with_its_pitch(tmp_path, ending):
    scan = read_scan(saved(tmp_path / f"scan.{ending}", dpi=(300, 300)))
    assert scan.pixels.shape == (40, 60)
    assert scan.pitch == pytest.approx((25.4 / 300, 25.4 / 300), rel=1e-4)
    assert scan.size == pytest.approx((60 * 25.4 / 300, 40 * 25.4 / 300), rel=1e-4)


def test_of_a_colour_picture_the_green_channel_counts(tmp_path):
    scan = read_scan(saved(tmp_path / "scan.png", "RGB", colour=(10, 200, 30)))
    assert (scan.pixels == 200).all()


@pytest.mark.parametrize("ending", ["png", "tif"])
def test_sixteen_bits_are_kept(tmp_path, ending):
    values = np.full((40, 60), 51234, dtype=np.uint16)
    path = tmp_path / f"scan.{ending}"
    Image.fromarray(values).save(path, dpi=(600, 600))
    scan = read_scan(path)
    assert scan.pixels.dtype == np.uint16
    assert (scan.pixels == 51234).all()
    assert scan.full == 65535


def test_a_photograph_is_refused_with_the_size_of_its_error(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[33434] = 1 / 60  # exposure time
    path = saved(tmp_path / "photo.jpg", "RGB", exif=exif)
    with pytest.raises(InputError, match="photograph") as refused:
        read_scan(path)
    assert "0.84% too large at 600 mm: 1.3 mm over 150 mm" in refused.value.findings[0].hint


def test_the_name_of_a_scanner_is_no_camera(tmp_path):
    exif = Image.Exif()
    exif[271], exif[272] = "A maker", "Flatbed 3"
    assert read_scan(saved(tmp_path / "scan.jpg", exif=exif)).pixels.shape == (40, 60)


@pytest.mark.parametrize(
    "dpi", [(72, 72), (200, 200), (2400, 2400), (600, 300)], ids=lambda dpi: f"{dpi[0]}x{dpi[1]}"
)
def test_a_resolution_that_does_not_serve_is_refused(tmp_path, dpi):
    assert code_of(saved(tmp_path / "scan.png", dpi=dpi)) == "scan.resolution"


def test_without_a_resolution_it_is_refused(tmp_path):
    Image.new("L", (60, 40)).save(tmp_path / "scan.png")
    assert code_of(tmp_path / "scan.png") == "scan.resolution"


def test_a_picture_wider_than_any_glass_has_the_wrong_resolution(tmp_path):
    assert code_of(saved(tmp_path / "scan.png", size=(9000, 4), dpi=(300, 300))) == (
        "scan.resolution"
    )


@pytest.mark.parametrize("side", [13_000, 60_000])
def test_a_bomb_is_refused_from_its_header(tmp_path, side):
    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    parts = [(b"IHDR", head), (b"pHYs", struct.pack(">IIB", 23622, 23622, 1)), (b"IDAT", b"")]
    data = b"\x89PNG\r\n\x1a\n"
    for name, body in parts:
        check = zlib.crc32(name + body)
        data += struct.pack(">I", len(body)) + name + body + struct.pack(">I", check)
    (tmp_path / "bomb.png").write_bytes(data)
    assert code_of(tmp_path / "bomb.png") == "scan.too-large"


def test_black_and_white_is_refused(tmp_path):
    assert code_of(saved(tmp_path / "scan.tif", "1")) == "scan.black-and-white"


@pytest.mark.parametrize("mode", ["I", "F"])
def test_pixels_that_no_scanner_writes_are_refused(tmp_path, mode):
    assert code_of(saved(tmp_path / "scan.tif", mode)) == "scan.unreadable"


def test_several_pictures_in_one_file_are_refused(tmp_path):
    more = Image.new("L", (60, 40))
    path = saved(tmp_path / "scan.tif", save_all=True, append_images=[more])
    assert code_of(path) == "scan.unreadable"


def test_what_is_no_picture_or_cut_short_is_refused(tmp_path):
    (tmp_path / "a.png").write_text("no picture")
    assert code_of(tmp_path / "a.png") == "scan.unreadable"
    noise = np.random.default_rng(1).integers(0, 255, (80, 80), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "b.png", dpi=(600, 600))
    whole = (tmp_path / "b.png").read_bytes()
    (tmp_path / "b.png").write_bytes(whole[: len(whole) // 2])
    assert code_of(tmp_path / "b.png") == "scan.unreadable"
    assert code_of(tmp_path / "missing.png") == "scan.unreadable"


def test_a_strongly_compressed_picture_is_noted(tmp_path):
    with keeping_notes():
        read_scan(saved(tmp_path / "good.jpg", quality=92))
        assert not noted()
        read_scan(saved(tmp_path / "poor.jpg", quality=40))
        assert [finding.code for finding in noted()] == ["scan.compressed"]
