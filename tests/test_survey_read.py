"""Survey files: every key, every fault, each with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from jiggen.errors import InputError
from jiggen.measure.survey.read import Reading, read_survey

EXAMPLE = Path(__file__).parent / "data" / "survey.toml"

SMALL = """\
format = 1
name = "Small plate"
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.0
[group]
name = "toe"
datum = "boot-toe"
shift = -8.0
[holes]
a = 5.5
b = 5.5
c = 6.5
[distances]
a-b = { outside = [45.5, 45.6] }
a-c = { centre = 50.0, sigma = 0.3 }
c-b = { inside = 44.1 }
front-a = { inside = 9.0 }
[plate]
front = "a"
pairs = [["a", "b"]]
centre_line = ["c"]
origin = "front"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path, *changes: tuple[str, str]):
    text = SMALL
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    with pytest.raises(InputError) as caught:
        read_survey(write(folder, text))
    return caught.value.findings


def test_example_is_read_whole():
    survey = read_survey(EXAMPLE)
    assert survey.file.name == "Arvenal Bench Plate"
    assert survey.holes == tuple("abcdefg")
    assert survey.file.plate.pairs == (("a", "b"), ("c", "d"), ("e", "f"))
    assert survey.file.plate.origin == ("c", "d", "e", "f")
    assert len(survey.readings) == 20
    assert survey.file.boot == (255.0, 355.0)


def test_every_key_reaches_the_survey(tmp_path):
    survey = read_survey(write(tmp_path, SMALL))
    assert survey.readings == (
        Reading("a", "b", "outside", 45.5),
        Reading("a", "b", "outside", 45.6),
        Reading("a", "c", "centre", 50.0, 0.3),
        Reading("c", "b", "inside", 44.1),
        Reading("front", "a", "inside", 9.0),
    )
    assert survey.diameters == (5.5, 5.5, 6.5)
    group, drill, plate = survey.file.group, survey.file.drill, survey.file.plate
    assert (group.name, group.datum, group.shift) == ("toe", "boot-toe", -8.0)
    assert (drill.diameter.plain, drill.diameter.metal, drill.depth) == (3.6, 4.1, 9.0)
    assert (plate.front, plate.centre_line, plate.origin) == (("a",), ("c",), ("front",))
    assert survey.file.sigma == 0.05  # a caliper: common practice, no source
    assert plate.twins == {"a": "b", "b": "a", "c": "c"}


def test_numbers_are_read_as_people_type_them(tmp_path):
    text = SMALL.replace("a = 5.5", 'a = "5,5"').replace("b = 5.5", "b = 5,5   # twice")
    text = text.replace("centre = 50.0, sigma = 0.3", "centre = 50,0, sigma = 0,3")
    text = text.replace("inside = 44.1", 'inside = "44,1"').replace(
        "[45.5, 45.6]", '["45,5", 45.6]'
    )
    assert (
        read_survey(write(tmp_path, text)).readings == read_survey(write(tmp_path, SMALL)).readings
    )
    assert read_survey(write(tmp_path, text)).diameters == (5.5, 5.5, 6.5)


def test_inches_become_millimetres(tmp_path):
    text = SMALL.replace(
        'name = "Small plate"', 'name = "Small plate"\nunits = "in"\nsigma = 0.002'
    )
    for value, inches in (("45.5", "1.75"), ("45.6", "1.75"), ("50.0", "2.0"), ("44.1", "1.7"),
                          ("5.5", "0.25"), ("6.5", "0.25"), ("-8.0", "-0.5"), ("9.0", "0.25"),
                          ("3.6", "0.14"), ("4.1", "0.16"), ("0.3", "0.01")):  # fmt: skip
        text = text.replace(f" {value}", f" {inches}").replace(f"[{value}", f"[{inches}")
    survey = read_survey(write(tmp_path, text))
    assert survey.readings[2] == Reading("a", "c", "centre", 50.8, 0.254)  # 1 in = 25.4 mm, 1959
    assert survey.diameters == (6.35, 6.35, 6.35)
    assert survey.file.sigma == pytest.approx(0.0508)


