import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate
from scipy.special import erf
from simulation import drill

from jiggen.accuracy.budget import (
    Budget,
    boot_budgets,
    group_spacing,
    jig_budget,
    over_limit,
    radius_holding,
    sheet_budget,
    summarise,
)
from jiggen.accuracy.causes import Cause, Print
from jiggen.accuracy.centring import find_centring
from jiggen.accuracy.terms import DIVISORS, Term, default_terms, read_terms
from jiggen.design import Bush, Settings, SkiRange, design_jig
from jiggen.design.guides import design_guides
from jiggen.design.plan import design_joint, worst_error
from jiggen.design.reusable import design_reusable
from jiggen.errors import InputError
from jiggen.job import known_print
from jiggen.layout import Layout, layouts
from jiggen.measure.printer.jig import Body as PrintedBody
from jiggen.measure.printer.jig import PrintedJig, Rigid
from jiggen.measure.printer.profile import Profile, Uncertainties
from jiggen.pattern import find_pattern, read_pattern
from jiggen.tables import before_measured

TERMS, CHECKED = default_terms(), Print(checked=True)


def holes(points, depth=9.0):
    n = len(points)
    return Layout(
        pattern="Arvenal Test",
        boot=305.0,
        mount_shift=0.0,
        core="plain",
        side="left",
        pair="same",
        ids=tuple(f"h-{i + 1}" for i in range(n)),
        groups=("h",) * n,
        positions=np.array(points, dtype=float),
        diameters=np.full(n, 3.6),
        depths=np.full(n, depth),
    )


def cause(effect, distribution="uniform", draw="shared", name="t"):
    return Cause(Term(name, "", distribution, ""), draw, np.array(effect, dtype=float))


def of(causes, points=((0.0, 0.0),)):
    return Budget("jig", holes(points), tuple(causes))


def only(method, name, budget):
    """The budget with one of its terms alone."""
    causes = tuple(c for c in budget.causes if c.term.name == name)
    assert causes, name
    return Budget(method, budget.layout, causes)


@pytest.fixture(scope="module")
def jig(club_layout):
    return design_jig(club_layout, Settings(ski=SkiRange(84, 112)))


# --- the rules of addition ---


@pytest.mark.parametrize(
    ("tolerances", "worst", "rss"),
    [
        # Published tolerance-stack examples, as kept in the project's reference notes
        # (standards.md, "Least squares and stacks"): ten parts of ± 0.1, and three parts.
        ([0.1] * 10, 1.0, 0.316),
        ([0.20, 0.10, 0.15], 0.45, 0.269),
    ],
)
@pytest.mark.parametrize("distribution", list(DIVISORS))
def test_published_stacks_add_up(tolerances, worst, rss, distribution):
    budget = of([cause([[t, 0.0]], distribution) for t in tolerances])
    assert budget.worst[0] == pytest.approx([worst, 0.0, worst])
    # Parts of one distribution: the root sum of squares of the tolerances is the deviation's
    # own multiple, whichever that is.
    assert budget.deviation[0, 0] * DIVISORS[distribution] == pytest.approx(rss, abs=5e-4)


@pytest.mark.parametrize(
    ("distribution", "density", "divisor"),
    [
        # Divisors: JCGM 100:2008, 4.3.7 (√3) and 4.3.9 (√6), from memory; arcsine √2 from
        # memory (JCGM 101:2008, 6.4.6). Densities on -1 to 1 by their definitions.
        ("uniform", lambda u: 0.5, math.sqrt(3)),
        ("triangular", lambda u: 1 - abs(u), math.sqrt(6)),
        ("arcsine", None, math.sqrt(2)),
    ],
)
def test_divisors_are_those_of_the_densities(distribution, density, divisor):
    if density:
        variance = integrate.quad(lambda u: u * u * density(u), -1, 1, points=[0])[0]
    else:  # 1 / (π √(1 - u²)) is infinite at ± 1: quad knows that weight
        ends = {"weight": "alg", "wvar": (-0.5, -0.5)}
        variance = integrate.quad(lambda u: u * u / math.pi, -1, 1, **ends)[0]
    assert 1 / math.sqrt(variance) == pytest.approx(divisor, rel=1e-6)
    assert DIVISORS[distribution] == pytest.approx(divisor)


def test_a_normal_term_counts_three_sigma_in_the_worst_case():
    budget = of([cause([[0.3, 0.0]], "normal", "each")])
    assert budget.deviation[0, 0] == pytest.approx(0.1)
    assert budget.worst[0, 0] == pytest.approx(0.3)
    assert budget.expected[0, 0] == pytest.approx(0.196, abs=1e-4)  # 1.96 sigma, from memory


