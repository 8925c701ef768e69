"""The page of a plate and no sheet: rows, what they say, files kept, the same pattern."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode

import pytest
from desk_client import OWN, part
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from jiggen.cli import app, run
from jiggen.errors import InputError
from jiggen.files import parse_toml
from jiggen.measure.survey.blank import blank_text
from jiggen.measure.survey.read import read_survey
from jiggen.request.plate import Entry, draft, survey_toml, words_of

EXAMPLE = Path(__file__).parent / "data" / "survey.toml"


@pytest.fixture(scope="module")
def sample() -> dict[str, str]:
    """The fields of the sample plate."""
    return words_of(parse_toml(EXAMPLE.read_text(encoding="utf-8")))


def row_of(words: dict[str, str], first: str, second: str, how: str) -> int:
    return next(
        int(name.partition(".")[2])
        for name in words
        if name.startswith("from.")
        and [words[f"{one}.{name[5:]}"] for one in ("from", "to", "how")] == [first, second, how]
    )


def test_the_sample_plate_gives_the_same_pattern_by_page_and_command(desk: TestClient, sample):
    query = urlencode(sample)
    answer = desk.post(f"/survey/save?{query}", headers=OWN)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/survey?{query}")
    answer = desk.post(f"/survey/pattern?{query}", headers=OWN)
    assert answer.headers["location"] == "/jig?pattern=arvenal-bench-plate"
    made = Path("patterns/arvenal-bench-plate.toml").read_bytes()
    page = desk.get(f"/survey?{query}").text
    line = unescape(re.search(r'<pre id="command".*?>(.*?)</pre>', page, re.S)[1])
    assert (
        line
        == "jiggen survey surveys/arvenal-bench-plate.toml --out patterns/arvenal-bench-plate.toml"
    )
    for survey in (EXAMPLE, Path("surveys/arvenal-bench-plate.toml")):
        assert run(app, ["survey", str(survey), "-o", "by-command.toml"]) == 0
        assert Path("by-command.toml").read_bytes() == made
    drawn = desk.get("/jig?pattern=arvenal-bench-plate&boot=305&ski=84-112").text
    assert drawn.count("<circle cx=") == 7


def test_a_row_that_is_emptied_is_removed(desk: TestClient, sample):
    row = row_of(sample, "a", "b", "outside")
    emptied = {f"{name}.{row}" for name in ("from", "to", "read")}
    left = {name: words for name, words in sample.items() if name not in emptied}
    assert f'name="from.{row}"' in desk.get(f"/survey?{urlencode(sample)}").text
    assert f'name="from.{row}"' not in desk.get(f"/survey?{urlencode(left)}").text
    desk.post(f"/survey/save?{urlencode(left)}", headers=OWN)
    before, after = (
        parse_toml(path.read_text(encoding="utf-8"))["distances"]["a-b"]
        for path in (EXAMPLE, Path("surveys/arvenal-bench-plate.toml"))
    )
    assert before.keys() - after.keys() == {"outside"}


def test_the_page_says_what_the_command_says(desk: TestClient, sample, capsys):
    assert run(app, ["survey", str(EXAMPLE)]) == 0
    out, err = capsys.readouterr()
    page = desk.get(f"/survey?{urlencode(sample)}").text
    said = part(page, "found")
    sentences = " ".join(out.split())[" ".join(out.split()).index("95 of 100") :]
    assert "they agree within" in said and said[said.index("they agree within") :][:40] in sentences
    for name, x, y in re.findall(r"(?m)^([a-g]) +(-?[0-9.]+) +(-?[0-9.]+)", out):
        assert f"{name} {x} {y} " in said
    assert "Every hole is known well enough" in said and not err
    a_b = row_of(sample, "a", "b", "outside")
    fits, off = re.search(r"a to b, outside to outside +48.70 +(\S+) +(\S+)", out).groups()
    assert (part(page, f"fits.{a_b}"), part(page, f"off.{a_b}")) == (fits, off)


def test_a_misreading_is_marked_in_its_row_and_what_to_do_is_said(desk: TestClient, sample):
    wrong = row_of(sample, "c", "f", "outside")
    words = sample | {f"read.{wrong}": "108.67"}
    page = desk.get(f"/survey?{urlencode(words)}").text
    assert "wrong?" in part(page, f"off.{wrong}") and page.count("wrong?") == 1
    assert "Not known well enough yet" in part(page, "found")
    assert "Measure it again" in part(page, "found")
    query = urlencode(words)
    assert desk.post(f"/survey/pattern?{query}", headers=OWN).status_code == 422
    assert not Path("patterns").exists()
    assert (
        desk.post(f"/survey/pattern?{query}", headers=OWN, data={"accept": "on"}).status_code == 303
    )
    assert "ACCEPTED BY HAND" in Path("patterns/arvenal-bench-plate.toml").read_text(
        encoding="utf-8"
    )


def test_a_file_of_that_name_is_replaced_only_on_purpose(desk: TestClient, sample):
    for what, folder in (("save", "surveys"), ("pattern", "patterns")):
        kept = Path(folder) / "arvenal-bench-plate.toml"
        kept.parent.mkdir()
        kept.write_text("mine", encoding="utf-8")
        query = urlencode(sample)
        answer = desk.post(f"/survey/{what}?{query}", headers=OWN)
        assert answer.status_code == 422 and "nothing was written" in answer.text
        assert kept.read_text(encoding="utf-8") == "mine"
        data = {"replace": "on"}
        assert desk.post(f"/survey/{what}?{query}", headers=OWN, data=data).status_code == 303
        assert kept.read_text(encoding="utf-8") != "mine"
        assert desk.post(f"/survey/{what}?{query}", headers=OWN).status_code == 303  # the same text


def test_every_fault_stands_beside_its_row_or_field(desk: TestClient, sample):
    faulty = {
        ("read.", row_of(sample, "a", "c", "outside")): ("abc", "is not"),
        ("to.", row_of(sample, "c", "e", "outside")): ("z", "there is no hole"),
        ("read.", row_of(sample, "a", "d", "inside")): ("2000", "distance"),
    }
    words = sample | {f"{name}{row}": value for (name, row), (value, _) in faulty.items()}
    words["origin"] = "q"
    page = desk.get(f"/survey?{urlencode(words | {'diameter.3': '99'})}").text
    for _, row in [*faulty][::2]:
        assert re.search("[a-z]", part(page, f"row.{row}")), row
    assert "A hole of 99 mm" in part(page, "holes.3")
    page = desk.get(f"/survey?{urlencode(words | faulty_free(words, sample, faulty))}").text
    assert 'no hole "q"' in part(page, "origin-faults").lower()
    twice = desk.get(f"/survey?{urlencode(sample | {'hole.2': 'a'})}").text
    assert "two holes are called" in part(twice, "holes.2").lower()


def faulty_free(words: dict[str, str], sample: dict[str, str], faulty: Any) -> dict[str, str]:
    return {f"{name}{row}": sample[f"{name}{row}"] for name, row in faulty}


def test_one_begins_with_the_form_and_the_sketch_grows(desk: TestClient, sample):
    begun = desk.get("/survey?holes=7")
    words = {
        name: one[0] for name, one in parse_qs(begun.headers["location"].partition("?")[2]).items()
    }
    page = desk.get(begun.headers["location"]).text
    assert "Still open: the plate's name" in part(page, "found") and "<svg" not in page
    assert "<svg" not in page
    words |= {f"diameter.{row}": "5.5" for row in range(1, 8)}
    counts = []
    plain = {
        name: one
        for name, one in sample.items()
        if not name.startswith(("read", "from", "to", "how"))
    }
    rows = [row for row in range(1, 20) if f"read.{row}" in sample]
    for count in (1, 8, 12, len(rows)):
        some = plain | {
            f"{one}.{row}": sample[f"{one}.{row}"]
            for row in rows[:count]
            for one in ("from", "to", "how", "read")
        }
        page = desk.get(f"/survey?{urlencode(some)}").text
        counts.append(len(re.findall(r"<circle ", page)))
        if count < 9:
            assert "place not known" in page and "Measure" in part(page, "found")
    assert counts[0] < counts[-1] == 7
    assert desk.get("/survey?holes=3").status_code == 200
    assert "3 to 26" not in desk.get("/survey?holes=3").text


def test_a_dropped_survey_fills_the_rows_and_nothing_of_it_is_lost(desk: TestClient, sample):
    send = {"file": ("survey.toml", EXAMPLE.read_bytes())}
    answer = desk.post("/survey/file", headers=OWN, files=send)
    assert answer.headers["location"] == f"/survey?{urlencode(sample)}"
    lost = EXAMPLE.read_text(encoding="utf-8").replace("note =", "remark =")
    answer = desk.post("/survey/file", headers=OWN, files={"file": ("survey.toml", lost.encode())})
    assert answer.status_code == 422 and "remark" in answer.text
    for name, data in (("survey.toml", b"a = ["), ("x.xlsx", b"PK"), ("x.csv", b"\xff\x00")):
        answer = desk.post("/survey/file", headers=OWN, files={"file": (name, data)})
        assert answer.status_code == 422 and name in answer.text
    assert desk.post("/survey/file", headers=OWN).status_code == 422
    assert not list(Path().iterdir())


LISTS = """
format = 1
name = "Ö 5"
units = "in"
sigma = 0.004
pair = "mirrored"
drill = { diameter = { plain = 0.15, metal = 0.16 }, depth = 0.3, unusual = true }
group = { name = "p", datum = "boot-toe", shift = -1 }
holes = { name = 0.25, b_2 = 0.25, c = "0,25" }
[distances]
name-b_2 = { centre = [2, 2.01], inside = 1.75, sigma = 0.002 }
b_2-c = { outside = 3.25 }
c-name = { centre = 3 }
[plate]
along = ["c", "name"]
left = ["b_2"]
middle = ["name", "c"]
origin = ["name", "c"]
"""


@pytest.mark.parametrize(
    "text", [EXAMPLE.read_text(encoding="utf-8"), LISTS, *map(blank_text, (4, 7, 26))]
)
def test_fields_and_file_say_the_same(text: str, tmp_path: Path):
    data = parse_toml(text)
    again = Entry({name: [one] for name, one in words_of(data).items()}).data()
    path = tmp_path / "again.toml"
    path.write_text(survey_toml(again), encoding="utf-8")
    if '= ""' in text:
        assert not draft(again).complete
        return
    source = tmp_path / "source.toml"
    source.write_text(text, encoding="utf-8")
    one, other = read_survey(source), read_survey(path)
    assert (one.file, one.readings, one.again) == (other.file, other.readings, other.again)


ROWS = ["hole", "diameter", "from", "to", "how", "read", "tool"]
WORDS = st.dictionaries(
    st.sampled_from(["name", "origin", "pairs", "front", "sigma", "boot", "units", "drill-plain"])
    | st.builds("{}.{}".format, st.sampled_from(ROWS), st.integers(0, 4)),
    st.text(max_size=8) | st.sampled_from(["a", "b", "5.5", "40", "inside", "other", "[1]"]),
    max_size=20,
)


@given(WORDS)
@settings(max_examples=150, deadline=None)
def test_whatever_is_entered_is_a_survey_or_said_to_be_none(words: dict[str, str]):
    try:
        data = Entry({name: [one] for name, one in words.items() if one.strip()}).data()
    except InputError as error:
        assert error.findings
        return
    draft(data)
    assert survey_toml(data)
