"""Printing plastics: the tables, what they do to a jig, mass, advice and the command."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from page_samples import Seen
from shapely.geometry import Polygon

from jiggen.accuracy.budget import jig_budget
from jiggen.accuracy.budget import summarise as budget_summary
from jiggen.accuracy.causes import Print
from jiggen.accuracy.centring import (
    COLDER,
    LIMIT,
    Loading,
    find_centring,
    find_effects,
    find_movement,
    softness,
)
from jiggen.accuracy.terms import default_terms
from jiggen.cli import main
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.plan import worst_error
from jiggen.errors import CheckFailed, InputError
from jiggen.pipeline.products import expect
from jiggen.report.plastics import advice, filled, in_car
from jiggen.report.summary import summary
from jiggen.tables import USUAL, material, materials, parked_car
from jiggen.verify.reading.mesh import Mesh, read_stl
from jiggen.verify.reading.pdf import read_pages

NAMES = ["PLA", "PETG", "ABS", "ASA", "PA", "PC"]


@pytest.fixture(scope="module")
def jig(club_layout):
    return design_jig(club_layout, Settings(ski=SkiRange(84, 112)))


def of(jig, name: str, **settings):
    return replace(jig, settings=replace(jig.settings, material=name, **settings))


# -- the tables ----------------------------------------------------------------------------------


def test_every_plastic_is_whole_and_each_value_has_unit_and_source():
    assert [row.name for row in materials()] == NAMES
    units = ("g/cm3", "%", "1e-6/K", "degC", "degC", "MPa")
    for row in materials():
        spans = (
            *(row.density, row.shrinkage, row.expansion),
            *(row.glass, row.deflection, row.modulus),
        )
        assert tuple(span.unit for span in spans) == units
        assert all(0 < span.low <= span.high and span.source for span in spans)
    assert [row.name for row in materials() if row.swelling] == ["PA"]


# Second opinions, from other sources than the table's own.
@pytest.mark.parametrize(
    ("name", "density", "glass", "modulus"),
    [
        # 3D-Printing-Filament-Properties.md (github.com/aut0maticjack/lazyweb): 3.5 GPa; netzsch
        # polymers page on PLA: 1.21 to 1.43 g/cm³, DSC glass transition 63 °C.
        ("PLA", 1.24, 63, 3500),
        # makeitfrom.com page on PETG: 2.2 GPa, 81 °C; 1.27 g/cm³: generic_petg.xml of an open
        # collection of slicer materials (github.com/Ultimaker/fdm_materials).
        ("PETG", 1.27, 81, 2200),
        # apacinfrastructure.com.au, ABS impact grade: 1.08 g/cm³, 105 to 108 °C, 2.11 GPa.
        ("ABS", 1.08, 105, 2110),
        # generic_asa.xml of the same collection: 1.06 g/cm³; FDM Polymers table A.1: about 100 °C;
        # modulus from memory.
        ("ASA", 1.06, 100, 2300),
        # matbeltrade.com on PA6: 1.14 g/cm³; FDM Polymers table A.1: PA66 dry about 70 °C;
        # additive.tools on PA66 at 50 % humidity: 1.8 GPa.
        ("PA", 1.14, 70, 1800),
        # diracdelta.co.uk on polycarbonate: 1.2 g/cm³, 2.0 to 2.4 GPa; eplastics.in: 147 °C.
        ("PC", 1.20, 147, 2200),
    ],
)
def test_other_sources_lie_within_the_ranges(name, density, glass, modulus):
    row = material(name)
    for span, value in ((row.density, density), (row.glass, glass), (row.modulus, modulus)):
        assert span.low <= value <= span.high


def test_a_part_softens_at_a_stated_load_no_later_than_at_its_glass_transition_if_amorphous():
    # Heat deflection of an unfilled amorphous plastic lies below its glass transition (from
    # memory); nylon is partly crystalline and holds on beyond it.
    for row in materials():
        assert (row.deflection.low <= row.glass.high) == (row.name != "PA")


def test_a_plastic_is_found_in_any_letters_and_an_unknown_one_lists_the_known():
    assert material(" petg ") is material("PETG")
    with pytest.raises(InputError, match=r'no material "wood".*\n.*PLA, PETG, ABS, ASA, PA, PC'):
        material("wood")
    with pytest.raises(InputError, match="wood"):
        Settings(ski=SkiRange(84, 112), material="wood").check()


def test_parked_cars_by_their_fahrenheit():
    # Vanos et al. 2018 in the university's release: 157 °F dashboard, 123 °F seat; Grundstein et
    # al. 2009, abstract: 68 °C on clear summer days on average, 76 °C at most.
    found = [car.temperature for car in parked_car()]
    assert found == [round((123 - 32) / 1.8), 68, round((157 - 32) / 1.8), 76]


# -- what it does to a jig -----------------------------------------------------------------------


def test_movement_by_hand():
    # The issue's own example: 0.3 % over 190 mm is 0.57 mm.
    moved = find_movement(material("PLA"), 190.0)
    assert moved.shrinkage == pytest.approx((0.57, 0.95))
    assert moved.cold == pytest.approx(190 * 101e-6 * 30)
    assert COLDER == 30
    assert moved.swelling is None
    assert find_movement(material("PA"), 200.0).swelling == pytest.approx((1.0, 3.0))


def test_effects_are_those_at_the_farthest_hole(jig):
    found = find_effects(jig)
    reaches = np.hypot(*jig.layout.positions.T)
    assert found.hole == jig.layout.ids[int(reaches.argmax())]
    assert found.movement == find_movement(material("PETG"), float(reaches.max()))


def test_a_rail_bends_by_the_modulus(jig):
    bends = {name: find_effects(of(jig, name)).bend for name in NAMES}
    for name in NAMES:
        assert bends[name] == pytest.approx(bends[USUAL] * softness(material(name)))
    assert softness(material("PLA")) == pytest.approx(2000 / 2540)  # by the table, by hand
    assert Loading().modulus == material(USUAL).modulus.low == 2000


def test_centring_and_budget_are_those_of_the_plastic_asked_for(jig):
    usual = find_centring(jig)
    ends = (station.x for station in jig.stations)
    joint = worst_error(jig.layout.positions[:, 0], *ends, 0.0, jig.joint.play)
    for name in NAMES:
        found = find_centring(of(jig, name))
        # All but the joint's part is bending, loaded and locked.
        bent = found.loaded - joint
        assert bent == pytest.approx((usual.loaded - joint) * softness(material(name)))
        budget = jig_budget(of(jig, name), default_terms())
        parts = [cause.effect[:, 1] for cause in budget.causes if cause.term.name == "centring"]
        assert np.abs(parts).sum(axis=0) == pytest.approx(found.loaded)


def test_a_plastic_too_soft_for_the_limit_is_refused(club_layout):
    wide = design_jig(club_layout, Settings(ski=SkiRange(70, 130)))
    assert find_centring(wide).loaded.max() < LIMIT < find_centring(of(wide, "PA")).loaded.max()
    with pytest.raises(CheckFailed, match=r"may lie 0\.26 mm off sideways(.|\n)*stiffer material"):
        expect(of(wide, "PA"))


# -- mass ----------------------------------------------------------------------------------------


def sliced(mesh: Mesh, infill: float, wall=1.8, skin=1.0, layer=0.5) -> float:
    """How many mm³ become plastic, layer by layer as a slicer does it (a second opinion).

    What lies deeper than `wall` within a layer, and that far within the layers `skin` under and
    over it, is filled by `infill` %.
    """
    heights = np.arange(layer / 2, mesh.vertices[:, 2].max(), layer) + 1e-4
    areas = [region(mesh, z) for z in heights]
    count, total = round(skin / layer), 0.0
    for index, area in enumerate(areas):
        inner = area.buffer(-wall)
        for other in (*range(index - count, index), *range(index + 1, index + count + 1)):
            inner = inner.intersection(areas[other]) if 0 <= other < len(areas) else Polygon()
        total += (area.area - inner.area * (1 - infill / 100)) * layer
    return total


def region(mesh: Mesh, z: float) -> Polygon:
    """The material at height `z`: outlines less holes."""
    found = Polygon()
    for loop in mesh.section(z):
        found = found.symmetric_difference(Polygon(loop))
    return found


def test_masses_are_the_volumes_of_the_files_by_the_density(built):
    found = built.record.values()["plastic"]
    assert found["name"] == "PETG"
    assert found["density"] == pytest.approx((1.25 + 1.29) / 2)  # g/cm³, the table's, by hand
    counts = {part["name"]: part["count"] for part in built.record.values()["parts"]}
    assert {part["name"]: part["count"] for part in found["parts"]} == counts
    for part in found["parts"]:
        solid = trimesh.load(built.folder / "parts" / f"{part['name']}.stl")
        assert part["solid"] == pytest.approx(solid.volume / 1000 * 1.27, rel=1e-3, abs=0.051)
    for kind in ("solid", "printed"):
        assert found[kind] == pytest.approx(
            sum(part["count"] * part[kind] for part in found["parts"]), abs=0.051
        )


def test_the_estimate_of_what_is_printed_is_near_a_slicer_s(built):
    for part in built.record.values()["plastic"]["parts"]:
        if part["infill"] == 100:
            assert part["printed"] == part["solid"]
            assert part["name"] in ("rail", "pinion")
            continue
        mesh = read_stl(built.folder / "parts" / f"{part['name']}.stl")
        ratio = part["printed"] / (sliced(mesh, part["infill"]) * 1.27e-3)
        assert 1.0 <= ratio < 1.09  # corners count twice, so never less


def test_a_block_by_hand():
    # 100 × 40 × 14 mm: sides 280 × 14 mm² under 1.8 mm, top and bottom 2 × 4000 mm² under 1 mm.
    block = trimesh.creation.box(extents=(100.0, 40.0, 14.0))
    mesh = Mesh(block.vertices, block.faces)
    shell = 280 * 14 * 1.8 + 8000 * 1.0
    assert filled(56000.0, mesh, 30) == pytest.approx(shell + 0.3 * (56000 - shell))
    assert filled(56000.0, mesh, 100) == pytest.approx(56000)
    assert filled(900.0, mesh, 30) == 900.0  # thinner than its shell: all plastic


# -- advice --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "kept", "words"),
    [
        ("PLA", "no", "softens from 55 °C, and 68 °C were measured inside on a clear summer day"),
        ("PETG", "hot days", "softens from 70 °C, and 76 °C were measured inside on the hottest"),
        ("ABS", "yes", "Keeps its shape in a parked car: it softens from 90 °C"),
        ("ASA", "yes", "Keeps its shape in a parked car: it softens from 90 °C"),
        ("PA", "limp", "limp from 60 °C: let it cool"),
        ("PC", "yes", "Keeps its shape in a parked car: it softens from 135 °C"),
    ],
)
def test_advice_on_parked_cars(jig, name, kept, words):
    assert in_car(material(name)) == kept
    said = advice(material(name), find_effects(of(jig, name)))
    assert any(words in line for line in said)
    assert any("ABS, ASA and PC keep" in line for line in said) == (kept in ("no", "hot days"))


@pytest.mark.parametrize("name", NAMES)
def test_advice_has_the_jig_s_own_numbers(jig, name):
    found = find_effects(of(jig, name))
    said = " ".join(advice(material(name), found))
    least, most = found.movement.shrinkage
    assert f"heel-3, 163 mm from the mark, would be {least:.2f} to {most:.2f} mm off" in said
    assert f"heel-3 comes {found.movement.cold:.2f} mm nearer the mark" in said
    assert f"20 N a solid rail gives {found.bend:.1f} mm" in said
    assert ("takes up moisture" in said) == (name == "PA")


# -- page, sheet, summary, commands --------------------------------------------------------------


def test_page_sheet_and_summary_name_mass_and_advice(built):
    plastic = built.record.values()["plastic"]
    page = Seen((built.folder / "report.html").read_text(encoding="utf-8")).text
    sheet = " ".join(read.text for read in read_pages((built.folder / "sheet.pdf").read_bytes()))
    for text in (page, " ".join(sheet.split())):
        assert "Printing in PETG" in text
        for part in plastic["parts"]:
            row = f"{part['name']} {part['count']} {part['volume'] / 1000:.1f} cm³"
            assert f"{row} {part['solid']:.0f} g {part['printed']:.0f} g" in text
        assert f"{plastic['solid']:.0f} g {plastic['printed']:.0f} g" in text
        assert all(line in text for line in plastic["advice"])
    said = summary(built.record, built.verification, built.folder)
    assert f"PETG, about {plastic['printed']:.0f} g with 4 walls and 30 % infill" in said
    assert "rails and pinions solid" in said
    assert "Take it out of the car on hot days" in said


def test_the_command_compares(capsys):
    assert main(["materials"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[1:7]] == NAMES
    assert "0.57–0.95 mm" in lines[1]  # 0.3 % over 190 mm: the example
    assert lines[1].endswith("55 °C    softens")
    assert max(map(len, lines)) <= 100


def test_the_command_tells_all_of_one_with_its_sources(capsys):
    assert main(["materials", "asa"]) == 0
    said = capsys.readouterr().out
    row = material("ASA")
    assert said.startswith("ASA\n")
    for span in (row.density, row.shrinkage, row.expansion, row.glass, row.deflection, row.modulus):
        assert span.source in said
    assert all(car.source in said for car in parked_car())


def test_the_command_as_json(capsys):
    assert main(["materials", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["usual"] == "PETG"
    assert [row["name"] for row in data["materials"]] == NAMES
    first = data["materials"][0]
    assert first["movement"]["shrinkage"] == pytest.approx([0.57, 0.95])
    assert first["modulus"]["source"]
    assert main(["materials", "pc", "--json"]) == 0
    assert [r["name"] for r in json.loads(capsys.readouterr().out)["materials"]] == ["PC"]


@pytest.mark.parametrize(
    "words",
    [
        ["materials", "wood"],
        ["build", "club-piste", "--boot", "305", "--ski", "84-112", "--material", "wood"],
        ["accuracy", "club-piste", "--boot", "305", "--ski", "84-112", "--material", "wood"],
    ],
)
def test_an_unknown_plastic_is_refused_before_anything_is_done(
    words, tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    assert "Known: PLA, PETG, ABS, ASA, PA, PC" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_accuracy_reckons_with_the_plastic_asked_for(jig, capsys):
    job = ["accuracy", "club-piste", "--boot", "305", "--ski", "84-112", "--json"]
    assert main([*job, "--material", "pla"]) == 0
    terms = json.loads(capsys.readouterr().out)["jig"]["terms"]

    def budget_of(design):
        found = jig_budget(design, default_terms(), known=Print(checked=True))
        return budget_summary(found).model_dump(mode="json")["terms"]

    assert terms == budget_of(of(jig, "PLA")) != budget_of(jig)
    assert any("101 µm/m" in term["size"] for term in terms)  # PLA's most, by the table


def test_a_build_that_would_bend_too_far_is_refused_and_writes_nothing(tmp_path, capsys):
    out = tmp_path / "jig"
    job = ["build", "club-piste", "--boot", "305", "--ski", "70-130", "--out", str(out)]
    assert main([*job, "--material", "PA"]) == 1
    assert "(--material, --rail-depth, --ski, --bed)" in capsys.readouterr().err
    assert not out.exists()
