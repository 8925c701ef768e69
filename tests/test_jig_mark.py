"""The jig mark: made from what was asked for, and never taken for anything else."""

import random
from itertools import combinations

import pytest

from jiggen import cautions, wording
from jiggen.design.lettering import letter
from jiggen.design.settings import Bed, Settings, SkiRange
from jiggen.errors import InputError
from jiggen.export.asked import asked_of_gauge, asked_of_jig, asked_of_trial
from jiggen.files import JOB_FILE, PATTERN_FILE
from jiggen.job import Job
from jiggen.marks import DIGITS, LENGTH, LETTERS, jig_mark, read_jig_mark
from jiggen.pattern import find_pattern, read_pattern
from jiggen.verify.reading.engraved import Sign
from jiggen.verify.signs import shapes_of

ALIKE = ["0ODQ", "1IL", "2Z", "5S", "6G", "8B", "UV", "MW"]
CLUB = read_pattern(find_pattern("club-piste"))


SETTINGS = Settings(SkiRange(84.0, 112.0))


def club(boot=305.0, **how) -> Job:
    return Job(CLUB, (boot, boot), SETTINGS, **how)


def test_no_sign_of_a_mark_looks_like_another():
    signs = DIGITS + LETTERS
    assert len(set(signs)) == len(signs) == 17
    for group in ALIKE:
        assert not set(group) & set(signs)
    for one, other in combinations(signs, 2):
        a, b = letter(one, 5.0), letter(other, 5.0)
        apart = a.symmetric_difference(b).area / max(a.area, b.area)
        assert apart > 0.15, (one, other)  # E and F: a whole bar, 17 %


@pytest.mark.parametrize("sign", DIGITS + LETTERS)
def test_every_sign_is_engraved_as_the_verification_draws_it(sign):
    cut = letter(sign, 3.0)
    x0, y0, x1, y1 = cut.bounds
    place = Sign(kind="text", text=sign, x=(x0 + x1) / 2, y=(y0 + y1) / 2, size=3.0, turn=0)
    ((_, drawn),) = shapes_of(place)
    assert drawn.boundary.hausdorff_distance(cut.boundary) < 0.01


def test_other_jobs_and_other_kinds_have_other_marks():
    job = club()
    layout = job.lay_out()
    texts = [
        asked_of_jig(job),
        asked_of_jig(club(shift=5.0)),
        asked_of_jig(club(306.0)),
        asked_of_jig(club(core="metal")),
        asked_of_trial(CLUB, layout, SETTINGS.bed, None),
        asked_of_gauge(SETTINGS.bed, "auto", 150.0),
        asked_of_gauge(Bed(200.0, 200.0, 200.0), "auto", 150.0),
    ]
    marks = [jig_mark(each) for each in texts]
    assert len(set(marks)) == len(texts)
    assert marks == [jig_mark(dict(reversed(each.items()))) for each in texts]
    noted = {**texts[0], PATTERN_FILE: texts[0][PATTERN_FILE] + "\n"}
    assert jig_mark(noted) != marks[0]


def test_a_mark_is_no_word_no_number_and_no_name_in_its_texts():
    marks = [jig_mark({JOB_FILE: f"boots = {number}"}) for number in range(2000)]
    words = " ".join(
        str(value) for module in (wording, cautions) for value in vars(module).values()
    ).upper()
    for mark in marks:
        assert len(mark) == LENGTH
        assert set(mark) & set(DIGITS)
        assert set(mark) & set(LETTERS)
        assert mark not in words
    assert len(set(marks)) > 1990  # two in a million are alike
    named = {JOB_FILE: "boots = 0", PATTERN_FILE: f"id = {marks[0].lower()}"}
    bare = jig_mark({JOB_FILE: "boots = 0"})
    assert marks[0] == bare
    assert jig_mark(named) not in (bare, marks[0])


def test_no_hole_has_the_mark_of_its_jig():
    signs, chance = DIGITS + LETTERS, random.Random(16)
    names = ["".join(chance.choices(signs, k=LENGTH)) for _ in range(40_000)]
    text = "\n".join(names)
    for number in range(50):
        assert jig_mark({JOB_FILE: f"boots = {number}", PATTERN_FILE: text}) not in names


@pytest.mark.parametrize("typed", ["K7F3H", " k7f3h ", "k7f 3h", "K7-F3H"])
def test_a_mark_is_read_as_it_is_typed(typed):
    assert read_jig_mark(typed) == "K7F3H"


@pytest.mark.parametrize("typed", ["", "K7F3", "K7F3HH", "K7F30", "K7F3/"])
def test_what_is_no_mark_is_refused(typed):
    with pytest.raises(InputError) as caught:
        read_jig_mark(typed)
    assert caught.value.findings[0].code == "marks.form"
    assert "sheet" in caught.value.findings[0].hint
