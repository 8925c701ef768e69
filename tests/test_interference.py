"""Parts as written, put together at three ski widths: what the verification looks at, and gaps."""

from __future__ import annotations

import pytest
from assembled import PITCH, TURN, evidence_of, near_ones, ski_of
from sharing import built_once
from test_ladders import build

from jiggen.pipeline.products import build_jig
from jiggen.verify.assembly import Assembly

NOTHING = 1e-3  # mm³: what single precision makes of faces that touch
TOUCHING = {  # kinds that are meant to: pads and noses on the ski, halves at their joint
    frozenset({"body", "ski"}),
    frozenset({"rail", "ski"}),
    frozenset({"body"}),
}


@pytest.fixture(scope="module")
def jig(built):
    return Assembly.of(evidence_of(built.folder))


@pytest.fixture(scope="module")
def halves(tmp_path_factory):
    """The jig for many boots that other tests build."""

    def make(target):
        return build("club-piste", target, by=build_jig)

    return Assembly.of(evidence_of(built_once(tmp_path_factory, "ladders", make).folder))


def kinds(jig, met):
    return frozenset(jig.kinds.get(name, name) for name in (met.one, met.other))


@pytest.mark.parametrize("width", [84.0, 98.0, 112.0])
@pytest.mark.parametrize("which", ["jig", "halves"])
def test_no_two_parts_share_room_on_any_ski(request, which, width):
    jig = request.getfixturevalue(which)
    pieces = jig.at(width, TURN) | {"ski": ski_of(width)}
    met = list(near_ones(jig, pieces))
    assert [one for one in met if one.shared > NOTHING] == []
    close = {pair: one.gap for one in met if (pair := kinds(jig, one)) not in TOUCHING}
    # What must run: pinion in body and between racks, rails in channels, knob on the hexagon.
    names = [("pinion", "body"), ("rail", "pinion"), ("rail", "body"), ("knob", "pinion")]
    assert set(map(frozenset, names)) <= set(close)
    assert all(one.gap > 0.02 for one in met if kinds(jig, one) not in TOUCHING)


def test_the_racks_have_the_backlash_that_was_asked_for(jig, built):
    """A rail can move within a held pinion by the backlash, and no farther."""
    pieces, backlash = jig.at(98.0, TURN), built.record.inputs.backlash

    def meets(rail, by):
        return (pieces[rail].translate((0.0, by, 0.0)) ^ pieces["pinion toe"]).volume() > 1e-6

    for rail in ("rail toe left", "rail toe right"):
        free = [by / 1000 for by in range(-130, 131, 10) if not meets(rail, by / 1000)]
        # To either side half of it; the teeth are chords within 0.02 mm.
        assert max(free) - min(free) == pytest.approx(backlash, abs=0.03)
        assert max(free) == pytest.approx(-min(free), abs=0.02)


def test_a_rail_one_tooth_off_goes_in_all_the_same(jig):
    """Which is why it bears an index line: nothing else stops it."""
    pieces = jig.at(98.0, TURN)
    pieces["rail toe left"] = jig.pieces["rail toe left"].translate((0.0, PITCH, 0.0))
    assert [one for one in near_ones(jig, pieces) if one.shared > NOTHING] == []
    # Half a tooth off is not to be had.
    pieces["rail toe left"] = pieces["rail toe left"].translate((0.0, PITCH / 2, 0.0))
    shared = {(one.one, one.other): one.shared for one in jig.meetings(pieces)}
    assert shared["rail toe left", "pinion toe"] > 10.0