def test_worst_radius_of_coupled_square_and_round_causes():
    assert of([cause([[3.0, 4.0]])]).worst[0, 2] == pytest.approx(5.0, rel=1e-5)
    square = [cause([[3.0, 0.0]]), cause([[0.0, 4.0]])]
    assert of(square).worst[0, 2] == pytest.approx(5.0, rel=1e-5)
    leaning = cause([[2.0, 2.0]], "arcsine", "round")
    assert of([leaning]).worst[0, 2] == pytest.approx(2.0)
    assert of([*square, leaning]).worst[0, 2] == pytest.approx(7.0, rel=1e-5)
    # Two that pull apart: (1, 1) and (1, -1) never reach (2, 2).
    apart = [cause([[1.0, 1.0]]), cause([[1.0, -1.0]])]
    assert of(apart).worst[0, 2] == pytest.approx(2.0, rel=1e-5)


def test_a_round_cause_is_uncorrelated_and_a_coupled_one_is_not():
    leaning = of([cause([[0.2, 0.2]], "arcsine", "round")])
    assert leaning.blocks[0] == pytest.approx(0.02 * np.eye(2))
    coupled = of([cause([[0.3, -0.6]])])
    assert coupled.blocks[0] == pytest.approx(np.array([[0.03, -0.06], [-0.06, 0.12]]))


def test_radius_holding_95_percent():
    blocks = np.array([np.eye(2), np.diag([1.0, 0.0]), np.zeros((2, 2))])
    # √(-2 ln 0.05) of a round normal scatter (Rayleigh), 1.95996 of one in a line: from memory.
    assert radius_holding(blocks) == pytest.approx([2.44775, 1.95996, 0.0], abs=1e-4)


@pytest.mark.parametrize("other", [0.9, 0.5, 0.1])
def test_radius_holding_against_another_integral(other):
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    radius = radius_holding(turn @ np.diag([1.0, other**2]) @ turn.T[None])[0]

    def strip(x):
        half = math.sqrt(radius**2 - x * x)
        return math.exp(-x * x / 2) / math.sqrt(2 * math.pi) * erf(half / other / math.sqrt(2))

    assert integrate.quad(strip, -radius, radius)[0] == pytest.approx(0.95, abs=1e-6)


def test_spacing_keeps_what_holes_share():
    points = np.array([[0.0, 0.0], [30.0, 40.0]])
    together = of([cause([[0.5, 0.2], [0.5, 0.2]])], points)
    assert together.spacing_deviation == pytest.approx(np.zeros((2, 2)), abs=1e-7)
    own = of([cause([[0.3, 0.0], [0.3, 0.0]], draw="each")], points)
    # Each moves by 0.3/√3 in x, of which 30/50 lies along the line between them.
    wanted = math.sqrt(2) * 0.3 / math.sqrt(3) * 0.6
    assert own.spacing_deviation[0, 1] == pytest.approx(wanted)
    assert own.spacing_deviation.diagonal() == pytest.approx([0, 0])


# --- the jig's causes ---


def test_print_scale_grows_from_mark_and_centre_line(jig):
    found = only("jig", "print scale", jig_budget(jig, TERMS, known=CHECKED))
    # 0.1 on 100 of the 145 mm along, and at least 0.12 of the 68 mm across.
    expected = np.abs(jig.layout.positions) * np.array([0.145, 0.12]) / np.array([145.0, 68.0])
    assert found.worst[:, :2] == pytest.approx(expected)
    assert found.deviation[:, :2] == pytest.approx(expected / math.sqrt(3))
    read = only("jig", "caliper on the print", jig_budget(jig, TERMS, known=CHECKED))
    assert read.worst[:, :2] == pytest.approx(expected * 0.1 / np.array([0.145, 0.12]))


def test_without_a_notch_no_check_can_pass(jig):
    bare = replace(jig, bodies=tuple(replace(body, notch=None) for body in jig.bodies))
    unmeasured, checked = (jig_budget(bare, TERMS, known=Print(one)) for one in (False, True))
    assert checked.expected == pytest.approx(unmeasured.expected)


def test_scale_alone_changes_a_distance_by_its_part(club_layout):
    layout = replace(club_layout, positions=np.column_stack([np.arange(9) * 10.0, np.zeros(9)]))
    found = only("sheet", "print scale", sheet_budget(layout, TERMS))
    assert found.spacing_deviation[0, 8] == pytest.approx(80 * 0.002 / math.sqrt(3))


