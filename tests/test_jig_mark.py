"""The jig mark: made from what was asked for, and never taken for anything else."""

from dataclasses import replace
from itertools import combinations

import pytest
import shapely
from shapely.geometry import box

from jiggen import cautions, wording
from jiggen.design.engraving import Board, nearest_box
from jiggen.design.gauge import design_gauge
from jiggen.design.lettering import Drawn, Sign, letter
from jiggen.design.settings import Bed, Settings, SkiRange
from jiggen.design.trial import design_trial
from jiggen.drilling import DrillingLimits, SkiState
from jiggen.errors import InputError
from jiggen.export.asked import asked_of_gauge, asked_of_jig, asked_of_trial
from jiggen.files import JOB_FILE, PATTERN_FILE
from jiggen.job import Job, design_job, job_name
from jiggen.marks import DIGITS, LENGTH, LETTERS, jig_mark, read_jig_mark
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.read import parse_pattern
from jiggen.request.products import GAUGE, JIG, TRIAL
from jiggen.verify.reading import engraved as written
from jiggen.verify.signs import shapes_of

ALIKE = ["0ODQ", "1IL", "2Z", "5S", "6G", "8B", "UV", "MW"]
MARK = "K7F3H"
CLUB = read_pattern(find_pattern("club-piste"))


SETTINGS = Settings(SkiRange(84.0, 112.0))


def club(boot=305.0, most=None, **how) -> Job:
    return Job(CLUB, (boot, most or boot), SETTINGS, **how)


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
    place = written.Sign(kind="text", text=sign, x=(x0 + x1) / 2, y=(y0 + y1) / 2, size=3.0, turn=0)
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
    wider = texts[0][PATTERN_FILE].replace("plain = 3.6", "plain = 3.7")
    assert jig_mark({**texts[0], PATTERN_FILE: wider}) != marks[0]


def test_what_decides_nothing_of_the_print_does_not_change_its_mark():
    wanted = jig_mark(asked_of_jig(club()))
    noted = CLUB.text.replace('note = "', '# a remark\nnote = "Another: ')
    assert noted != CLUB.text
    for job in (
        club(side="right"),  # of a pattern that is alike on both
        club(measured=SkiState(thickness=(23.0,))),
        club(limits=DrillingLimits(base_left=3.0)),
        replace(club(), pattern=parse_pattern(noted, "club.toml")),
    ):
        assert jig_mark(asked_of_jig(job)) == wanted
    skew = read_pattern(find_pattern("skew-plate"))
    left, right = (replace(club(side=side), pattern=skew) for side in ("left", "right"))
    assert jig_mark(asked_of_jig(left)) != jig_mark(asked_of_jig(right))


def test_a_mark_is_no_word_no_number_and_no_name_in_its_texts():
    marks = [jig_mark({JOB_FILE: f"boots = {number}"}) for number in range(2000)]
    words = " ".join(
        str(value) for module in (wording, cautions) for value in vars(module).values()
    ).upper()
    for mark in marks:
        assert len(mark) == LENGTH
        assert set(mark) & set(DIGITS)
        assert set(mark) & set(LETTERS)
        assert not mark.replace("E", "", 1).isdecimal()  # nor one to a spreadsheet, 3E479
        assert mark not in words
    assert len(set(marks)) > 1990  # two in a million are alike
    # a hole of that name
    named = {JOB_FILE: "boots = 0", PATTERN_FILE: f"id = '{marks[0].lower()}'"}
    bare = jig_mark({JOB_FILE: "boots = 0"})
    assert marks[0] == bare
    assert jig_mark(named) not in (bare, marks[0])


@pytest.mark.parametrize("typed", ["K7F3H", " k7f3h ", "k7f 3h", "K7-F3H"])
def test_a_mark_is_read_as_it_is_typed(typed):
    assert read_jig_mark(typed) == "K7F3H"


@pytest.mark.parametrize("typed", ["", "K7F3", "K7F3HH", "K7F30", "K7F3/"])
def test_what_is_no_mark_is_refused(typed):
    with pytest.raises(InputError) as caught:
        read_jig_mark(typed)
    assert caught.value.findings[0].code == "marks.form"
    assert "sheet" in caught.value.findings[0].hint


# -- engraved ------------------------------------------------------------------------------------


def marked(items) -> list[Sign]:
    return [sign for item in items for sign in item.signs if sign.text == MARK]


