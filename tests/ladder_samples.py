"""Jigs for many boots to look at: as designs and as manifests, without the CAD kernel."""

from __future__ import annotations

from functools import cache
from typing import Any

from record_samples import halves_data, verified

from jiggen.design import Settings, SkiRange
from jiggen.design.reusable import Reusable, design_reusable
from jiggen.layout import layouts, whole_boots
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.model import Pattern
from jiggen.pattern.read import parse_pattern

WIDE = SkiRange(84.0, 112.0)
MIXED = """
format = 1
name = "Mixed"
boot = [260, 350]
[drill]
diameter = {{ plain = 3.6, metal = 4.1 }}
depth = 9.0
[[group]]
name = "toe"
datum = "boot-toe"
steps = [ {{ from = 260, shift = -12.0 }}, {{ from = 300, shift = {shift} }} ]
  [[group.hole]]
  at = [10.0, 18.0]
  both_sides = true
[[group]]
name = "heel"
datum = "boot-heel"
shift = 7.0
  [[group.hole]]
  at = [20.0, 18.0]
  both_sides = true
[[group]]
name = "middle"
datum = "boot-centre"
shift = 0.0
  [[group.hole]]
  at = [30.0, 12.0]
"""


def mixed(shift: float = -9.0) -> Pattern:
    """Toe, heel, and a group that stands still; the toe's step from 300 on has `shift`."""
    return parse_pattern(MIXED.format(shift=shift), "mixed.toml")


def pattern_named(name: str) -> Pattern:
    return mixed() if name == "mixed" else read_pattern(find_pattern(name))


@cache
def reusable(name: str, least: float = 265.0, most: float = 345.0) -> Reusable:
    over = layouts(pattern_named(name), whole_boots(least, most))
    return design_reusable(over, Settings(WIDE), engraved=False)


@cache
def ladder_manifest(name: str) -> dict[str, Any]:
    """What a build of 265 to 345 mm writes, with a verification that passed."""
    return verified(halves_data(reusable(name)), checks=1900)