def test_thermal_growth_by_hand(jig):
    found = only("jig", "room temperature", jig_budget(jig, TERMS))
    # PETG's 68e-6 mm per mm and °C (makeitfrom.com), 10 °C either way (terms.toml).
    assert found.worst[:, :2] == pytest.approx(np.abs(jig.layout.positions) * 68e-6 * 10)


def test_another_material_grows_otherwise_until_it_is_measured(jig, tmp_path):
    nylon = replace(jig, settings=replace(jig.settings, material="PA"))
    # Unfilled nylon, printed: up to 175e-6 mm per mm and °C (Faust et al. 2021).
    found = only("jig", "room temperature", jig_budget(nylon, TERMS))
    assert found.worst[:, :2] == pytest.approx(np.abs(jig.layout.positions) * 175e-6 * 10)
    file = tmp_path / "mine.toml"
    file.write_text("[jig.thermal]\nexpansion = 100e-6\n")
    stated = only("jig", "room temperature", jig_budget(nylon, read_terms(file)))
    assert stated.worst[:, :2] == pytest.approx(np.abs(jig.layout.positions) * 100e-6 * 10)


def test_the_drill_leans_by_the_bush_clearance(jig):
    found = only("jig", "drill in its guide", jig_budget(jig, TERMS))
    # ISO 286-2: F7 over 3 up to 6 mm is +22/+10 µm, h8 is 0/-18 µm: 40 µm at most.  The bush is
    # 12 mm long and ends 2.0 mm above the ski; the hole is 9.2 mm deep (7.4 mm at toe-5).
    deep = 0.020 + 0.040 / 12 * (2.0 + 9.2 / 2)
    shallow = 0.020 + 0.040 / 12 * (2.0 + 7.4 / 2)
    index = jig.layout.ids.index("toe-5")
    wanted = np.full(9, deep)
    wanted[index] = shallow
    assert found.worst[:, 2] == pytest.approx(wanted)
    assert found.deviation[:, 0] == pytest.approx(wanted / math.sqrt(2))


def with_bush(jig, bush):
    """The same jig with other guides: `design` itself would take its time over the engraving."""
    settings = replace(jig.settings, bush=bush)
    guides = {guide.id: guide for guide in design_guides(jig.layout, settings)}
    bodies = tuple(replace(b, guides=tuple(guides[g.id] for g in b.guides)) for b in jig.bodies)
    return replace(jig, settings=settings, bodies=bodies)


def test_without_bushes_the_print_guides_and_seats_nothing(jig):
    budget = jig_budget(with_bush(jig, "none"), TERMS)
    assert "bush in its pocket" not in {term.name for term in budget.shares}
    # Guide 0.15 mm wider than the drill and that 0.018 mm thinner, from 0.6 to 13.5 mm height.
    clearance, length = 0.168, 14.0 - 0.5 - 0.6
    found = only("jig", "drill in its guide", budget)
    assert found.worst[0, 2] == pytest.approx(clearance / 2 + clearance / length * (0.6 + 9.2 / 2))


def test_a_longer_bush_leans_less(jig):
    budgets = [jig_budget(with_bush(jig, Bush(7, length)), TERMS) for length in (8, 12)]
    short, long = (only("jig", "drill in its guide", b).worst[0, 2] for b in budgets)
    assert long < short


def test_centring_reaches_its_bound_at_every_hole(jig):
    bound = np.linspace(0.1, 0.2, len(jig.layout))
    found = only("jig", "centring", jig_budget(jig, TERMS, bound))
    assert found.worst[:, 1] == pytest.approx(bound)
    default = only("jig", "centring", jig_budget(jig, TERMS))
    assert default.worst[:, 1] == pytest.approx(find_centring(jig).loaded)


def test_centring_moves_near_holes_together_and_far_ones_less(jig):
    found = only("jig", "centring", jig_budget(jig, TERMS))
    y = found.covariance[:, 1, :, 1]
    correlation = y / np.sqrt(np.outer(y.diagonal(), y.diagonal()))
    ids = jig.layout.ids
    toe, heel = ids.index("toe-1"), ids.index("heel-4")
    assert correlation[toe, ids.index("toe-2")] == pytest.approx(1.0)
    assert correlation[toe, heel] < 0.2


