"""Printing plastics: the tables, what they do to a jig, mass, advice and the command."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jiggen.accuracy.budget import jig_budget
from jiggen.accuracy.centring import LIMIT, Loading, centring
from jiggen.accuracy.material import COLDER, effects, movement, softness
from jiggen.accuracy.terms import default_terms
from jiggen.design import Settings, SkiRange, design
from jiggen.errors import InputError
from jiggen.tables.materials import USUAL, material, materials, parked_car

NAMES = ["PLA", "PETG", "ABS", "ASA", "PA", "PC"]


@pytest.fixture(scope="module")
def jig(club_layout):
    return design(club_layout, Settings(ski=SkiRange(84, 112)))


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
    moved = movement(material("PLA"), 190.0)
    assert moved.shrinkage == pytest.approx((0.57, 0.95))
    assert moved.cold == pytest.approx(190 * 101e-6 * 30)
    assert COLDER == 30
    assert moved.swelling is None
    assert movement(material("PA"), 200.0).swelling == pytest.approx((1.0, 3.0))


def test_effects_are_those_at_the_farthest_hole(jig):
    found = effects(jig)
    reaches = np.hypot(*jig.layout.positions.T)
    assert found.hole == jig.layout.ids[int(reaches.argmax())]
    assert found.movement == movement(material("PETG"), float(reaches.max()))


def test_a_rail_bends_by_the_modulus(jig):
    bends = {name: effects(of(jig, name)).bend for name in NAMES}
    for name in NAMES:
        assert bends[name] == pytest.approx(bends[USUAL] * softness(material(name)))
    assert softness(material("PLA")) == pytest.approx(2000 / 2540)  # by the table, by hand
    assert Loading().modulus == Loading.on(USUAL).modulus == 2000


def test_centring_and_budget_are_those_of_the_plastic_asked_for(jig):
    usual = centring(jig)
    for name in NAMES:
        found = centring(of(jig, name))
        # All but the joint's part is bending, loaded and locked.
        bent = found.loaded.sideways - found.joint
        assert bent == pytest.approx(
            (usual.loaded.sideways - usual.joint) * softness(material(name))
        )
        budget = jig_budget(of(jig, name), default_terms())
        parts = [cause.effect[:, 1] for cause in budget.causes if cause.term.name == "centring"]
        assert np.abs(parts).sum(axis=0) == pytest.approx(found.loaded.sideways)


def test_a_plastic_too_soft_for_the_limit_is_refused(club_layout):
    from jiggen.errors import CheckFailed
    from jiggen.report.expect import expect

    wide = design(club_layout, Settings(ski=SkiRange(70, 130)))
    assert (
        centring(wide).loaded.sideways.max()
        < LIMIT
        < centring(of(wide, "PA")).loaded.sideways.max()
    )
    with pytest.raises(CheckFailed, match=r"may lie 0\.26 mm off sideways(.|\n)*stiffer material"):
        expect(of(wide, "PA"))
