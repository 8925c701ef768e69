"""Lengths that the caliper takes on a finished jig's bodies, beside or instead of its holes."""

from __future__ import annotations

import json

import numpy as np
import pytest
from printed_samples import designed, finished, readings, write_halves, write_jig
from printer_samples import Printer

from jiggen.cli import main
from jiggen.design.pieces import list_pieces
from jiggen.errors import InputError
from jiggen.measure.printer.printed import fit_printed
from jiggen.measure.printer.read import BodyLength, PinReadings, read_printed
from jiggen.measure.printer.to_measure import blank_text, worth_measuring
from jiggen.report.printed import read_printout


def caliper(chosen, printer):
    """What flat jaws show on every body: how far apart the two printed faces stand."""
    read = []
    for piece in (piece for piece in list_pieces(chosen) if piece.kind == "body"):
        (body,) = (body for body in chosen.bodies if body.name == piece.name)
        from_ski = np.linalg.inv(piece.to_ski(piece.placed[0]))
        for length in body.notch.lengths:
            # Two points of one face, and one of the other.
            low, high = length.span
            ends = np.array([(low, length.at), (low, length.at + 3.0), (high, length.at)])
            if length.direction == "across":
                ends = ends[:, ::-1]
            flat = np.column_stack([ends, np.zeros(3), np.ones(3)])
            one, other, opposite = printer.print((flat @ from_ski.T)[:, :2])
            (x, y), (u, v) = other - one, opposite - one
            apart = abs(x * v - y * u) / np.hypot(x, y)
            made = {"of": body.name, "direction": length.direction, "value": apart}
            read.append(BodyLength.model_construct(**made))
    return tuple(read)


@pytest.fixture
def jig(tmp_path):
    return read_printout(write_jig(tmp_path / "jig", designed())).jig


@pytest.mark.parametrize("pattern", ["club-piste", "skew-plate"])
def test_a_length_is_told_as_the_printed_faces_stand(pattern, tmp_path):
    chosen = designed(pattern)
    found = read_printout(write_jig(tmp_path / "jig", chosen)).jig
    printer = Printer(0.996, 1.003, 0.3)
    prints = found.prints(np.array([0.996, 1.003, 0.3] * 2))
    names = [body.name for body in found.bodies]
    told = {
        (one.body, one.direction): one.of(prints[names.index(one.body)]) for one in found.lengths
    }
    for one in caliper(chosen, printer):
        assert told[one.of, one.direction] == pytest.approx(one.value, abs=1e-9)


def test_lengths_alone_say_the_scale_and_what_to_do(jig):
    chosen, small = designed(), Printer(0.997, 0.997)
    found = fit_printed(jig, PinReadings((), lengths=caliper(chosen, small)))
    scale_x, scale_y, skew = found.printer[0]
    # ± 0.06 mm of 145 mm are 0.04 %, two bodies; of 68 mm it is twice as much.
    assert scale_x == pytest.approx(0.997, abs=2e-4)
    assert scale_y == pytest.approx(0.997, abs=4e-4)
    assert abs(skew) < 0.01
    assert found.verdict != "use"
    toe = next(hole for hole in found.expected if hole.id == "toe-1")
    assert (toe.dx, toe.dy) == pytest.approx((-0.466, -0.052), abs=0.05)
    # 145 mm are 0.44 mm short: past 0.15 mm, within 1.45 mm.
    assert [spec.verdict(one.value) for one, spec in found.lengths if one.direction == "along"] == [
        "scale",
        "scale",
    ]


@pytest.mark.parametrize(
    ("off", "verdict"), [(0.14, "use"), (-0.16, "scale"), (1.4, "scale"), (-1.5, "reprint")]
)
def test_each_length_by_itself_is_used_scaled_or_printed_again(jig, off, verdict):
    along = next(one for one in jig.lengths if one.direction == "along")
    assert along.verdict(along.nominal + off) == verdict


def test_beside_pins_lengths_make_the_holes_surer(jig):
    chosen, true = designed(), Printer()
    pairs = worth_measuring(jig)[:3]
    pins = readings(finished(chosen, {b.name: true for b in chosen.bodies}), pairs)
    both = PinReadings(pins.readings, pins.caliper, lengths=caliper(chosen, true))
    alone, more = fit_printed(jig, pins), fit_printed(jig, both)
    assert all(a.known > b.known for a, b in zip(alone.expected, more.expected, strict=True))
    assert max(hole.off for hole in more.expected) < 1e-6


def first_length(text, value):
    """The blank with its first length filled in."""
    pins, lengths = text.split("[[length]]", 1)
    return f"{pins}[[length]]" + lengths.replace('value = ""', f"value = {value}", 1)


def test_the_blank_asks_for_them_and_a_body_that_is_none_is_refused(jig, tmp_path):
    text = blank_text(jig)
    assert text.count("[[length]]") == 4
    assert "# along: tip end to the notch in the right edge: 145.00 if the jig were true" in text
    lengths = [(one.body, one.direction) for one in jig.lengths]
    path = tmp_path / "m.toml"
    path.write_text(first_length(text, 144.90))
    read = read_printed(path, jig.holes, lengths=lengths)
    assert [str(one) for one in read.lengths] == ["body-toe, along"]
    assert read.readings == ()
    path.write_text(first_length(text, 144.90).replace('of = "body-toe"', 'of = "body-tail"', 1))
    with pytest.raises(InputError, match="body-tail, along"):
        read_printed(path, jig.holes, lengths=lengths)


@pytest.mark.usefixtures("as_if_verified")
def test_the_command_says_what_the_lengths_mean(jig, tmp_path, capsys):
    path = tmp_path / "m.toml"
    path.write_text(first_length(blank_text(jig), 144.42))
    main(["printed", str(tmp_path / "jig"), str(path)])
    out = capsys.readouterr().out
    # 145 / 144.42 = 100.40 %
    assert "body-toe, along" in out and "print again, scaled by 100.40 %" in out
    main(["printed", str(tmp_path / "jig"), str(path), "--json"])
    (length,) = json.loads(capsys.readouterr().out)["lengths"]
    assert (length["name"], length["verdict"]) == ("body-toe, along", "scale")


def test_halves_with_ladders_have_lengths_too(tmp_path):
    halves = read_printout(write_halves(tmp_path / "jig", "club-piste")).jig
    assert {one.body for one in halves.lengths} == {"body-toe", "body-heel"}
    true = tuple(
        BodyLength.model_construct(of=one.body, direction=one.direction, value=one.nominal)
        for one in halves.lengths
    )
    found = fit_printed(halves, PinReadings((), lengths=true))
    assert max(hole.off for hole in found.expected) < 1e-6
