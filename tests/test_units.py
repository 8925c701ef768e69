from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jiggen.errors import InputError
from jiggen.options import Option
from jiggen.units import length, length_range, lengths, sizes


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12.5", 12.5),
        ("12.5mm", 12.5),
        (" 12.5 MM ", 12.5),
        ("-8", -8.0),
        ("−8", -8.0),  # the minus sign that word processors make
        ("+.5", 0.5),
        ("3.", 3.0),
        ("0", 0.0),
        # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
        ("4.25in", 107.95),
        ("1 in", 25.4),
        ('1"', 25.4),
        ("14.2in", 360.68),
    ],
)
def test_a_length_in_mm_or_inches(text: str, mm: float):
    assert length(text) == mm


@pytest.mark.parametrize(
    "text",
    ["", " ", "nan", "NaN", "inf", "-inf", "1e3", "1_000", "12.5cm", "mm", "1 2", "12.5.1", "--5",
     "0x10", "12,5,1", "12.,5", "1.234,5", "12,", "٣", "5\n6", "9" * 400, "1/2in", "{}", "$(id)"],
)  # fmt: skip
def test_anything_else_is_refused_with_a_hint(text: str):
    with pytest.raises(InputError) as caught:
        Option("boot", "length", "").read(text)
    (finding,) = caught.value.findings
    assert finding.code == "units.length"
    assert finding.key == "boot"
    assert "12.5mm" in finding.hint
    assert len(finding.message) < 80


@pytest.mark.parametrize(
    ("text", "mm"), [("12,5", 12.5), ("-0,5", -0.5), (",5", 0.5), ("4,25in", 107.95)]
)
def test_a_decimal_comma_is_one_length(text: str, mm: float):
    assert length(text) == mm


def test_centimetres_are_no_length_since_shoes_have_them():
    with pytest.raises(InputError, match="Write millimetres, not centimetres"):
        length("30.5cm")


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("22", (22.0,)),
        ("23,5", (23.5,)),  # never 23 and 5
        ("23,5mm", (23.5,)),
        ("23/21", (23.0, 21.0)),
        ("24/22,5", (24.0, 22.5)),
        ("24 / 22,75", (24.0, 22.75)),
        ("24,5; 22", (24.5, 22.0)),
        ("24, 22", (24.0, 22.0)),
        ("24,5 22,5", (24.5, 22.5)),
        ("1/0.5in", (25.4, 12.7)),
    ],
)
def test_one_length_or_two(text: str, values: tuple[float, ...]):
    assert lengths(text, 1, 2) == values


@pytest.mark.parametrize("text", ["", "/", "23/", "24,5,22", "24/22/20", "a/b", "24 - 22"])
def test_no_lengths(text: str):
    with pytest.raises(InputError, match="23/21") as caught:
        lengths(text, 1, 2)
    assert caught.value.findings[0].code == "units.lengths"


def test_a_comma_that_may_part_two_lengths_is_refused_with_both_ways_to_write_it():
    with pytest.raises(InputError, match=r"Write 23\.21 for one, or 23/21 for two"):
        lengths("23,21", 1, 2)
    assert lengths("23,21", 2) == (23.0, 21.0)
    assert lengths("-210,200,32", 3) == lengths("-210/200/32", 3) == (-210.0, 200.0, 32.0)
    assert lengths("-210,5/200,5/32", 3) == (-210.5, 200.5, 32.0)
    assert lengths("150:96,5", 2) == (150.0, 96.5)


@given(st.lists(st.floats(-1e4, 1e4).map(lambda x: round(x, 3)), min_size=2, max_size=4))
def test_lists_mean_the_same_with_points_and_with_commas(values: list[float]):
    written = "/".join(f"{value:.3f}" for value in values)
    assert lengths(written, len(values)) == tuple(values)
    assert lengths(written.replace(".", ","), len(values)) == tuple(values)


@given(st.floats(min_value=-1e6, max_value=1e6))
def test_what_is_written_is_read(value: float):
    assert math.isclose(length(f"{value:.9f}"), value, abs_tol=1e-9)
    assert math.isclose(length(f"{value:.9f}in"), 25.4 * value, rel_tol=1e-12, abs_tol=3e-8)


@given(st.text(max_size=12))
def test_any_text_is_a_finite_length_or_an_input_error(text: str):
    try:
        assert math.isfinite(length(text))
    except InputError as error:
        assert error.findings[0].code == "units.length"


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("84-112", (84.0, 112.0)),
        ("84,5-112,5", (84.5, 112.5)),
        ("84 - 112", (84.0, 112.0)),
        ("84–112", (84.0, 112.0)),
        ("98", (98.0, 98.0)),
        ("98mm", (98.0, 98.0)),
        ("84-112mm", (84.0, 112.0)),
        ("3-4in", (76.2, 101.6)),  # the unit stands once, for both
        ("80mm-4in", (80.0, 101.6)),
        ("70-70", (70.0, 70.0)),
    ],
)
def test_a_range(text: str, ends: tuple[float, float]):
    assert length_range(text) == ends


@pytest.mark.parametrize("text", ["", "-", "84-", "-112", "84--112", "84-100-112", "0-5", "a-b"])
def test_no_range(text: str):
    with pytest.raises(InputError) as caught:
        Option("ski", "range", "").read(text)
    assert caught.value.findings[0].code == "units.range"
    assert caught.value.findings[0].key == "ski"


def test_a_range_from_large_to_small():
    with pytest.raises(InputError, match="smaller length first"):
        length_range("112-84")


def test_sizes():
    assert sizes("220x220x250", 3) == (220.0, 220.0, 250.0)
    assert sizes("220 X 220 × 250mm", 3) == (220.0, 220.0, 250.0)
    assert sizes("8x8x10in", 3) == (203.2, 203.2, 254.0)
    assert sizes("8x12", 2) == (8.0, 12.0)
    assert sizes("8,5x12", 2) == (8.5, 12.0)


@pytest.mark.parametrize("text", ["", "220", "220x220", "1x2x3x4", "220xx250", "0x1x1", "-1x1x1"])
def test_no_box(text: str):
    with pytest.raises(InputError, match="220x220x250") as caught:
        sizes(text, 3)
    assert caught.value.findings[0].code == "units.sizes"
