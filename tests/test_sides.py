"""Skis whose sides are not upright: how wide they are where, and what lifts the jig off them."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from record_samples import record
from sheet_samples import manifest

from jiggen.accuracy.centring import Loading
from jiggen.accuracy.lift import HELD, find_lift, lift_force
from jiggen.cli import main
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design import plan as plans
from jiggen.design.pieces import list_pieces
from jiggen.design.sidewall import BEARING, RADIUS, bearing_half_width, compare_widths, slope_at
from jiggen.errors import InputError
from jiggen.evening.check import _measured
from jiggen.evening.read import Row
from jiggen.job import Job, obstacles
from jiggen.pattern import find_pattern, read_pattern
from jiggen.report.sheet.bench import _steps
from jiggen.report.sides import about_ski
from jiggen.verify.printing import checks_of
from jiggen.verify.reading.entries import PrintBed
from jiggen.verify.reading.mesh import Mesh

SKIS = SkiRange(84, 112)
NOSES = 4


def lift_by_equations(slope: float, force: float, friction: float) -> float:
    """Lift of one nose from its two equations of balance, solved for N and the lift."""
    s, c = math.sin(math.radians(slope)), math.cos(math.radians(slope))
    #                level: N·c + μN·s = F     upright: N·s - μN·c - lift = 0
    _, lift = np.linalg.solve([[c + friction * s, 0.0], [s - friction * c, -1.0]], [force, 0.0])
    return float(lift)


@pytest.mark.parametrize("slope", [15.0, 20.0, 30.0, 40.0])
@pytest.mark.parametrize("friction", [0.1, 0.25])
def test_the_lift_balances_the_forces_on_a_nose(slope, friction):
    wanted = NOSES * max(0.0, lift_by_equations(slope, 20.0, friction))
    assert lift_force(slope, NOSES, Loading(friction=friction)) == pytest.approx(wanted)


def test_the_lift_of_four_noses_by_hand():
    # 4·20 N·tan(20° - 14.04°) and of 30° - 14.04°; at 14° friction holds the jig alone.
    assert lift_force(20.0, NOSES, Loading()) == pytest.approx(8.4, abs=0.05)
    assert lift_force(30.0, NOSES, Loading()) == pytest.approx(22.9, abs=0.05)
    assert lift_force(14.0, NOSES, Loading()) == 0.0


def test_widths_compared_by_hand():
    # 5 mm below the nose, 9 above it: 2·5·tan 30° and 2·9·tan 30°.
    top, base = compare_widths(30.0, 9.0, 14.0)
    assert (round(top, 1), round(base, 1)) == (10.4, -5.8)
    assert compare_widths("upright", 9.0, 14.0) == (0.0, 0.0)


@pytest.mark.parametrize("depth", [5.0, 7.5, 9.0])
def test_a_rounded_side_slopes_like_its_circle(depth):
    def out(z: float) -> float:  # x² + (z - R)² = R², z down from the top sheet
        return math.sqrt(RADIUS**2 - (z - RADIUS) ** 2)

    step = 1e-5
    steep = (out(depth + step) - out(depth - step)) / (2 * step)
    assert math.tan(math.radians(slope_at("rounded", depth))) == pytest.approx(steep, rel=1e-6)
    assert compare_widths("rounded", depth, 14.0)[1] == pytest.approx(2 * (out(depth) - RADIUS))
    assert slope_at("rounded", RADIUS + 1) == 0.0


def test_a_side_that_a_light_clamp_cannot_hold_is_refused_with_the_steepest_served():
    job = Job(read_pattern(find_pattern("club-piste")), (305.0, 305.0), Settings(SKIS))

    def found(sidewall, depth=9.0):
        settings = replace(job.settings, sidewall=sidewall, rail_depth=depth)
        return find_lift(settings), settings

    steep, settings = found(41.0)
    (finding,) = steep.findings
    assert finding.code == "accuracy.lift" and "up to 40°" in finding.hint
    assert finding in obstacles(replace(job, settings=settings))
    served, _ = found(40.0)
    assert served.findings == () and served.force < HELD
    assert found("rounded")[0].force == 0.0
    assert found("rounded", 5.0)[0].force == pytest.approx(lift_force(30.0, NOSES, Loading()))


def test_a_slope_that_no_side_has_is_refused():
    with pytest.raises(InputError, match="sloped 46° off upright"):
        Settings(SKIS, sidewall=46.0).check()


@pytest.mark.parametrize("side", ["upright", "rounded", 10.0, 20.0])
def test_strips_lie_on_the_top_sheet_of_the_narrowest_ski(club_layout, side):
    settings = Settings(SkiRange(75, 100), sidewall=side)
    jig = design_jig(club_layout, settings)
    carried = bearing_half_width(side, 9.0, 75.0)
    # By hand for 20°: the top sheet is 2·9·tan 20° = 6.6 mm narrower than the ski at the nose.
    if side == 20.0:
        assert carried == pytest.approx(37.5 - 3.28, abs=0.005)
    assert carried - (jig.half_width - plans.STRIP) >= BEARING - 1e-9


def test_what_is_held_down_is_the_lift_less_the_weight_of_what_was_printed(built):
    made = built.record
    assert made.hold.lift == made.hold.press == 0.0
    moving = sum(p.count * p.printed for p in made.plastic.parts)
    assert made.hold.weight == pytest.approx(moving / 1000 * 9.81, abs=0.01)
    assert made.hold.weight == pytest.approx(3.0, abs=0.7)


def test_force_and_order_stand_on_the_sheet():
    upright = record(manifest("club-piste"))
    hold = upright.hold.model_copy(update={"slope": 20.0, "lift": 8.36, "press": 5.85})
    inputs = upright.inputs.model_copy(update={"sidewall": 20.0})
    sloped = upright.model_copy(update={"hold": hold, "inputs": inputs})
    steps = "\n".join(_steps(sloped))
    order = ["clamp it lightly (6 newton)", "turn the knobs", "lock screws", "Clamp the jig down"]
    assert sorted(order, key=steps.index) == order
    words = " ".join(about_ski(sloped))
    assert "clamp it lightly before you turn the knobs: 6 newton" in words
    assert "3.6 mm narrower there than at its base" in words
    plain = " ".join(about_ski(upright))
    assert "newton" not in plain and "9 mm below the top sheet" in plain


def test_where_the_width_is_measured_is_said_wherever_it_is_asked(capsys, built):
    assert main(["build", "--help"]) == 0
    assert "below the top sheet" in " ".join(capsys.readouterr().out.split())
    words = ("accuracy", "club-piste", "--boot", "305", "--ski", "84-112", "--rail-depth", "8")
    assert main([*words, "--sidewall", "30"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "measured 8 mm below the top sheet" in told
    assert "6.9 mm narrower there than at its base" in told  # 2·6·tan 30°
    page = (built.folder / "report.html").read_text()
    assert "84–112 mm, 9 mm below the top sheet" in page


def test_a_defaults_file_sets_side_and_depth(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "jiggen-defaults.toml").write_text("sidewall = 15\nrail-depth = 7\n")
    assert main(["accuracy", "club-piste", "--boot", "305", "--ski", "84-112", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["sidewall"], data["rail_depth"]) == (15.0, 7.0)


def test_an_evening_checks_edges_by_the_top_sheet(club_layout):
    row = Row.model_construct(ski_toe=100.0, ski_heel=98.0, thickness=())
    upright, sloped = (
        [
            _measured(row, club_layout, Settings(SKIS, sidewall=side))[column].widths[0][1]
            for column in ("ski_heel", "ski_toe")
        ]
        for side in ("upright", 30.0)
    )
    assert upright == [98.0, 100.0]
    # By hand: 2·9·tan 30° = 10.4 mm narrower at the top sheet than at the noses.
    assert sloped == pytest.approx([87.61, 89.61], abs=0.005)


@pytest.mark.parametrize("depth", [5.0, 20.0])
def test_rails_of_any_depth_print_as_they_lie_and_touch_first_at_their_foot(club_layout, depth):
    from jiggen.solid.body import make_rail
    from jiggen.solid.model import Part, mesh_of

    jig = design_jig(club_layout, Settings(SKIS, rail_depth=depth))
    (piece,) = (piece for piece in list_pieces(jig) if piece.kind == "rail")
    points, triangles = mesh_of(Part(piece, make_rail(jig.mechanism.rail), 0.0))
    checks = checks_of(Mesh(points, triangles), PrintBed(x=220, y=220, z=250))
    assert [name for name, check in checks.items() if not check.passed] == []
    back = np.linalg.inv(piece.to_bed)
    x, y, z = (points @ back[:3, :3].T + back[:3, 3]).T
    assert z.min() == pytest.approx(-depth, abs=1e-5)
    # A side that leans out by a degree: of the nose, below the top sheet, the foot comes nearest.
    below = z < 0
    gap = y - math.tan(math.radians(1.0)) * -z
    nearest = np.flatnonzero(below)[gap[below].argmin()]
    assert (x[nearest], y[nearest], z[nearest]) == pytest.approx((0.0, 0.0, -depth), abs=1e-4)
