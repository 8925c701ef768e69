"""A share of the mutations, by a seed; all of them run in ``tests/bench/mutations.py``.

``JIGGEN_SEED=7 pytest tests/test_mutations.py`` tries another share.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from random import Random

import pytest
from mutation import Mutation, caught, every_mutation

import jiggen

SEED = int(os.environ.get("JIGGEN_SEED", "1"))
EDITED, PLANTED = 12, 2


def share() -> list[Mutation]:
    """Some that edit a jig's files, and few that need a jig to be drawn anew."""
    jigs = [one for one in every_mutation() if one.product == "jig" and not one.harmless]
    edits = [one for one in jigs if one.where not in ("solid", "gcode")]
    planted = [one for one in jigs if one.where == "solid"]
    rng = Random(SEED)
    return rng.sample(edits, EDITED) + rng.sample(planted, min(PLANTED, len(planted)))


@pytest.mark.parametrize("mutation", share(), ids=str)
def test_a_mutation_is_caught_by_a_check_that_it_names(mutation: Mutation, built, tmp_path):
    found = caught(mutation, built.folder, tmp_path)
    assert set(found) & set(mutation.caught_by), found


def test_what_mutations_are_made_of_is_good(built):
    assert jiggen.verify(built.folder).passed


def test_each_mutation_says_what_must_catch_it_or_why_nothing_need_to():
    for mutation in every_mutation():
        assert bool(mutation.caught_by) != bool(mutation.harmless), mutation


def test_each_code_of_a_finding_has_a_fault_that_brings_it_out():
    here = Path(__file__).parent
    text = "\n".join(path.read_text(encoding="utf-8") for path in here.glob("*.py"))
    stated = (here.parent / ".docs" / "findings.md").read_text(encoding="utf-8")
    codes = re.findall(r"`verify\.([a-z-]+)`", stated)
    assert len(codes) > 100
    named = set(re.findall(r'["`.](?:gcode-|verify\.)?([a-z]+(?:-[a-z]+)*)\b', text))
    assert [code for code in codes if not {code, code.removeprefix("gcode-")} & named] == []