@pytest.mark.parametrize("job", [club(), club(300.0, 310.0)], ids=["one boot", "many boots"])
def test_each_body_of_a_jig_bears_its_mark_apart_from_other_words(job):
    bodies = design_job(job, jig_mark=MARK).whole.bodies
    assert len(bodies) == 2
    for body in bodies:
        (sign,) = marked(body.engravings)
        assert sign.size >= 3.0
        shapes = {
            item.name: shapely.union_all([region.polygon for region in item.regions])
            for item in body.engravings
        }
        mine = shapes.pop(MARK)
        assert min(mine.distance(other) for other in shapes.values()) > 3.0
    unmarked = design_job(job).whole.bodies
    assert not any(marked(body.engravings) for body in unmarked)


def test_each_piece_of_a_trial_plate_and_the_frame_of_a_gauge_bear_it():
    plates = design_trial(club().lay_out(), SETTINGS.bed, jig_mark=MARK).plates
    assert [len(marked(plate.engravings)) for plate in plates] == [1, 1]
    assert len(marked(design_gauge(SETTINGS.bed, jig_mark=MARK).engravings)) == 1


def test_a_trial_plate_without_room_for_it_is_refused(monkeypatch):
    monkeypatch.setattr("jiggen.design.trial.marked", lambda _: (Drawn(box(0, 0, 400, 400)),))
    with pytest.raises(InputError) as caught:
        design_trial(club().lay_out(), SETTINGS.bed, jig_mark=MARK)
    (fault,) = caught.value.findings
    assert fault.code == "design.no-room" and "plate-toe" in fault.message


def test_a_jig_without_room_for_it_is_refused(monkeypatch):
    monkeypatch.setattr("jiggen.design.engraving.marked", lambda _: (Drawn(box(0, 0, 400, 400)),))
    with pytest.raises(InputError) as caught:
        design_job(club(), jig_mark=MARK)
    (fault,) = caught.value.findings
    assert fault.code == "design.no-room" and fault.message.endswith(MARK)


def test_where_room_is_short_it_stands_as_close_as_other_words_do():
    shape, middle = Drawn(box(0.0, 0.0, 10.0, 4.0)), (25.0, 5.0)
    for length, gap in ((80.0, 3.0), (31.0, 1.0)):
        board = Board((0.0, 0.0, length, 6.0), [box(0.0, 0.0, 18.0, 6.0)], clear=1.0, edge=1.0)
        found = board.put_apart((shape,), middle, nearest_box)
        assert found is not None
        assert found.bounds[0] - 18.0 >= gap
    full = Board((0.0, 0.0, 28.0, 6.0), [box(0.0, 0.0, 18.0, 6.0)], clear=1.0, edge=1.0)
    assert full.put_apart((shape,), middle, nearest_box) is None


# -- copies --------------------------------------------------------------------------------------


def test_a_second_copy_has_another_mark_and_another_folder():
    once, again = asked_of_jig(club()), asked_of_jig(club(copy=2))
    assert "copy" not in once[JOB_FILE]  # as every folder was before
    assert "\ncopy = 2\n" in again[JOB_FILE]
    assert jig_mark(once) != jig_mark(again)
    assert job_name(club(copy=2)) == f"{job_name(club())}-copy2"
    marks = {jig_mark(asked_of_gauge(SETTINGS.bed, "auto", 150.0, copy)) for copy in range(1, 10)}
    marks |= {
        jig_mark(asked_of_trial(CLUB, club().lay_out(), SETTINGS.bed, None, None, copy))
        for copy in range(1, 10)
    }
    assert len(marks) == 18


def test_every_product_can_be_asked_for_in_copies():
    job = {"pattern": ["club-piste"], "boot": ["305"], "ski": ["84-112"]}
    for form, words in ((JIG, job), (TRIAL, job), (GAUGE, {})):
        once, again = form.read(words), form.read(words | {"copy": ["2"]})
        assert f"{again.target()}" == f"{once.target()}-copy2"
        assert "copy" not in form.command_line(words)
        assert form.command_line(words | {"copy": ["2"]}).endswith(" --copy 2")
        with pytest.raises(InputError, match="whole number from 1 to 999"):
            form.read(words | {"copy": ["0"]})
    assert JIG.read(job | {"copy": ["2"]}).job().copy == 2