@pytest.mark.parametrize(
    ("old", "new", "code", "key", "line"),
    [
        ("format = 1", "format = 2", "format", "format", 1),
        ('name = "Small plate"', "", "missing-key", "name", 1),
        ("[holes]", "[hole]", "unknown-key", "hole", 10),
        ("depth = 9.0", "", "no-drill", "drill.depth", 3),
        ("plain = 3.6, ", "", "no-drill", "drill.diameter.plain", 4),
        ("metal = 4.1", "metal = 41", "diameter", "drill.diameter.metal", 4),
        ('"boot-toe"', '"boot-tip"', "value", "group.datum", 8),
        ("shift = -8.0", "", "missing-key", "group.shift", 6),
        ("shift = -8.0", "shift = 1e9", "length", "group.shift", 9),
        ("shift = -8.0", "shift = 1\nsteps = []", "unknown-key", "group.steps", 10),
        ('name = "toe"', 'name = "to e"', "name", "group.name", 7),
        ("c = 6.5", "c = 0.2", "diameter", "holes.c", 13),
        ("c = 6.5", 'c = "6.5 mm"', "type", "holes.c", 13),
        ("c = 6.5", "c = nan", "not-finite", "holes.c", 13),
        ("c = 6.5", "c = 6.5\nleft = 5", "name", "holes.left", 14),
        ("c = 6.5", "c = 6.5\nc-d = 5", "name", "holes.c-d", 14),
        ("a-c =", "a-d =", "unknown-hole", "distances.a-d", 16),
        ("a-c =", "a-a =", "same-hole", "distances.a-a", 16),
        ("a-c =", "ac =", "value", "distances.ac", 16),
        ("a-c =", "front-left =", "edges", "distances.front-left", 16),
        ("front-a = { inside", "front-rear = { inside", "edges", "distances.front-rear.inside", 18),
        ("centre = 50.0", "center = 50.0", "unknown-key", "distances.a-c.center", 16),
        ("centre = 50.0, ", "", "no-distance", "distances.a-c", 16),
        ("centre = 50.0", "centre = 0", "distance", "distances.a-c.centre", 16),
        ("centre = 50.0", "centre = true", "type", "distances.a-c.centre", 16),
        ("[45.5, 45.6]", "[45.5, -1]", "distance", "distances.a-b.outside[2]", 15),
        ("[45.5, 45.6]", "4.5", "too-short", "distances.a-b.outside", 15),
        ("sigma = 0.3", "sigma = 30", "sigma", "distances.a-c.sigma", 16),
        ('front = "a"', "", "side", "plate.front", 19),
        ('front = "a"', 'front = ["a", "x"]', "unknown-hole", "plate.front", 20),
        ('front = "a"', 'front = "a"\nrear = "a"', "side", "plate.rear", 21),
        ('[["a", "b"]]', '["a", "b"]', "type", "plate.pairs", 21),
        ('[["a", "b"]]', '[["a", "a"]]', "pairs", "plate.pairs", 21),
        ('centre_line = ["c"]', 'centre_line = ["b"]', "pairs", "plate.pairs", 21),
        ('origin = "front"', "", "origin", "plate.origin", 19),
        ('origin = "front"', 'origin = "rear"', "origin", "plate.origin", 23),
        ('origin = "front"', 'origin = "left"', "origin", "plate.origin", 23),
        ('origin = "front"', 'origin = "a"\nmiddle = ["a", "b"]', "middle", "plate.middle", 24),
        ('origin = "front"', 'origin = "a"\nalong = ["c", "a"]', "along", "plate.along", 24),
    ],
)  # fmt: skip
def test_each_fault_is_named_with_its_place(tmp_path, old, new, code, key, line):
    found = [
        (finding.code, finding.key, int(finding.where.split(":")[-2]))
        for finding in faults(tmp_path, (old, new))
    ]
    assert (f"survey.{code}", key, line) in found
    assert all(finding.hint for finding in faults(tmp_path, (old, new)))


def test_every_fault_is_reported_at_once(tmp_path):
    found = faults(tmp_path, ("depth = 9.0", ""), ("a-b =", "a-x ="),
                   ('origin = "front"', 'origin = "y"'))  # fmt: skip
    assert [finding.code for finding in found] == [
        "survey.no-drill", "survey.unknown-hole", "survey.unknown-hole",
    ]  # fmt: skip
    found = faults(tmp_path, ("depth = 9.0", "depth = 90"), ("c = 6.5", "c = 0.2"),
                   ("centre = 50.0", "center = 50.0"), ('front = "a"', "front = 1"))  # fmt: skip
    assert [finding.code for finding in found] == [
        "survey.depth", "survey.diameter", "survey.unknown-key", "survey.type",
    ]  # fmt: skip


def test_a_centre_line_must_be_said(tmp_path):
    found = faults(tmp_path, ('pairs = [["a", "b"]]', 'left = ["a"]'), ('centre_line = ["c"]', ""))
    assert [finding.key for finding in found] == ["plate.middle"]
    found = faults(tmp_path, ('pairs = [["a", "b"]]', ""), ('centre_line = ["c"]', ""))
    assert {finding.key for finding in found} == {"plate.middle", "plate.left"}


def test_edges_of_a_middle_must_be_measured_from(tmp_path):
    changes = ('pairs = [["a", "b"]]', 'left = ["a"]'), ('["c"]', '["c"]')
    text = ("centre_line", "#"), ('origin = "front"', 'origin = "a"\nmiddle = ["left", "right"]')
    [finding] = faults(tmp_path, *changes, *text)
    assert finding.message == "the left or the right edge has no distance to a hole"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"name = ", "syntax"),
        (b"\xff", "not-utf8"),
        (b"#" * 1_000_001, "too-big"),
        (b"holes = 3\ndistances = []\nplate = 1\ngroup = 2\n", "type"),
        (b"", "missing-key"),
        (SMALL.partition("b = 5.5")[0].encode(), "no-hole"),
        (b"[holes]\n" + b"\n".join(b"h%d = 5" % n for n in range(61)), "too-many-holes"),
        (b"[[holes]]\na = 5\n[[distances]]\n[[plate]]", "type"),
    ],
)
def test_what_is_no_survey_is_refused(tmp_path, data, code):
    path = tmp_path / "survey.toml"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_survey(path)
    assert f"survey.{code}" in {finding.code for finding in caught.value.findings}


def test_a_missing_file_is_named():
    with pytest.raises(InputError) as caught:
        read_survey("no/such.toml")
    assert caught.value.findings[0].code == "survey.missing"
