"""An evening as one print job: what is printed once for all jigs, hours, masses, what is bought."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

import pytest
from record_samples import jig_data
from test_evening_plan import HEAD, TERMS

from jiggen.design import Settings, SkiRange
from jiggen.errors import Finding
from jiggen.evening import Outcome, plan_evening
from jiggen.evening.read import read_jobs
from jiggen.job import Job, design_job
from jiggen.pattern import find_pattern, read_pattern
from jiggen.record import JigRecord
from jiggen.report.evening import warnings_of
from jiggen.report.evening.print_job import RATE, print_job


def record(name: str, ski: tuple[float, float], shift: float = 0.0) -> JigRecord:
    """A jig's record; its rails are those of any other jig for the same skis."""
    job = Job(read_pattern(find_pattern(name)), (305.0, 305.0), Settings(SkiRange(*ski)), "plain")
    data = jig_data(design_job(job, engraved=False).whole)
    files = {}
    for part in data["parts"]:
        same = {"rail": f"{ski}", "pinion": "", "knob": ""}.get(part["kind"], f"{name}{shift}")
        content = f"{part['kind']}{part['half']}{same}".encode()
        files[part["file"]] = {"bytes": 9, "sha256": sha256(content).hexdigest()}
    for bed, infill in zip(data["beds"], (30, 100), strict=True):
        bed["advice"] = {"material": "PETG", "layer": 0.2, "walls": 4, "skins": 5, "infill": infill}
    return JigRecord.model_validate(data | {"files": files})


@pytest.fixture(scope="module")
def jigs():
    """The second takes all that moves from the first, the third other rails."""
    return (
        record("hut-plate", (92.0, 106.0)),
        record("hut-plate", (92.0, 106.0), 5.0),
        record("club-piste", (84.0, 112.0)),
    )


@pytest.fixture
def plan(tmp_path, monkeypatch):
    monkeypatch.setattr("jiggen.evening.families.fits", lambda *_: True)
    path = tmp_path / "jobs.csv"
    path.write_text(f"{HEAD}C1,club-piste,305,98,96,,,,\nC2,club-piste,305,98,96,,,,\n")
    return plan_evening(read_jobs(path), TERMS)


def test_what_moves_from_jig_to_jig_is_printed_once(plan, jigs):
    found = print_job(plan, jigs)
    told = [(bed.jig, dict(bed.pieces), dict(bed.left_out)) for bed in found.beds]
    assert told == [
        (1, {"body": 1}, {}),
        (1, {"rail": 4, "pinion": 2, "knob": 2}, {}),
        (2, {"body": 1}, {}),  # its other bed has nothing that is not there
        (3, {"body-toe": 1, "body-heel": 1}, {}),
        (3, {"rail": 4}, {"pinion": 2, "knob": 2}),
    ]
    assert found.spared == 1
    assert found.moved == {
        1: {},
        2: {"rail": 4, "pinion": 2, "knob": 2},
        3: {"pinion": 2, "knob": 2},
    }
    assert {one.what: (one.each, one.shared) for one in found.parts} == {
        "rail, of 2 kinds": (12, 8),
        "pinion": (6, 2),
        "knob": (6, 2),
    }


def test_screws_and_nuts_go_with_what_moves_and_bushes_stay(plan, jigs):
    bought = {one.what: (one.each, one.shared) for one in print_job(plan, jigs).bought}
    # Eight, eight and nine holes; two stations a jig; the joint of the one that is in two halves.
    assert bought["drill bush, headless, press fit 3.6 x 7 x 12 mm (DIN 179)"] == (25, 25)
    assert bought["lock screw, socket head M5 x 25 (ISO 4762)"] == (6, 2)
    assert bought["hexagon nut M5 (ISO 4032)"] == (6, 2)
    assert bought["joint screw, socket head M4 x 20 (ISO 4762)"] == (2, 2)
    assert bought["hexagon nut M4 (ISO 4032)"] == (2, 2)


def test_masses_and_hours_are_those_of_the_pieces_that_are_printed(plan, jigs):
    found = print_job(plan, jigs)
    each = [sum(part.printed * part.count for part in jig.plastic.parts) for jig in jigs]
    assert found.grams == pytest.approx(sum(each))
    mass = {part.name: part.printed for part in jigs[0].plastic.parts}
    spared = 4 * mass["rail"] + 2 * (2 * mass["pinion"] + 2 * mass["knob"])
    assert found.printed == pytest.approx(sum(each) - spared, abs=0.2)
    density = jigs[0].plastic.density  # g/cm3
    assert found.hours == pytest.approx(found.printed / density / RATE)
    # By hand from club-piste: eight holes with screws of 14 and one with 12 mm, on four skis.
    assert found.screws == ((14.0, 32), (12.0, 4))
    said = dict(found.words())
    assert said["Print"].startswith("5 beds, ")
    assert said["Screws"] == "for the skis: 32 of 14 mm, 4 of 12 mm"
    assert "rule of thumb" in said["Hours"]


def test_a_warning_is_said_once_with_the_jigs_it_is_of():
    long, soft = Finding("design.bed-rim", "body is so long"), Finding("x", "softens")
    built = [
        Outcome("built", Path(f"jig-{n}"), warnings=w)
        for n, w in enumerate(((long,), (soft, long)))
    ]
    told = [(one.where, one.message) for one in warnings_of(built)]
    assert told == [("jig 1, 2", "body is so long"), ("jig 2", "softens")]


def test_jigs_that_are_not_built_are_not_counted(plan, jigs):
    found = print_job(plan, (None, jigs[1], None))
    assert found.jigs == 1
    assert [(bed.jig, bed.file) for bed in found.beds] == [(2, "bed-1.3mf"), (2, "bed-2.3mf")]
    assert print_job(plan, (None, None)) is None