def test_the_joints_share_of_the_centring_is_the_designs(jig):
    nothing_else = worst_error(jig.layout.positions[:, 0], -140.0, 177.5, 0.0, jig.joint.play)
    found = only("jig", "centring", jig_budget(jig, TERMS, nothing_else))
    assert (jig.stations[0].x, jig.stations[1].x) == (-140.0, 177.5)
    assert found.worst[:, 1] == pytest.approx(nothing_else)
    # The halves turn the same way when the joint is off sideways, apart when it is at an angle.
    sideways, angle = found.causes[:2]
    toe, heel = jig.layout.ids.index("toe-5"), jig.layout.ids.index("heel-1")
    assert sideways.effect[toe, 1] > 0 > sideways.effect[heel, 1]
    assert angle.effect[toe, 1] * angle.effect[heel, 1] > 0
    assert all(c.effect == pytest.approx(0.0) for c in found.causes[2:])


def test_a_stated_centring_replaces_the_designs(jig, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('[jig.centring]\nhalf_width = 0.05\nsource = "measured on ten skis"\n')
    found = only("jig", "centring", jig_budget(jig, read_terms(file)))
    assert found.worst[:, 1] == pytest.approx(np.full(9, 0.05))
    assert found.causes[0].term.source == "measured on ten skis"


def test_the_joint_bends_by_the_face_between_the_windows(jig):
    # √3 · 0.05 degrees (terms.toml) on 50 mm of face: 68 mm of body less two windows of 9 mm.
    assert jig.half_width == 34.0
    assert jig.joint.play.angle == pytest.approx(math.radians(math.sqrt(3) * 0.05))
    narrow = design_joint(30.0, jig.settings)
    assert narrow.play.angle == pytest.approx(jig.joint.play.angle * 50 / 42)


def test_only_two_halves_have_a_joint(jig, club_layout):
    halves = only("jig", "joint of the halves", jig_budget(jig, TERMS))
    # A gap of ± 0.1 mm at 95 %, sigma 0.05 (terms.toml), may all go to either half.
    assert halves.deviation[:, :2] == pytest.approx(np.tile([0.05, 0.0], (9, 1)))
    x = halves.covariance[:, 0, :, 0]
    toe, heel = club_layout.ids.index("toe-1"), club_layout.ids.index("heel-1")
    assert x[toe, heel] == 0.0
    whole = replace(jig, joint=None)
    assert "joint of the halves" not in {t.name for t in jig_budget(whole, TERMS).shares}


def test_the_mark_its_reading_and_parallax_move_all_holes_along_the_ski_alike(jig):
    # The mark ± 0.2 mm and the line on it ± 0.15, triangular; an eye 2.5° off plumb over a line
    # that ends 0.6 mm above the ski, which is the relief.
    for name, sigma in (
        ("the mark on the ski", 0.2 / math.sqrt(6)),
        ("reading the mark", 0.15 / math.sqrt(6)),
        ("parallax", 0.6 * math.tan(math.radians(2.5)) / math.sqrt(3)),
    ):
        found = only("jig", name, jig_budget(jig, TERMS))
        assert found.deviation[:, :2] == pytest.approx(np.tile([sigma, 0.0], (9, 1)))
        assert found.spacing_deviation == pytest.approx(np.zeros((9, 9)), abs=1e-7)


def test_parallax_grows_with_the_height_of_the_line_above_the_ski(jig):
    higher = replace(jig, settings=replace(jig.settings, relief=0.9))
    low, high = (
        only("jig", "parallax", jig_budget(one, TERMS)).deviation[0, 0] for one in (jig, higher)
    )
    assert high == pytest.approx(1.5 * low)


# --- the print ---


@pytest.mark.parametrize("turn", [0.0, 30.0, 45.0, 90.0])
@pytest.mark.parametrize(
    ("name", "numbers"),
    [
        # scale x, scale y and skew of the printer, each off by 1 sigma of terms.toml
        ("printer scale", (0.005, 0.005, 0.0)),
        ("one axis to the other", (0.0, 0.003, 0.0)),
        ("printer skew", (0.0, 0.0, 0.3)),
    ],
)
def test_an_unmeasured_print_is_off_as_the_printed_jig_would_be(jig, name, numbers, turn):
    bodies = tuple(replace(body, turn=turn) for body in jig.bodies)
    turned = replace(jig, bodies=bodies, joint=None)
    found = only("jig", name, jig_budget(turned, TERMS)).causes[0].deviation
    # What `jiggen printed` makes of a print with these errors, by its own equations.
    printed = PrintedJig(
        name="",
        rigid=(Rigid(tuple(printed_body(body, jig.layout) for body in bodies), (-140.0, 177.5)),),
        drills=tuple(jig.layout.diameters),
        matrix=np.eye(2),
    )
    true, off = np.array([1.0, 1.0, 0.0] * 2), np.array([*numbers] * 2)
    none = np.zeros(3)
    moved = printed.places(np.array([*(true + off), *none])) - printed.asked
    order = [jig.layout.ids.index(hole) for hole in printed.holes]
    assert found[order] == pytest.approx(moved, abs=0.006)  # what is left out is of second order
    assert np.abs(moved).max() > 0.05 or (name, turn) == ("printer skew", 45.0)


def printed_body(body, layout):
    ids = [guide.id for guide in body.guides]
    at = layout.positions[np.isin(layout.ids, ids)]
    named = tuple(hole for hole in layout.ids if hole in ids)
    c, s = math.cos(math.radians(body.turn)), math.sin(math.radians(body.turn))
    # Turned over about x, then by the angle: from the ski to the bed, and here back.
    over = np.array([[c, -s], [s, c]]) @ np.diag([1.0, -1.0])
    return PrintedBody(body.name, named, at, over.T)


def test_skew_moves_left_and_right_opposite_along_the_ski(jig):
    found = only("jig", "printer skew", jig_budget(jig, TERMS))
    square = only("jig", "skew of the print", jig_budget(jig, TERMS, known=CHECKED))
    # 0.3 degrees, a hole 20 mm off the centre line: 0.105 mm.
    y = jig.layout.positions[:, 1]
    assert found.deviation[:, 0] == pytest.approx(np.abs(y) * 0.105 / 20, rel=0.01)
    left, right = (jig.layout.ids.index(name) for name in ("toe-1", "toe-2"))
    x = found.causes[0].effect[:, 0]
    assert x[left] * x[right] < 0
    # A try square lets 0.2 mm pass over the flat of an end, 68 mm less two corners of 2.5.
    assert square.worst[:, 0] == pytest.approx(np.abs(y) * 0.2 / 63)
    assert (square.deviation[:, 0] <= found.deviation[:, 0]).all()


def test_the_check_of_the_print_takes_the_place_of_the_printers_scale(jig):
    unmeasured, measured = jig_budget(jig, TERMS), jig_budget(jig, TERMS, known=CHECKED)
    names = [{term.name for term in budget.shares} for budget in (unmeasured, measured)]
    assert names[0] - names[1] >= {"printer scale"}
    assert "print scale" in names[1] - names[0]
    # 0.5 % of some 150 mm: a print that nobody measured is several times as far off.
    assert (unmeasured.expected[:, 2] > 2 * measured.expected[:, 2]).all()


def test_a_profile_says_how_well_its_printer_is_known(jig):
    known = Print(scale=0.02, skew=0.05, pockets=True)
    budget = jig_budget(jig, TERMS, known=known)
    far = np.abs(jig.layout.positions[:, 0]).argmax()
    x = abs(jig.layout.positions[far, 0])
    of_printer = only("jig", "printer scale", budget).deviation[far, 0]
    assert of_printer == pytest.approx(x * 0.02 / 100)
    # From that gauge to this print of the same printer: 0.1 % (terms.toml).
    assert only("jig", "scale, print to print", budget).deviation[far, 0] == pytest.approx(x / 1000)
    seat, untried = (
        only("jig", "bush in its pocket", one) for one in (budget, jig_budget(jig, TERMS))
    )
    assert seat.worst[0, 0] == pytest.approx(untried.worst[0, 0] / 2)


def test_what_a_profile_states_is_what_is_known_of_its_prints():
    sure = Uncertainties(scale_x=0.0002, scale_y=0.0003, skew=0.05)
    profile = Profile(name="club", bush_fit=0.15, uncertainty=sure)
    assert known_print(profile, checked=False) == Print(False, pytest.approx(0.03), 0.05, True)
    # A skew that was not measured on the gauge is taken for true, and is as unsure as any.
    bare = known_print(Profile(name="club"), checked=True)
    assert bare == Print(checked=True, scale=0.0, skew=None, pockets=False)
    assert known_print(None, checked=True) == CHECKED


def test_the_print_alone_scatters_as_printed_guides_were_measured_to(jig):
    # Wegmüller et al. 2021, J. Clin. Med. 10, 4894: 40 printed drill guides, fused filament, were
    # off by 0.18 ± 0.04 mm RMS; Msallem et al. 2020: 50 mm long jaws, 0.16 mm.
    near = replace(jig.layout, positions=jig.layout.positions / np.abs(jig.layout.positions).max())
    near = replace(near, positions=near.positions * 25 * np.array([1.0, 5.0]))
    causes = jig_budget(replace(jig, layout=near), TERMS, np.zeros(9)).causes
    of_print = ("printer", "one axis", "scale, print", "skew, print")
    budget = Budget("jig", near, tuple(c for c in causes if c.term.name.startswith(of_print)))
    rms = math.sqrt((budget.deviation[:, 2] ** 2).mean())
    assert 0.14 < rms < 0.22


def test_each_body_is_a_print_of_its_own(jig):
    found = only("jig", "scale, print to print", jig_budget(jig, TERMS))
    x = found.covariance[:, 0, :, 0]
    ids = jig.layout.ids
    assert x[ids.index("toe-1"), ids.index("heel-1")] == 0.0
    assert x[ids.index("toe-1"), ids.index("toe-2")] > 0.0


def test_what_is_expected_of_a_print_is_one_table():
    stated = {name: term.sigma for name, term in TERMS.print}
    # Readings of a finished jig are weighed against the same numbers: of length, degrees, mm.
    of_length = {"scale", "axes", "next_scale"}
    for name, sigma in stated.items():
        assert before_measured(name) == pytest.approx(sigma / (100 if name in of_length else 1))


# --- the guide ---


def test_a_pocket_leans_down_to_half_the_depth(jig):
    found = only("jig", "lean of the pocket", jig_budget(jig, TERMS))
    index = jig.layout.ids.index("toe-1")
    # 0.2 degrees from the bush's top, 14.0 mm over the ski, to half of 9.2 mm: 0.065 mm.
    assert found.worst[index, 0] == pytest.approx(math.tan(math.radians(0.2)) * (14.0 + 4.6))


def test_a_drill_runs_out_below_its_bush(jig):
    found = only("jig", "drill run-out", jig_budget(jig, TERMS))
    index = jig.layout.ids.index("toe-1")
    # 0.03 + 0.01 · 70/3.6 mm at the tip of 70 mm (birlaprecision.org, DIN 338), of which the bush
    # leaves the last 2.0 + 4.6 mm.
    whole = 0.03 + 0.01 * 70 / 3.6
    assert whole == pytest.approx(0.22, abs=0.005)
    assert found.worst[index, 2] == pytest.approx(whole * (2.0 + 4.6) / 70)


def test_only_a_printed_guide_wears(jig):
    assert "wear of the guide" not in {term.name for term in jig_budget(jig, TERMS).shares}
    worn = only("jig", "wear of the guide", jig_budget(with_bush(jig, "none"), TERMS))
    assert worn.worst[:, :2] == pytest.approx(np.full((9, 2), 0.1))


def test_unequal_sides_move_the_ski_under_the_jig(jig):
    found = only("jig", "the ski's side walls", jig_budget(jig, TERMS))
    heel, toe = (station.x for station in jig.stations)
    share = (jig.layout.positions[:, 0] - heel) / (toe - heel)
    # ± 0.2 mm triangular (terms.toml), half of the variance alike at both stations.
    wanted = 0.2 / math.sqrt(6) * np.sqrt(0.5 + 0.5 * (share**2 + (1 - share) ** 2))
    assert found.deviation[:, 1] == pytest.approx(wanted)
    assert (found.deviation[:, 0] < 0.02).all()


# --- the sheet's causes ---


def test_centre_marks_bear_by_the_lever_rule():
    # Marks 20 mm beyond the outer holes (terms.toml): at -120 and 120, each ± 0.5 mm.
    layout = holes([(-100.0, 0.0), (0.0, 12.0), (100.0, 0.0)])
    found = only("sheet", "two centre marks", sheet_budget(layout, TERMS))
    near, far = 220 / 240, 20 / 240
    assert found.deviation[0, 1] == pytest.approx(0.5 / math.sqrt(6) * math.hypot(near, far))
    assert found.deviation[1, 1] == pytest.approx(0.5 / math.sqrt(6) * math.hypot(0.5, 0.5))
    # Wholly turned, ends ± 0.5 mm apart over 240 mm: 12 mm off the line that is 0.05 mm in x.
    assert found.worst[:, 0] == pytest.approx([0.0, 12 * 1.0 / 240, 0.0])
    assert found.worst[:, 1] == pytest.approx([0.5, 0.5, 0.5])


def test_the_sheet_turns_as_a_whole(club_layout):
    found = only("sheet", "two centre marks", sheet_budget(club_layout, TERMS))
    assert found.spacing_deviation == pytest.approx(np.zeros((9, 9)), abs=1e-7)


def test_one_row_of_holes_still_has_a_centre_line(tmp_path):
    file = tmp_path / "t.toml"
    file.write_text("[sheet.centre_marks]\nbeyond = 0\n")
    budget = sheet_budget(holes([(10.0, 15.0), (10.0, -15.0)]), read_terms(file))
    assert np.isfinite(budget.expected[:, 2]).all()


# --- whole budgets ---


def test_deviation_is_the_root_sum_of_squares_of_the_shares(jig):
    budget = jig_budget(jig, TERMS)
    assert sum(budget.shares.values()) == pytest.approx(budget.deviation[:, :2] ** 2)
    assert budget.deviation[:, 2] == pytest.approx(np.hypot(*budget.deviation[:, :2].T))


def test_the_jig_is_nearer_than_the_sheet_at_every_hole(jig):
    drilled, punched = jig_budget(jig, TERMS, known=CHECKED), sheet_budget(jig.layout, TERMS)
    assert (drilled.expected[:, 2] < punched.expected[:, 2]).all()
    assert (drilled.expected[:, 2] < drilled.worst[:, 2]).all()


def test_summary_is_plain_numbers(jig):
    data = summarise(jig_budget(jig, TERMS)).model_dump(mode="json")
    assert json.loads(json.dumps(data)) == data
    assert list(data["holes"]) == list(jig.layout.ids)
    assert all(term["source"] and term["size"] for term in data["terms"])
    hole = data["holes"]["toe-1"]
    assert hole["radial"]["expected_95"] <= data["largest_95"] < hole["radial"]["worst"]
    assert set(data["spacing_95"]) == {"toe", "heel"}


def test_group_spacing_leaves_single_holes_out():
    layout = replace(holes([(0.0, 5.0), (30.0, 0.0)]), groups=("a", "b"))
    assert group_spacing(sheet_budget(layout, TERMS)) == {}


def test_over_limit_names_hole_error_and_largest_term(jig):
    sheet = sheet_budget(jig.layout, TERMS)
    measured, unmeasured = (jig_budget(jig, TERMS, known=Print(one)) for one in (True, False))
    assert over_limit(measured, 0.5, unmeasured) == ()
    told = over_limit(measured, 0.2, unmeasured)
    assert f"({unmeasured.expected[0, 2]:.2f} mm unmeasured)" in told[0].message
    warnings = over_limit(sheet, 0.5)
    assert [w.key for w in warnings] == [f"hole {name}" for name in jig.layout.ids]
    assert warnings[0].code == "accuracy.over-limit"
    assert f"{sheet.expected[0, 2]:.2f} mm" in warnings[0].message
    assert "punch" in warnings[0].message
    exactly = float(sheet.expected[:, 2].max())
    assert over_limit(sheet, exactly) == ()


# --- reading terms ---


def test_every_default_has_a_size_and_a_source():
    for method in (TERMS.print, TERMS.jig, TERMS.sheet):
        for name, term in method:
            assert term.source, name
            if name not in ("centring", "drill_clearance", "run_out"):
                assert term.reach > 0, name


def test_a_file_changes_what_it_names_and_says_so(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("[jig.print_scale]\nhalf_width = 0.03\n[jig.hand]\nsigma = 0.1\n")
    terms = read_terms(file)
    assert terms.jig.print_scale.reach == 0.03
    assert terms.jig.print_scale.source == f"stated in {file}"
    assert terms.jig.hand.reach == pytest.approx(0.3)
    assert terms.jig.thermal == TERMS.jig.thermal
    assert terms.sheet == TERMS.sheet
    assert read_terms(None) is TERMS


def test_a_term_may_change_its_distribution(tmp_path):
    file = tmp_path / "t.toml"
    file.write_text(
        '[jig.print_scale]\ndistribution = "normal"\nsigma = 0.02\n'
        '[sheet.punch]\ndistribution = "arcsine"\nhalf_width = 0.4\n'
    )
    terms = read_terms(file)
    assert terms.jig.print_scale.reach == pytest.approx(0.06)
    found = only("sheet", "punch", sheet_budget(holes([(0.0, 0.0)]), terms))
    assert found.worst[0, 2] == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("text", "code", "key", "line", "words"),
    [
        ("[jig.print_scal]", "unknown-key", "jig.print_scal", 1, '"print_scale"'),
        ("[shet.punch]", "unknown-key", "shet", 1, '"sheet"'),
        ("[jig.hand]\nsigm = 1", "unknown-key", "jig.hand.sigm", 2, '"sigma"'),
        ('[jig.hand]\nsigma = "1"', "type", "jig.hand.sigma", 2, "a number"),
        ("[jig.hand]\nsigma = -1", "size", "jig.hand.sigma", 2, "0 to 50"),
        ("[jig.hand]\nsigma = nan", "not-finite", "jig.hand.sigma", 2, "0 to 50"),
        ("[jig.hand]\nsigma = 60", "size", "jig.hand.sigma", 2, "0 to 50"),
        ("[jig.thermal]\nexpansion = 70", "size", "jig.thermal.expansion", 2, "0.001"),
        ("[jig.hand]\nhalf_width = 1", "value", "jig.hand", 1, "takes sigma"),
        ("[sheet.fold]\nsigma = 1", "value", "sheet.fold", 1, "takes half_width"),
        ("[sheet.fold]\nsigma = 1\nhalf_width = 1", "value", "sheet.fold", 1, "no sigma"),
        ('[jig.hand]\ndistribution = "bell"', "value", "jig.hand.distribution", 2, "triangular"),
        ('[jig.drill_clearance]\nbore = "F9"', "value", "jig.drill_clearance.bore", 2, "F7"),
        ('[jig.drill_clearance]\ndrill = "H7"', "value", "jig.drill_clearance.drill", 2, "h8"),
        ("[jig]\nhand = 3", "type", "jig.hand", 2, "a table"),
        ("[jig.hand", "syntax", "", 1, "not TOML"),
    ],
)
def test_a_faulty_file_is_told_by_line_and_key(tmp_path, text, code, key, line, words):
    file = tmp_path / "t.toml"
    file.write_text(text + "\n")
    with pytest.raises(InputError) as caught:
        read_terms(file)
    (found,) = caught.value.findings
    assert found.code == f"accuracy.{code}"
    assert found.key == key
    assert found.where.startswith(f"{file}:{line}:")
    assert words in f"{found.message} {found.hint}"
    assert "pattern" not in str(found).replace(str(file), "")


def test_all_faults_at_once_in_the_files_order(tmp_path):
    file = tmp_path / "t.toml"
    file.write_text("[sheet.punch]\nsigma = -1\n[jig.hand]\nhalf_width = 1\n[jig.x]\n")
    with pytest.raises(InputError) as caught:
        read_terms(file)
    assert [f.key for f in caught.value.findings] == ["sheet.punch.sigma", "jig.hand", "jig.x"]


@pytest.mark.parametrize("name", ["none.toml", "."])
def test_a_missing_file_and_a_folder(tmp_path, name):
    with pytest.raises(InputError, match=r"no such file|this is a folder"):
        read_terms(tmp_path / name)


def test_toe_to_heel_is_the_scatter_of_the_middles_of_the_groups_apart():
    """Against drillings one by one: the middles of both groups' holes, and how they scatter."""
    layouts_ = layouts(read_pattern(find_pattern("club-piste")), (304.0, 305.0))
    jig = design_reusable(layouts_, Settings(SkiRange(84, 112)), engraved=False)
    bounds = [find_centring(half.design).loaded for half in jig.halves]
    budget = boot_budgets(jig, TERMS, bounds, CHECKED).budgets[-1]
    off = drill(budget, 20_000, np.random.default_rng(1))[:, :, 0]
    groups = np.array(budget.layout.groups)
    apart = off[:, groups == "toe"].mean(axis=1) - off[:, groups == "heel"].mean(axis=1)
    found = budget.toe_to_heel
    assert found.groups == ("toe", "heel")
    assert found.expected_95 == pytest.approx(1.96 * apart.std(), rel=0.03)
    # Halves share the mark and nothing else of how they are set: half of the readings' variance
    # each, and none of the mark's.
    reading = only_of(budget, "reading the mark").toe_to_heel.expected_95
    assert reading == pytest.approx(1.96 * 0.15 / math.sqrt(6) * math.sqrt(2), abs=1e-3)
    assert only_of(budget, "the mark on the ski").toe_to_heel.expected_95 == 0.0


def only_of(budget, name):
    return replace(budget, causes=tuple(c for c in budget.causes if c.term.name == name))
