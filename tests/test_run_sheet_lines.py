"""Lines to lay on the mark, as an evening's run sheet has them: those of the jig itself."""

from __future__ import annotations

import pytest
from ladder_samples import ladder_manifest, pattern_named
from record_samples import record

from jiggen.design import Settings, SkiRange
from jiggen.evening.halves import halves_of
from jiggen.job import Job


def wanted(name, least=265.0, most=345.0):
    return Job(pattern_named(name), (least, most), Settings(SkiRange(84.0, 112.0)))


def told(name, boot, least=265.0, most=345.0):
    jig = wanted(name, least, most)
    found = {half.name: half.on_the_mark(boot)[0] for half in halves_of(jig)}
    return {name: line and str(line) for name, line in found.items()}


def bands(halves):
    return [band for half in halves for band in half.bands]


@pytest.mark.parametrize("name", ["club-piste", "step-track", "skew-plate", "old-inch", "mixed"])
def test_they_are_those_of_the_jigs_own_sheet_for_every_boot(name):
    jig, made = wanted(name), record(ladder_manifest(name))
    halves = halves_of(jig)
    for setting in made.boot_settings:
        found = {half.name: half.on_the_mark(setting.boot)[0] for half in halves}
        assert {half: one for half, one in found.items() if one} == setting.readings
    engraved = [line.number for one in made.ladders for row in one.rows for line in row.lines]
    assert set(bands(halves)) <= set(engraved)


def test_a_half_that_stands_still_has_no_line_to_choose():
    assert told("mixed", 305.0)["centre"] is None


def test_bands_end_where_the_jigs_boots_end():
    jig = wanted("step-track", 270.0, 304.5)
    assert bands(halves_of(jig)) == ["270-277", "278-305"]
    assert told("step-track", 304.0, 270.0, 304.5)["toe"] == "right, line 278-305"
    # From 281 on no boot moves the toe: its half has one line, and its file is body-centre.
    assert told("step-track", 304.0, 281.0, 304.5)["centre"] is None


@pytest.mark.parametrize(
    ("boot", "whole"),
    [
        (304.8, 305.0),  # 12 in: 0.1 mm of the hole's place from 305
        (305.2, 305.0),
        (303.8, 303.0),  # the heel's step begins at 304 (the pattern file): the boot is before it
        (277.9, 277.0),  # and the toe's at 278
    ],
)
def test_a_boot_between_two_lines_has_the_one_nearer_on_its_side_of_a_step(boot, whole):
    half = "toe" if whole == 277.0 else "heel"
    assert told("step-track", boot)[half] == told("step-track", whole)[half]


@pytest.mark.parametrize(
    ("name", "boot", "off"),
    [
        ("club-piste", 305.0, 0.0),
        ("club-piste", 304.8, 0.1),  # half of what the boot is longer (the pattern file: 0.5)
        ("step-track", 303.8, 0.4),  # before the step at 304: a half of 0.8 mm
        ("hut-plate", 304.5, 0.0),  # no boot moves it
    ],
)
def test_what_a_boot_between_two_lines_costs_is_known(name, boot, off):
    jig = wanted(name)
    offs = [half.on_the_mark(boot)[1] for half in halves_of(jig)]
    assert max(offs, default=0.0) == pytest.approx(off, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "least", "most"), [("club-piste", 305.0, 305.0), ("hut-plate", 265.0, 345.0)]
)
def test_an_ordinary_jig_has_none(name, least, most):
    assert halves_of(wanted(name, least, most)) == ()
