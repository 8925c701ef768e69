"""A finished jig for many boots: each half held against its layout by itself, for every boot."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from ladder_samples import ladder_manifest
from printed_samples import finished_half, readings, write_halves
from printer_samples import Printer
from record_samples import drilled
from test_profile_cli import fill

from jiggen.cli import main
from jiggen.errors import InputError
from jiggen.measure.printer.printed import fit_printed
from jiggen.measure.printer.to_measure import MOST, worth_measuring
from jiggen.measure.printer.verdict import refusals_of_print
from jiggen.report.printed import read_printout

SHIPPED = ["club-piste", "step-track", "skew-plate", "old-inch"]


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))


@pytest.fixture
def folder(tmp_path):
    return write_halves(tmp_path / "club", "club-piste")


def halves(name, printers, boot=345.0):
    """Where all holes are; a printer a body."""
    found = {}
    for body, printer in printers.items():
        found |= finished_half(name, body, boot, printer)
    return found


def alike(jig, printer):
    return {body.name: printer for body in jig.bodies}


@pytest.mark.parametrize("name", [*SHIPPED, "mixed"])
def test_every_hole_is_told_for_the_boot_for_which_it_is_worst(name, tmp_path):
    jig = read_printout(write_halves(tmp_path / "jig", name)).jig
    printers = {
        body.name: Printer(0.996 + 0.001 * n, 1.003, 0.3 - 0.1 * n)
        for n, body in enumerate(jig.bodies)
    }
    own = [n for one in printers.values() for n in (one.scale_x, one.scale_y, one.skew)]
    assert jig.size == len(own)
    told = [np.hypot(*(jig.places(np.array(own), way) - jig.asked).T) for way in range(jig.ways)]
    worst = dict.fromkeys(jig.holes, 0.0)
    y = {hole["id"]: hole["y"] for hole in ladder_manifest(name)["holes"]}
    for entry in ladder_manifest(name)["boots"]:
        for hole, place in halves(name, printers, entry["boot"]).items():
            off = float(np.hypot(*(place - (entry["x"][hole], y[hole]))))
            worst[hole] = max(worst[hole], off)
    assert np.max(told, axis=0) == pytest.approx([worst[hole] for hole in jig.holes], abs=1e-5)
    longest = halves(name, printers)
    assert jig.places(np.array(own)) == pytest.approx(
        np.array([longest[hole] for hole in jig.holes]), abs=1e-5
    )


@pytest.mark.parametrize("name", SHIPPED)
def test_what_is_listed_to_measure_lets_a_true_jig_pass(name, tmp_path):
    jig = read_printout(write_halves(tmp_path / "jig", name)).jig
    pairs = worth_measuring(jig)
    assert 8 <= len(pairs) <= MOST
    body_of = {hole: body.name for body in jig.bodies for hole in body.holes}
    assert all(body_of[one] == body_of[other] for one, other in pairs)
    assert {body_of[one] for one, _ in pairs} == {"body-toe", "body-heel"}
    found = fit_printed(jig, readings(halves(name, alike(jig, Printer())), pairs))
    assert max(hole.off for hole in found.expected) < 1e-5
    assert found.verdict == "use"
    assert refusals_of_print(found) == ()


def test_each_half_has_its_own_printer(folder):
    jig = read_printout(folder).jig
    assert len(jig.pairs) == 5 * 4 / 2 + 4 * 3 / 2  # 5 holes at the toe, 4 at the heel
    own = {"body-toe": Printer(0.998, 0.998), "body-heel": Printer(1.001, 1.001)}
    read = readings(halves("club-piste", own), worth_measuring(jig))
    found = fit_printed(jig, replace(read, caliper=0.001))
    toe, heel = (values for values, _ in [found.parts[body] for body in own])
    assert toe[:2] == pytest.approx((0.998, 0.998), abs=2e-4)
    assert heel[:2] == pytest.approx((1.001, 1.001), abs=2e-4)
    assert "joint" not in found.parts
    assert found.shapes["body-toe"].scale_x == pytest.approx(0.998, abs=2e-4)


def test_holes_of_halves_lie_within_what_is_said(tmp_path):
    random = np.random.default_rng(20)
    jig = read_printout(write_halves(tmp_path / "jig", "club-piste")).jig
    pairs, runs, inside, alarms = worth_measuring(jig), 30, 0, 0
    for _ in range(runs):
        scale = random.normal(1.0, 0.004)
        printer = Printer(scale, scale + random.normal(0, 0.002), random.normal(0, 0.2))
        places = halves("club-piste", alike(jig, printer))
        found = fit_printed(jig, readings(places, pairs, random))
        for hole, told in zip(found.expected, found.places, strict=True):
            inside += float(np.hypot(*(places[hole.id] - told))) <= hole.known
        alarms += found.fit.contradicts
    assert inside / runs / len(jig.holes) >= 0.9
    assert alarms <= 1


@pytest.mark.usefixtures("as_if_verified")
def test_from_the_blank_file_to_use_it_and_to_print_it_again(folder, tmp_path, capsys):
    blank = tmp_path / "m.toml"
    assert main(["printed", str(folder), "--blank", str(blank)]) == 0
    text = blank.read_text(encoding="utf-8")
    assert "Measure each half by itself" in text
    assert text.count("# Once more") == 4  # 16 pairs in all, of 20 readings
    jig = read_printout(folder).jig
    fill(blank, halves("club-piste", alike(jig, Printer())))
    capsys.readouterr()
    assert main(["printed", str(folder), str(blank)]) == 0
    said = capsys.readouterr()
    assert "USE IT" in said.out
    assert "The toe half: 300 mm along the ski came out" in said.out
    assert "The heel half: 300 mm" in said.out
    assert "Each hole for the boot for which it is worst." in said.out
    assert "whole jig" not in said.out and "joint" not in said.out
    blank.write_text(text, encoding="utf-8")
    fill(blank, halves("club-piste", alike(jig, Printer(0.996, 0.996))))
    assert main(["printed", str(folder), str(blank), "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["verdict"], data["whole"], data["joint"]) == ("reprint", None, None)
    assert set(data["halves"]) == {"body-toe", "body-heel"}
    assert data["profile"]["scale_x"] == pytest.approx(0.996, abs=1e-3)
    # toe-1 is 175.3 mm from the mark for the longest boot (345 / 2 + 2.8): 0.4 % of it
    worst = max(data["holes"], key=lambda hole: hole["off"])
    assert worst["off"] == pytest.approx(0.7, abs=0.1)


@pytest.mark.usefixtures("as_if_verified")
def test_a_reading_from_half_to_half_is_refused_in_its_own_words(folder, tmp_path, capsys):
    blank = tmp_path / "m.toml"
    main(["printed", str(folder), "--blank", str(blank)])
    blank.write_text(
        blank.read_text(encoding="utf-8")
        + '\n[[distance]]\nbetween = ["toe-1", "heel-1"]\nedges = "outside"\nvalue = 290.1\n',
        encoding="utf-8",
    )
    capsys.readouterr()
    assert main(["printed", str(folder), str(blank), "--json"]) == 2
    [finding] = json.loads(capsys.readouterr().out)["errors"]
    assert finding["code"] == "printer.loose-halves"
    assert "toe-1 and heel-1 are in two halves that are not connected" in finding["message"]
    assert "set on the ski" in finding["hint"]


def test_stations_that_are_not_two_a_half_are_no_jig(folder):
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text(encoding="utf-8"))
    manifest["stations"].pop()
    path.write_text(json.dumps(manifest), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_printout(folder)
    [finding] = caught.value.findings
    assert (finding.code, finding.key) == ("printer.no-jig", "stations")
    assert "1 stations of the body-heel" in finding.message


def test_a_jig_of_which_nothing_can_be_measured_says_so(folder):
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text(encoding="utf-8"))
    kept = {"toe-1", "heel-1"}
    manifest["holes"] = [hole for hole in manifest["holes"] if hole["id"] in kept]
    manifest["guides"] = [guide for guide in manifest["guides"] if guide["id"] in kept]
    for entry in manifest["boots"]:
        entry["x"] = {hole: x for hole, x in entry["x"].items() if hole in kept}
    manifest["drilling"] = drilled(manifest, manifest["holes"])
    path.write_text(json.dumps(manifest), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_printout(folder)
    assert [finding.code for finding in caught.value.findings] == ["printer.no-pairs"]
