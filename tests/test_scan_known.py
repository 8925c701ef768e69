"""Bodies of a jig, and a gauge, told from the holes of scans; what is none of theirs is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from glass import four, shown
from printed_samples import designed, write_jig
from printer_samples import Printer

from jiggen.errors import CheckFailed, InputError
from jiggen.measure.printer.gauge_fit import fit_gauge
from jiggen.measure.printer.jig import PrintedJig
from jiggen.measure.printer.printed import fit_printed
from jiggen.measure.printer.read import Feature, Measurements, PinReadings
from jiggen.measure.printer.scanned import bodies_of, gauge_of, sighted_of
from jiggen.measure.scan.adjust import Fitted, fit_scans
from jiggen.measure.scan.files import Picture
from jiggen.measure.scan.findings import refusals
from jiggen.measure.scan.holes import CROPPED, Hole
from jiggen.measure.scan.known import Known, recognise
from jiggen.measure.scan.network import Distance
from jiggen.report.printed import read_printout

Places = dict[str, tuple[float, float]]


@pytest.fixture(scope="module")
def jigs(tmp_path_factory) -> dict[str, PrintedJig]:
    folder = tmp_path_factory.mktemp("jigs")
    names = ("club-piste", "hut-plate", "sledge-foot", "old-inch")
    return {name: read_printout(write_jig(folder / name, designed(name))).jig for name in names}


def places(jig: PrintedJig, *bodies: int) -> Places:
    chosen = [jig.bodies[n] for n in bodies] or jig.bodies
    return {
        hole: (float(x), float(y))
        for body in chosen
        for hole, (x, y) in zip(body.holes, body.at, strict=True)
    }


def fitted(pictures: list[Picture], wholes: list[list[Known]], ends: str = "", **how) -> Fitted:
    """With the true distance between two holes, where they are named."""
    seen, rough, odd, _ = recognise(pictures, wholes, **how)
    at = {hole: place for one in wholes[0] for hole, place in zip(one.holes, one.at, strict=True)}
    pair = ends.split()
    length = [float(np.hypot(*(at[pair[0]] - at[pair[1]])))] if pair else []
    distances = [Distance(pair[0], pair[1], "centre", one, 0.03) for one in length]
    return fit_scans(seen, rough, distances, odd)


def test_a_body_is_found_in_every_turn_with_its_holes_by_name(jigs):
    jig = jigs["hut-plate"]
    dust = (Hole(90.0, 60.0, 4.0, 0.0, 0.01, 1.0),)
    seen, _, odd, of = recognise(four(places(jig), more=dust), bodies_of(jig))
    assert seen.names == jig.holes
    assert (len(seen.scan), of, odd) == (4 * len(jig.holes), (0, 1, 2, 3), ())
    found = fitted(four(places(jig), more=dust), bodies_of(jig), "front-1 rear-4")
    assert refusals(found) == ()
    apart = np.hypot(*(found.places[0] - found.places[7]))
    true = np.hypot(*(jig.asked[0] - jig.asked[7]))
    assert apart == pytest.approx(true, abs=0.1)


def test_two_bodies_in_one_picture_have_the_scale_of_one_distance(jigs):
    """Loose on the glass: each by itself, and neither says where the other lies."""
    jig = jigs["club-piste"]
    both = [
        replace(toe, holes=(*toe.holes, *heel.holes))
        for toe, heel in zip(four(places(jig, 0)), lying_beside(places(jig, 1)), strict=True)
    ]
    found = fitted(both, bodies_of(jig), "toe-1 toe-4")
    groups = sighted_of(found)
    assert [one.holes for one in groups] == [body.holes for body in jig.bodies]
    judged = fit_printed(jig, PinReadings(()), None, groups)
    assert judged.loose
    heel = judged.parts["body-heel"]
    assert heel[0][0] == pytest.approx(1.0, abs=3e-3)
    assert heel[1][0] < 1.5e-3  # beside 5e-3 of a print that nobody measured


def lying_beside(at: Places) -> list[Picture]:
    return [
        shown(at, 90 * n + 40, (70.0, 60.0) if n % 2 else (-60.0, 95.0), number=n) for n in range(4)
    ]


def test_joined_halves_longer_than_the_glass_are_one_by_their_shared_holes(jigs):
    jig, size = jigs["club-piste"], (300.0, 210.0)
    pictures = [
        shown(places(jig), turn, (shift, 0.0), number=n, size=size)
        for n, (turn, shift) in enumerate([(0, -16.0), (0, 30.0), (180, 16.0), (180, -30.0)])
    ]
    assert all(len(picture.holes) < len(jig.holes) for picture in pictures)
    found = fitted(pictures, bodies_of(jig), "toe-1 heel-4")
    assert [set(one.holes) for one in sighted_of(found)] == [set(jig.holes)]
    judged = fit_printed(jig, PinReadings(()), None, sighted_of(found))
    assert not judged.loose
    assert max(one.off - one.known for one in judged.expected) < 0


def test_a_body_of_another_jig_is_refused(jigs):
    with pytest.raises(InputError, match="in none of: body-toe with 5, body-heel with 4") as error:
        recognise(four(places(jigs["old-inch"], 0)), bodies_of(jigs["club-piste"]))
    assert error.value.findings[0].code == "scan.no-thing"
    with pytest.raises(InputError, match="in none of"):
        recognise(four(places(jigs["club-piste"], 0)), bodies_of(jigs["hut-plate"]))


def test_the_face_that_was_named_is_the_one_that_is_looked_for(jigs):
    skew = PrintedJig(
        "skew", *(getattr(jigs["hut-plate"], n) for n in ("rigid", "drills", "matrix"))
    )
    at = {hole: (x + 0.2 * y, y) for hole, (x, y) in places(skew).items()}
    known = [[Known("body", skew.holes, np.array([*at.values()]))]]
    under = {hole: (x, -y) for hole, (x, y) in at.items()}
    assert recognise(four(under), known, "under")[0].names == skew.holes
    for pictures, face in ((four(under), "top"), (four(at), "under")):
        with pytest.raises(InputError, match="mirrored") as error:
            recognise(pictures, known, face)
        assert error.value.findings[0].code == "scan.mirrored"


def test_a_square_of_holes_needs_its_turns(jigs):
    jig = jigs["sledge-foot"]
    with pytest.raises(InputError, match="alike after a turn"):
        recognise(four(places(jig)), bodies_of(jig))
    turns = (0.0, 90.0, 180.0, 270.0)
    found = fitted(four(places(jig)), bodies_of(jig), "foot-1 foot-4", turns=turns)
    assert refusals(found) == ()


def test_a_hole_that_is_cut_off_or_filled_is_done_without(jigs):
    jig = jigs["hut-plate"]
    pictures = four(places(jig))
    first = pictures[0].holes[0]
    spoilt = replace(first, fault=CROPPED)
    pictures[0] = replace(pictures[0], holes=(spoilt, *pictures[0].holes[1:]))
    seen, _, odd, _ = recognise(pictures, bodies_of(jig))
    assert len(seen.scan) == 31
    assert [one.fault for one in odd] == [CROPPED]


FEATURES = {
    name: Feature.model_construct(kind="hole", at=at, diameter=8.0)
    for name, at in {
        "E": (8.0, 53.0),
        "F": (98.0, 53.0),
        "G": (53.0, 8.0),
        "H": (53.0, 98.0),
    }.items()
}


def gauge(printer: Printer, pockets: bool = True) -> tuple[dict, dict]:
    """The holes of a gauge as its underside shows them, and how wide they are."""
    at = {name: one.at for name, one in FEATURES.items()}
    row = np.linspace(18.65, 87.35, 7).tolist() if pockets else []
    at |= {f"p{n}": (x, 53.0) for n, x in enumerate(row)}
    widths = {f"p{n}": 7.0 + 0.05 * n for n in range(7)} | dict.fromkeys(FEATURES, 7.9)
    made = printer.print(np.array([*at.values()])) * (1, -1)
    return dict(zip(at, made.tolist(), strict=True)), widths


def test_the_gauge_gives_the_printers_scales_and_skew_and_the_pockets_its_turn():
    printer = Printer(1.004, 0.998, 0.2)
    at, widths = gauge(printer)
    asked = gauge_of(FEATURES)
    seen, rough, odd, _ = recognise(four(at, widths=widths), asked, "under")
    assert seen.names == tuple(FEATURES)
    length = float(np.hypot(*np.subtract(at["E"], at["F"])))
    fit = fit_scans(seen, rough, [Distance("E", "F", "centre", length, 0.03)], odd)
    found = fit_gauge(Measurements(FEATURES, ()), sighted_of(fit))
    assert found.determined == ("scale_x", "scale_y", "skew")
    for name in found.determined:
        off = abs(found.values[name] - getattr(printer, name))
        assert off < 2.5 * found.uncertainties[name]
    assert found.uncertainties["scale_x"] < 1e-3


def test_without_a_distance_the_scale_of_the_gauge_stays_open():
    at, widths = gauge(Printer())
    seen, rough, odd, _ = recognise(four(at, widths=widths), gauge_of(FEATURES), "under")
    with pytest.raises(CheckFailed, match="do not say how long the printer makes things") as error:
        fit_gauge(Measurements(FEATURES, ()), sighted_of(fit_scans(seen, rough, (), odd)))
    assert error.value.findings[0].hint.startswith("Measure ")


def test_a_gauge_without_pockets_looks_alike_from_every_side():
    at, widths = gauge(Printer(), pockets=False)
    with pytest.raises(InputError, match="the gauge looks alike after a turn"):
        recognise(four(at, widths=widths), gauge_of(FEATURES), "under")
