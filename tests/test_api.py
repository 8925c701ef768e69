"""The public API: five verbs, typed, and keeping what a pattern says."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from mypy import api as mypy

import jiggen

REPO = Path(__file__).parents[1]


def test_its_names_are_functions_whatever_else_is_imported():
    code = (
        "import jiggen, sys; names = set(sys.modules); "
        "import jiggen.verify, jiggen.layout; from jiggen.verify import check; "
        "assert callable(jiggen.verify) and callable(jiggen.build); "
        "print(not names & {'numpy', 'pydantic', 'cadquery', 'trimesh'})"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "True"
    assert set(jiggen.__all__) >= {"read_pattern", "lay_out", "design_jig", "build", "verify"}


def test_a_caller_s_types_hold():
    out, errors, status = mypy.run(
        [
            "--strict",
            "--config-file",
            str(REPO / "pyproject.toml"),
            str(REPO / "tests/typing/api.py"),
        ]
    )
    assert (status, errors) == (0, ""), out


def test_the_holes_of_the_shortest_script():
    layout = jiggen.lay_out("club-piste", boot=305)
    assert layout.positions.shape == (len(layout.ids), 2)
    # By hand, from patterns/club-piste.toml: half the sole, the group's shift, the hole's x.
    toe = np.array([305 / 2 - 11.4 + 14.2, 17.3])
    assert np.abs(layout.positions - toe).sum(axis=1).min() < 1e-9


def test_a_design_without_the_kernel():
    design = jiggen.design_jig(jiggen.lay_out("hut-plate", boot=305), ski=(84, 112))
    assert [guide.id for body in design.bodies for guide in body.guides]


def test_what_the_pattern_says_holds_in_the_shortest_build(built, folder: Path):
    """Screws and area of the file had to be passed on by the caller, and were lost if not."""
    result = built  # jiggen.build("club-piste", boot=305, ski=(84, 112), out=…)
    inputs = result.record.inputs
    assert jiggen.read_pattern("club-piste").area is not None
    assert set(inputs.screws) == {hole.id for hole in result.record.holes}
    # [screw] of patterns/club-piste.toml, and of a hole that has its own
    assert {(fixing.plate, fixing.lengths) for fixing in inputs.screws.values()} == {
        (6.0, (12.0, 14.0, 16.0)),
        (5.5, (12.0, 14.0, 16.0)),
    }
    assert inputs.ski_in_hand.area is not None
    assert result.record.drilling is not None
    assert all(hole.screw is not None for hole in result.record.drilling.holes)
    assert result.verification.passed
    assert jiggen.verify(result.folder).passed
    (folder / "layout.svg").write_text("another drawing", encoding="utf-8")
    assert not jiggen.verify(folder).passed


def test_bad_input_is_an_error_of_the_family(tmp_path: Path):
    with pytest.raises(jiggen.InputError) as raised:
        jiggen.build("club-piste", boot=0, ski=(84, 112), out=tmp_path / "jig")
    assert isinstance(raised.value, jiggen.JiggenError)
    assert not list(tmp_path.iterdir())
