"""``jiggen profile`` and ``jiggen printed``: what they say, what they store, how they end."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from printed_samples import designed, finished, readings, write_jig
from printer_samples import Printer, read

from jiggen.cli import main
from jiggen.measure.printer.profile import find_profile, profile_names
from jiggen.measure.printer.read import Diameter, Distance, Height, Measurements
from jiggen.measure.printer.to_measure import worth_measuring
from jiggen.report.printed import read_printout

pytestmark = pytest.mark.usefixtures("as_if_verified")
CLUB = Printer(0.997, 1.002, 0.2, -0.18, 0.12, 0.995)


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))


def gauge_file(path: Path, measurements: Measurements, fits: str = "") -> Path:
    """`measurements` as jiggen gauge lays its file out, filled in."""
    rows = ["measurements = 1", 'units = "mm"', f"caliper = {measurements.caliper}", "[features]"]
    for name, feature in measurements.features.items():
        x, y = feature.at
        rows.append(
            f'{name} = {{kind = "{feature.kind}", at = [{x}, {y}], diameter = {feature.diameter}}}'
        )
    for reading in measurements.readings:
        match reading:
            case Distance(between=(first, second), edges=edges):
                rows += ["[[distance]]", f'between = ["{first}", "{second}"]', f'edges = "{edges}"']
            case Diameter(of=of):
                rows += ["[[diameter]]", f'of = "{of}"']
            case Height(asked=asked):
                rows += ["[[height]]", f"asked = {asked}"]
        rows.append(f"value = {reading.value:.2f}")
    path.write_text("\n".join([*rows, fits]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def gauge(tmp_path) -> Path:
    fits = "[fits]\nbush_fit = 0.15\nslide = 0.25"
    return gauge_file(tmp_path / "gauge.toml", read(CLUB, np.random.default_rng(3)), fits)


def test_a_fit_is_told_and_stored(gauge, capsys):
    assert main(["profile", "fit", str(gauge), "--name", "club", "--material", "PETG, grey"]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert "A1 to A2, outside to outside" in told.out
    assert "190 mm along x comes out 0.5" in told.out
    assert "a hole comes out 0.1" in told.out
    assert "Bushes hold best with an allowance of 0.15 mm." in told.out
    stored = find_profile("club")
    assert stored.scale_x == pytest.approx(0.997, abs=3e-4)
    assert (stored.material, stored.bush_fit, stored.slide) == ("PETG, grey", 0.15, 0.25)
    assert max(map(len, told.out.split("Written")[0].splitlines())) <= 90


def test_equal_readings_make_equal_bytes(gauge, tmp_path, capsys):
    stored = tmp_path / "printers" / "club.toml"
    made = []
    for _ in range(2):
        assert main(["profile", "fit", str(gauge), "--name", "club"]) == 0
        made.append(stored.read_bytes())
    assert made[0] == made[1]


def test_a_fit_as_json(gauge, capsys):
    assert main(["profile", "fit", str(gauge), "--name", "club", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    fitted = data["fitted"]["scale_x"]
    assert fitted["within"] == pytest.approx(1.96 * fitted["uncertainty"], rel=1e-3)
    assert abs(fitted["value"] - 0.997) <= 2 * fitted["within"]
    assert data["profile"]["name"] == "club"
    assert data["refused"] == []
    assert len(data["readings"]) == 28
    assert 0.001 < data["likelihood"] < 1


def test_a_misread_value_stores_nothing(gauge, capsys):
    text = gauge.read_text()
    value = text.split("value = ")[1].split("\n")[0]
    gauge.write_text(text.replace(f"value = {value}", f"value = {float(value) + 1:.2f}", 1))
    assert main(["profile", "fit", str(gauge), "--name", "club"]) == 1
    told = capsys.readouterr()
    assert "<- wrong?" in told.out
    assert "It looks like 1 mm too much." in told.err
    assert profile_names() == ()
    assert main(["profile", "fit", str(gauge), "--name", "club", "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["profile"], data["written"]) == (None, None)
    assert [one["code"] for one in data["refused"]] == ["printer.gross-error"]


def test_a_file_with_faults_is_refused_with_its_lines(gauge, capsys):
    gauge.write_text(gauge.read_text().replace('"A1", "A2"', '"A1", "A9"', 1))
    assert main(["profile", "fit", str(gauge), "--name", "club"]) == 2
    assert "gauge.toml:14:1: distance[1].between" in capsys.readouterr().err
    assert main(["profile", "fit", str(gauge), "--name", "Not a name"]) == 2


def test_stored_profiles_are_listed_and_shown(gauge, capsys):
    assert main(["profile", "list"]) == 0
    assert "None yet" in capsys.readouterr().out
    main(["profile", "fit", str(gauge), "--name", "club", "--material", "PETG"])
    capsys.readouterr()
    assert main(["profile", "list"]) == 0
    assert "club  x 0.997" in capsys.readouterr().out
    assert main(["profile", "show", "club"]) == 0
    assert "club, PETG" in capsys.readouterr().out
    assert main(["profile", "list", "--json"]) == 0
    assert [one["name"] for one in json.loads(capsys.readouterr().out)["profiles"]] == ["club"]
    assert main(["profile", "show", "club", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == find_profile("club").model_dump()
    assert main(["profile", "show", "clubb"]) == 2


@pytest.fixture
def jig(tmp_path) -> Path:
    return write_jig(tmp_path / "jig", designed())


def fill(blank: Path, places, noise: float = 0.02) -> None:
    """Write into `blank` what a caliper shows over pins in `places`, in the order it asks."""
    random = np.random.default_rng(8)
    pairs = [
        tuple(json.loads(line.split("=", 1)[1]))
        for line in blank.read_text(encoding="utf-8").splitlines()
        if line.startswith("between")
    ]
    text = blank.read_text(encoding="utf-8")
    for reading in readings(places, pairs, random, noise).readings:
        text = text.replace('value = ""', f"value = {reading.value:.2f}", 1)
    blank.write_text(text, encoding="utf-8")


def printed_as(printer: Printer):
    chosen = designed()
    return finished(chosen, {body.name: printer for body in chosen.bodies})


def test_a_true_jig_goes_from_its_blank_file_to_use_it(jig, tmp_path, capsys):
    blank = tmp_path / "m.toml"
    assert main(["printed", str(jig), "--blank", str(blank)]) == 0
    assert len(worth_measuring(read_printout(jig).jig)) == blank.read_text().count("[[distance]]")
    assert "320.70 if the jig were true" in blank.read_text()  # 317.10 and the pins' 3.6
    fill(blank, printed_as(Printer()))
    capsys.readouterr()
    assert main(["printed", str(jig), str(blank)]) == 0
    told = capsys.readouterr()
    assert "USE IT" in told.out
    assert told.err == ""


def test_a_short_jig_is_to_be_printed_again(jig, tmp_path, capsys):
    blank = tmp_path / "m.toml"
    main(["printed", str(jig), "--blank", str(blank)])
    fill(blank, printed_as(Printer(0.997, 0.997)))
    capsys.readouterr()
    assert main(["printed", str(jig), str(blank), "--name", "club-2"]) == 1
    told = capsys.readouterr()
    assert "PRINT IT AGAIN" in told.out
    assert "holes are off by more than 0.32 mm: toe-1" in told.err
    assert find_profile("club-2").scale_x == pytest.approx(0.997, abs=5e-4)
    assert main(["printed", str(jig), str(blank), "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["verdict"] == "reprint"
    assert data["profile"]["scale_x"] == pytest.approx(0.997, abs=5e-4)
    assert [hole["good"] for hole in data["holes"]] == [False] * 9
    assert data["whole"]["along"] == pytest.approx(0.997, abs=5e-4)
    assert main(["printed", str(jig), str(blank), "--limit", "1"]) == 0


def test_a_jig_with_a_misread_value_is_not_judged(jig, tmp_path, capsys):
    blank = tmp_path / "m.toml"
    main(["printed", str(jig), "--blank", str(blank)])
    fill(blank, printed_as(Printer()))
    text = blank.read_text().replace("value = 3", "value = 4", 1)  # 100 mm too much
    blank.write_text(text, encoding="utf-8")
    capsys.readouterr()
    assert main(["printed", str(jig), str(blank), "--name", "club-3"]) == 1
    told = capsys.readouterr()
    assert "It looks like 100 mm too much." in told.err
    assert "USE IT" not in told.out
    assert "PRINT IT" not in told.out
    assert profile_names() == ()


def test_a_filled_in_file_is_not_written_over(jig, tmp_path, capsys):
    blank = tmp_path / "m.toml"
    blank.write_text("mine")
    assert main(["printed", str(jig), "--blank", str(blank)]) == 2
    assert blank.read_text() == "mine"
    assert main(["printed", str(jig), "--blank", str(jig / "m.toml")]) == 2
    assert "jig's own folder" in capsys.readouterr().err
    assert not (jig / "m.toml").exists()


@pytest.mark.parametrize(
    "words", [[], ["m.toml", "--blank", "b.toml"], ["--blank", "b.txt"], ["m.toml", "--limit", "0"]]
)
def test_bad_use_is_refused(words, jig, capsys):
    assert main(["printed", str(jig), *words]) == 2
    assert capsys.readouterr().out == ""


def test_a_folder_that_is_no_jig_is_refused(tmp_path, capsys):
    assert main(["printed", str(tmp_path), "--blank", str(tmp_path / "b.toml")]) == 2
    assert "manifest" in capsys.readouterr().err
