"""Files of measurements: every key, every fault, each with its line."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from printer_samples import SMALL, diameter, distance, height

from jiggen.errors import InputError
from jiggen.measure.printer.read import Feature, read_measurements, read_printed

PRINTED = """\
measurements = 1
over = 3.6
[[distance]]
between = ["toe-1", "heel-1"]
value = 303.6
[[distance]]
between = ["toe-1", "toe-2"]
edges = "inside"
over = [3.6, 4.0]
value = 30.0
"""
HOLES = ("toe-1", "toe-2", "heel-1")


def write(folder: Path, text: str) -> Path:
    path = folder / "measurements.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path, *changes: tuple[str, str], text: str = SMALL, reader=read_measurements):
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    with pytest.raises(InputError) as caught:
        reader(write(folder, text))
    return caught.value.findings


def printed(path: Path):
    return read_printed(path, HOLES)


def test_every_key_reaches_the_measurements(tmp_path):
    read = read_measurements(write(tmp_path, SMALL))
    assert read.features["A2"] == Feature(kind="hole", at=[140.0, 20.0], diameter=8.0)
    assert read.features["B1"].kind == "peg"
    assert read.readings == (  # the empty row is left out
        distance("A1", "A2", "outside", 127.61),
        diameter("A1", 7.86),
        height(12.0, 11.98),
    )
    assert (read.caliper, read.fits.bush_fit) == (0.03, 0.15)
    assert math.isnan(read.fits.slide)


def test_inches_are_what_the_caliper_shows_and_no_more(tmp_path):
    text = SMALL.replace('"mm"', '"in"').replace("127.61", "5.024").replace("7.86", "0.3095")
    read = read_measurements(
        write(tmp_path, text.replace("11.98", "0.4717").replace("0.03", "0.001"))
    )
    # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959
    assert read.readings[0].value == pytest.approx(5.024 * 25.4)
    assert read.caliper == pytest.approx(0.0254)
    assert read.features["A2"].at == (140.0, 20.0)  # asked in mm
    assert (read.readings[2].asked, read.fits.bush_fit) == (12.0, 0.15)


@pytest.mark.parametrize(
    "typed", ['"127.61"', '"127,61"', "127,61", "127,61  # long", '" 127.61 "']
)
def test_a_number_is_read_as_people_type_it(typed, tmp_path):
    read = read_measurements(write(tmp_path, SMALL.replace("127.61", typed)))
    assert read.readings[0] == distance("A1", "A2", "outside", 127.61)
    both = PRINTED.replace("over = 3.6", 'over = "3,6"').replace("30.0", typed)
    again = printed(write(tmp_path, both)).readings[1]
    assert (again.value, again.over) == (127.61, (3.6, 4.0))


def test_pins_reach_the_readings(tmp_path):
    read = printed(write(tmp_path, PRINTED))
    assert [(*one.between, one.edges, one.value, one.over) for one in read.readings] == [
        ("toe-1", "heel-1", "outside", 303.6, (3.6, 3.6)),
        ("toe-1", "toe-2", "inside", 30.0, (3.6, 4.0)),
    ]
    assert [one.centres for one in read.readings] == pytest.approx([300.0, 33.8])


@pytest.mark.parametrize(
    ("change", "code", "key", "line"),
    [
        (("measurements = 1", "measurements = 2"), "format", "measurements", 1),
        (("measurements = 1\n", ""), "missing-key", "measurements", 1),
        (('units = "mm"', 'units = "cm"'), "value", "units", 2),
        (("caliper = 0.03", "caliper = 3.0"), "caliper", "caliper", 3),
        (("caliper = 0.03", "caliper = 0.0"), "caliper", "caliper", 3),
        (("caliper = 0.03", "caliper = nan"), "not-finite", "caliper", 3),
        (("caliper", "calliper"), "unknown-key", "calliper", 3),
        (('kind = "peg"', 'kind = "pin"'), "value", "features.B1.kind", 7),
        (("at = [140, 20.0]", "at = [140]"), "type", "features.A2.at", 6),
        (("at = [140, 20.0]", "at = [1e9, 20.0]"), "length", "features.A2.at", 6),
        (("at = [140, 20.0]", "at = [20.0, 20.0]"), "same-feature", "features.A2", 6),
        (("B1 = {", '"C 1" = {kind = "peg", at = [0, 0], diameter = 8}\nB1 = {'), "name",
         'features."C 1"', 7),
        (("diameter = 8.0}\nB1", "diameter = 80.0}\nB1"), "diameter", "features.A2.diameter", 6),
        (('between = ["A1", "A2"]', 'between = ["A1", "A3"]'), "unknown-feature",
         "distance[1].between", 9),
        (('between = ["A1", "A2"]', 'between = ["A1", "A1"]'), "same-end",
         "distance[1].between", 9),
        (('between = ["A1", "A2"]', 'between = "A1-A2"'), "type", "distance[1].between", 9),
        (('edges = "outside"', 'edges = "outer"'), "value", "distance[1].edges", 10),
        (("value = 127.61", 'value = "127,61,5"'), "type", "distance[1].value", 11),
        (("value = 127.61", "value = inf"), "not-finite", "distance[1].value", 11),
        (("value = 127.61", "value = -127.61"), "distance", "distance[1].value", 11),
        (("value = 127.61", "value = 12761"), "distance", "distance[1].value", 11),
        (("value = 127.61", "value = true"), "type", "distance[1].value", 11),
        (("value = 127.61", 'value = ""'), "nothing-measured", "distance", 8),
        (('of = "A1"', 'of = "a1"'), "unknown-feature", "diameter[1].of", 17),
        (("asked = 12.0", "asked = 0.1"), "height", "height[1].asked", 20),
        (("bush_fit = 0.15", "bush_fit = 1.5"), "fit", "fits.bush_fit", 23),
        (('slide = ""', "slides = 0.2"), "unknown-key", "fits.slides", 24),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_each_fault_is_told_with_its_place(change, code, key, line, tmp_path):
    [found] = faults(tmp_path, change)
    assert (found.code, found.key) == (f"printer.{code}", key)
    assert found.where.split(":")[1] == str(line)
    assert found.hint


def test_every_fault_at_once_in_the_order_of_the_file(tmp_path):
    found = faults(
        tmp_path,
        ("caliper = 0.03", "caliper = inf"),
        ('edges = "outside"', 'edges = "outer"'),
        ("value = 7.86", 'value = "x"'),
        ('slide = ""', 'slide = "loose"'),
    )
    assert [finding.key for finding in found] == [
        "caliper", "distance[1].edges", "diameter[1].value", "fits.slide"
    ]  # fmt: skip


def test_a_name_as_long_as_a_page_does_not_fill_one(tmp_path):
    long = "A" * 5000
    for changes in (
        [("A1 = {", f"{long} = {{")],  # and what is measured from A1 is to nothing known
        [("A1 = {", f"{long} = {{"), ("at = [140, 20.0]", "at = [20.0, 20.0]")],
        [('between = ["A1", "A2"]', f'between = ["{long}", "{long}"]')],
    ):
        found = faults(tmp_path, *changes)
        assert found
        assert max(len(str(finding)) for finding in found) < 500


def test_files_that_are_none_are_refused(tmp_path):
    for name, data, code in (
        ("a", b"measurements = 1\n" + b"#" * 1_000_001, "too-big"),
        ("b", b"measurements = \xff", "not-utf8"),
        ("c", b"measurements = [", "syntax"),
        ("d", b"x = " + b"[" * 5000 + b"]" * 5000, "syntax"),
        ("e", b"[features]\nA1 = {}\nA1 = {}\n", "syntax"),  # one name twice
    ):
        path = tmp_path / name
        path.write_bytes(data)
        with pytest.raises(InputError) as caught:
            read_measurements(path)
        assert caught.value.findings[0].code == f"printer.{code}"
    with pytest.raises(InputError) as caught:
        read_measurements(tmp_path / "none.toml")
    assert caught.value.findings[0].code == "printer.missing"


def test_more_than_anyone_measures_is_refused(tmp_path):
    row = '[[diameter]]\nof = "A1"\nvalue = 7.9\n'
    [found] = faults(tmp_path, ("[[height]]", row * 1001 + "[[height]]"))
    assert found.code == "printer.too-many"
    many = "".join(
        f'C{n} = {{kind = "peg", at = [{n + 200}, 0], diameter = 4}}\n' for n in range(101)
    )
    [found] = faults(tmp_path, ("[[distance]]\nbetween = [\"A1\", \"A2\"]", many +
                                "[[distance]]\nbetween = [\"A1\", \"A2\"]"))  # fmt: skip
    assert found.code == "printer.too-many"


@pytest.mark.parametrize(
    ("change", "code", "key"),
    [
        (("over = 3.6\n", ""), "no-pin", "distance[1]"),
        (('"heel-1"', '"heel-9"'), "unknown-feature", "distance[1].between"),
        (("value = 303.6", "value = 3.0"), "too-short", "distance[1].value"),
        (("over = [3.6, 4.0]", "over = [3.6]"), "type", "distance[2].over"),
        (("over = 3.6", "over = 36.0"), "diameter", "over"),
        (("over = 3.6", "[features]"), "unknown-key", "features"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_faults_of_a_finished_jig_are_told(change, code, key, tmp_path):
    found = faults(tmp_path, change, text=PRINTED, reader=printed)
    assert (f"printer.{code}", key) in [(one.code, one.key) for one in found]
