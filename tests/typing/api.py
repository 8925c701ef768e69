"""What a caller's type checker must accept: run by mypy in tests/test_api.py, never executed."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import jiggen
from jiggen.design import Bed, Settings, SkiRange
from jiggen.pattern.model import Pattern

pattern: Pattern = jiggen.read_pattern("club-piste")
positions: NDArray[np.float64] = jiggen.lay_out(pattern, boot=305).positions
ids: tuple[str, ...] = jiggen.lay_out("club-piste", 305, shift=-5, core="metal").ids
layout = jiggen.lay_out(Path("patterns/skew-plate.toml"), boot=305.5, side="right")
design = jiggen.design_jig(layout, ski=(84, 112))
large = Settings(SkiRange(84, 112), bed=Bed(400, 400, 400))
result = jiggen.build(pattern, boot=305, ski=(84, 112), out="out/first", settings=large)
many = jiggen.build(pattern, boot=(265, 345), ski=(84, 112), out=Path("out/many"))
folder: Path = result.folder
holes: list[tuple[str, float, float]] = [(hole.id, hole.x, hole.y) for hole in many.record.holes]
warnings: tuple[jiggen.Finding, ...] = result.warnings
passed: bool = jiggen.verify("out/first").passed
try:
    jiggen.lay_out("club-piste", boot=0)
except jiggen.InputError as error:
    codes: list[str] = [finding.code for finding in error.findings]
