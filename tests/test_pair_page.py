"""The page for the pair in hand, and skis that a jig does not hold."""

from __future__ import annotations

import copy
import math

import pytest
from ladder_samples import ladder_manifest
from record_samples import JIG_MARK, record, redrilled, sheet_pdf
from sheet_samples import shipped

from jiggen.design import Settings, SkiRange
from jiggen.drilling import DrillingLimits, SkiState
from jiggen.errors import CheckFailed, InputError
from jiggen.job import Job
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline.products import plan_jig
from jiggen.record import JigRecord
from jiggen.report.redrill import for_boot
from jiggen.report.sides import rail_readings
from jiggen.verify.reading.pdf import read_pages

MANY = ("club-piste", "step-track", "skew-plate", "old-inch", "mixed")


def pages_of(manifest, **choices):
    return read_pages(sheet_pdf(manifest, **choices))


def words_of(manifest, **choices):
    return " ".join(" ".join(page.text for page in pages_of(manifest, **choices)).split())


def test_the_page_of_a_boot_has_its_line_places_stop_and_screws():
    made = copy.deepcopy(ladder_manifest("club-piste"))
    made["inputs"]["screws"] = {"toe-1": {"plate": 5.0, "lengths": [12.0, 14.0]}}
    said = words_of(made, boot=306.0, ticket="Pair 12")
    assert "Boot sole 306 mm" in said and "Pair 12" in said
    assert f"Jig mark, engraved {JIG_MARK}" in said
    # By hand: 306 is even, two lines of 2 mm from 310 to 300, 1 mm of ski from 305 and from 307.
    assert "toe half: right edge, 2nd line from 310 to 300" in said
    assert "left edge, midway between line 305 and the 1st line to 315" in said
    # By hand from the pattern: 306/2 - 11.4 + 14.2 to the tip, 306/2 - 6.8 - 27.9 to the tail.
    assert "toe-1 155.8 to tip" in said and "heel-1 118.3 to tail" in said
    # By hand: 5 mm of plate, and 0.5 mm short of a hole 9.2 mm deep: 13.7 mm.
    assert "Screws, for one ski: 1 × 12 mm." in said
    assert "345" not in said  # the boot that the jig is drawn for


@pytest.mark.parametrize("name", MANY)
@pytest.mark.parametrize(("paper", "units"), [("A4", "mm"), ("letter", "in")])
def test_it_is_one_page(name, paper, units):
    pages = pages_of(ladder_manifest(name), paper=paper, units=units, boot=303.0)
    assert len(pages) == 1
    assert "page 1 of 1" in pages[0].text


def test_a_jig_for_one_boot_has_the_page_too_and_no_other_boot():
    said = words_of(shipped("club-piste", 305.0), boot=305.0)
    assert "Boot sole 305 mm" in said and "Lay this line" not in said
    with pytest.raises(InputError, match="a boot sole of 305 mm, not 306 mm"):
        sheet_pdf(shipped("club-piste", 305.0), boot=306.0)


@pytest.mark.parametrize(
    ("boot", "message"), [(346.0, "265 to 345 mm, not 346 mm"), (304.8, "no line is for 304.8 mm")]
)
def test_a_boot_without_a_line_is_refused(boot, message):
    with pytest.raises(InputError, match=message):
        sheet_pdf(ladder_manifest("club-piste"), boot=boot)


def narrow(*widths: tuple[float, float]) -> SkiState:
    return SkiState(widths=widths)


@pytest.mark.parametrize("name", ["club-piste", "hut-plate"])
@pytest.mark.parametrize(("width", "held"), [(66.0, False), (130.0, False), (84.0, True)])
def test_a_ski_outside_the_jigs_range_has_no_sheet(name, width, held):
    made = shipped(name)
    if held:
        assert redrilled(made, narrow((150.0, width)), DrillingLimits())
        return
    with pytest.raises(CheckFailed) as caught:
        redrilled(made, narrow((150.0, width)), DrillingLimits())
    found = [one for one in caught.value.findings if one.code == "drilling.ski-range"]
    assert len(found) == 2  # at both stations: it is as wide everywhere, as far as was measured
    assert f"{width:.1f} mm wide" in found[0].message and "84 to 112 mm" in found[0].message


def test_and_none_is_built():
    job = Job(
        read_pattern(find_pattern("club-piste")),
        (305.0, 305.0),
        Settings(SkiRange(84.0, 112.0)),
        measured=narrow((150.0, 66.0)),
    )
    with pytest.raises(CheckFailed, match=r"66\.0 mm wide where the rails touch it"):
        plan_jig(job)


def test_only_the_boot_in_hand_decides_where_the_stations_stand():
    """The ski narrows towards the tail: under a long boot's heel half it is too narrow."""
    made = ladder_manifest("club-piste")
    rear = min(station["x"] for station in made["stations"])
    ski = narrow((rear, 82.0), (rear + 40.0, 90.0))  # 84 mm 10 mm in front of the rear station
    with pytest.raises(CheckFailed, match=r"82\.0 mm wide .* heel rear station"):
        redrilled(made, ski, DrillingLimits())
    found = rail_readings(with_widths(made, ski, 315.0))  # by hand: 15 mm further on, 85 mm
    assert found["heel rear"] == pytest.approx(42.5)


def with_widths(manifest, ski: SkiState, boot: float) -> JigRecord:
    made = record(manifest)
    inputs = made.inputs
    hand = inputs.ski_in_hand.model_copy(update={"widths": ski.widths})
    asked = inputs.model_copy(update={"ski_in_hand": hand})
    return for_boot(made.model_copy(update={"inputs": asked}), boot)


def test_what_the_rails_will_read_is_on_the_page():
    made = ladder_manifest("club-piste")
    ski = narrow((-300.0, 90.0), (300.0, 102.0))  # 2 mm on 100 mm
    used = with_widths(made, ski, 306.0)
    for station in used.stations:
        assert rail_readings(used)[station.name] == pytest.approx((96.0 + station.x / 50) / 2)
    front = next(s for s in used.stations if s.name == "toe front")
    said = words_of(redrilled(made, ski, DrillingLimits()), boot=306.0)
    assert "90 mm at -300, 102 mm at 300 mm from the mark" in said
    assert f"toe front about {(96.0 + front.x / 50) / 2:.1f}" in said


def test_rails_touch_a_sloped_side_lower_where_the_ski_is_wider():
    made = record(shipped("club-piste"))
    inputs = made.inputs.model_copy(update={"sidewall": 20.0})
    sloped = made.model_copy(update={"inputs": inputs}).model_dump(mode="json")
    used = with_widths(sloped, narrow((0.0, 90.0)), 305.0)
    # By hand: 9 mm below the top sheet a side sloped 20° stands out by 9 tan 20°.
    out = 9.0 * math.tan(math.radians(20.0))
    assert list(rail_readings(used).values()) == pytest.approx([45.0 + out] * 2)
