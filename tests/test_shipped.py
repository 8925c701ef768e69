"""The shipped patterns against what is published of the trade."""

import pytest

from jiggen.layout import lay_out
from jiggen.pattern import read_pattern, shipped_patterns
from jiggen.tables import bush_for, deviation

PATTERNS = [read_pattern(path) for path in shipped_patterns()]


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern.name)
def test_metal_cores_are_drilled_like_the_standards_test_hole(pattern):
    # ISO 6005:1991: test hole 4.1 mm, H12 (+0.12/0), drilled through a hardened bush, 9 mm deep
    # (7 mm in one assembly). A drill of that size up to 0.02 mm under is what h8 allows.
    upper, lower = deviation("H12", 4.1)
    for diameter in lay_out(pattern, 305.0, core="metal").diameters:
        assert 4.1 + lower - 0.02 <= diameter <= 4.1 + upper
    for depth in lay_out(pattern, 305.0).depths:
        assert 6.0 <= depth <= 9.5  # 7.5 to 9.5 mm: common practice, no source; 6 by ISO 6005


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern.name)
def test_plain_cores_are_drilled_as_usual(pattern):
    for diameter in lay_out(pattern, 305.0, core="plain").diameters:
        assert 3.5 <= diameter <= 3.61  # common practice, no source


@pytest.mark.parametrize("drill", [3.6, 4.1])
def test_a_standard_bush_guides_either_drill(drill):
    bush = bush_for(drill)
    assert (bush.outside - drill) / 2 >= 1.5  # a wall that takes being pressed in
    assert bush.lengths


def test_four_kinds_of_pattern_are_shipped():
    assert any({g.datum for g in p.groups} == {"boot-toe", "boot-heel"} for p in PATTERNS)
    assert any({g.datum for g in p.groups} == {"boot-centre"} for p in PATTERNS)
    assert any(p.pair == "mirrored" for p in PATTERNS)
    assert any(g.steps for p in PATTERNS for g in p.groups)
