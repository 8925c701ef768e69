"""Jobs files: what spreadsheets write is read, and all that is wrong is said at once."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jiggen.errors import InputError
from jiggen.evening.read import MAX_BYTES, MAX_ROWS, read_jobs

MANY = 2_000  # rows

HEAD = "ticket,pattern,boot,ski_toe,ski_heel,core,shift,thickness,old_holes\n"
ROW = "A1,club-piste,305,96,92.5,metal,-5,23/21,\n"


def written(folder: Path, data: str | bytes, name: str = "jobs.csv") -> Path:
    path = folder / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def read(folder: Path, data: str | bytes, name: str = "jobs.csv"):
    return read_jobs(written(folder, data, name))


def codes(jobs) -> list[str]:
    return [finding.code.removeprefix("evening.") for _, finding in jobs.faults]


def refused(folder: Path, data: str | bytes, name: str = "jobs.csv") -> list[str]:
    with pytest.raises(InputError) as caught:
        read(folder, data, name)
    return [finding.code.removeprefix("evening.") for finding in caught.value.findings]


# -- what is read --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [
        HEAD + ROW,
        "\ufeff" + HEAD + ROW,  # with a byte-order mark, as spreadsheets write UTF-8
        (HEAD + ROW).replace("\n", "\r\n"),
        (HEAD + ROW).replace("\n", "\r"),
        (HEAD + ROW).replace(",", ";").replace("92.5", "92,5"),
        "sep=;\n" + (HEAD + ROW).replace(",", ";").replace("92.5", "92,5"),
        (HEAD + ROW).replace(",", "\t").replace("92.5", "92,5"),
        (HEAD + ROW).replace(",", "\t").replace("92.5", "92,5").encode("utf-16"),
        "# Tuesday\n\n" + HEAD + "\n" + ROW + ",,,,,,,,\n\n",
        HEAD.replace("ski_toe", "Ski toe").replace("old_holes", "Old-Holes") + ROW,
        HEAD + '"A1","club-piste","305","96","92.5","metal","-5","23/21",""\n',
        HEAD.replace("boot", "boot (in)") + ROW.replace("305", "12.00787401574803"),
        HEAD.rstrip() + ",,\n" + ROW.rstrip() + ",,\n",  # empty columns at the end
    ],
    ids=lambda data: repr(data)[:40],
)
def test_one_job_in_every_way_spreadsheets_write_it(tmp_path, data):
    jobs = read(tmp_path, data)
    assert jobs.faults == ()
    [job] = jobs.rows.values()
    assert (job.ticket, job.pattern, job.core) == ("A1", "club-piste", "metal")
    assert job.boot == pytest.approx(305, abs=1e-6)
    assert (job.ski_toe, job.ski_heel, job.shift, job.thickness) == (96, 92.5, -5, (23, 21))
    assert job.old_holes == ""


def test_the_same_job_in_toml(tmp_path):
    text = """format = 1
[[job]]
ticket = "A1"
pattern = "club-piste"
boot = 305
ski_toe = "96mm"
ski_heel = 92.5
core = "metal"
shift = -5
thickness = [23, 21]
"""
    [job] = read(tmp_path, text, "jobs.toml").rows.values()
    [same] = read(tmp_path, HEAD + ROW).rows.values()
    assert job == same


def test_columns_that_may_be_left_out_have_their_defaults(tmp_path):
    [job] = read(tmp_path, "ticket,pattern,boot,ski_toe,ski_heel\nA1,p,305,96,92\n").rows.values()
    assert (job.core, job.shift, job.thickness, job.old_holes) == ("plain", 0.0, (), "")


def test_a_unit_in_the_head_serves_both_thicknesses(tmp_path):
    head = HEAD.replace("thickness", "thickness [in]")
    [job] = read(tmp_path, head + "A1,p,305,96,92,,,0.9/0.85,\n").rows.values()
    assert job.thickness == pytest.approx((22.86, 21.59))  # 25.4 mm to the inch


# -- what is wrong -------------------------------------------------------------------------------


def test_all_faults_of_all_rows_are_said_at_once_with_line_and_column(tmp_path):
    jobs = read(
        tmp_path,
        HEAD
        + "#2,club-piste,=B2,96,92,tin,,1/2/3,\n"
        + ROW
        + ",,,,,,,,x\n"
        + 'A2,"a ""b""",305,9x,92,,,,\n',
    )
    said = [(f.where.rpartition(":")[2], f.key, f.code.partition(".")[2]) for _, f in jobs.faults]
    assert said == [
        ("2", "ticket", "ticket"),
        ("2", "boot", "formula"),
        ("2", "core", "core"),
        ("2", "thickness", "length"),
        ("4", "ticket", "empty"),
        ("4", "pattern", "empty"),
        ("4", "boot", "empty"),
        ("4", "ski_toe", "empty"),
        ("4", "ski_heel", "empty"),
        ("5", "ski_toe", "length"),
    ]
    assert list(jobs.rows) == [1]  # of what is sound, with its place
    assert jobs.places[1].where.endswith(":3")
    [quoted] = read(tmp_path, HEAD + 'A2,"a ""b""",305,96,92,,,,\n').rows.values()
    assert quoted.pattern == 'a "b"'


@pytest.mark.parametrize(
    "ticket",
    ["=1+1", "+A", "-A", "@A", "\u202eA1", "A\u200b1", "A\x071", "A\x1b[31m", "A" * 41, "#1"],
    ids=ascii,
)
def test_tickets_that_are_not_to_be_trusted(tmp_path, ticket):
    assert len(codes(read(tmp_path, HEAD + ROW.replace("A1", ticket)))) == 1


@pytest.mark.parametrize(("one", "other"), [("A1", "a1"), ("A1", "A1"), ("A1", "Ａ１")])
def test_tickets_that_look_alike_are_the_same(tmp_path, one, other):
    jobs = read(tmp_path, HEAD + ROW.replace("A1", one) + ROW.replace("A1", other))
    [(row, fault)] = jobs.faults
    assert (row, fault.code) == (1, "evening.same-ticket")
    assert "also at" in fault.message and "jobs.csv:2" in fault.message


def test_a_comment_under_the_names_is_a_faulty_job_and_not_passed_over(tmp_path):
    assert codes(read(tmp_path, HEAD + "# " + ROW)) == ["ticket"]


def test_a_decimal_comma_between_commas_is_one_cell_too_many(tmp_path):
    wide = "A2,p,305,96,5,92,5,plain,0,22,x.csv\n"
    jobs = read(tmp_path, HEAD + wide + ROW.replace("305", "3x5"))
    assert sorted((row, f.code) for row, f in jobs.faults) == [
        (0, "evening.cells"),
        (1, "evening.length"),
    ]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        ("", ["no-job"]),
        (HEAD, ["no-job"]),
        ("# nothing\n\n", ["no-job"]),
        ("ticket,boot\nA,1\n", ["missing-column"] * 3),
        (HEAD.replace("boot", "boots").replace("core", "ticket") + ROW, None),
        (HEAD + 'A1,"club\n', ["syntax"]),
        (HEAD + 'A1,"cl"ub,305\n', ["syntax"]),
        ((HEAD + ROW).encode("cp1252").replace(b"A1", b"J\x81rg"), ["not-utf8"]),
        ("\ufeff".encode("utf-16-le") + b"a", ["not-utf8"]),
        (b"x" * (MAX_BYTES + 1), ["too-big"]),
        (HEAD + ROW * (MAX_ROWS + 1), ["too-many-jobs"]),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_files_that_cannot_be_taken_apart(tmp_path, data, code):
    found = refused(tmp_path, data)
    assert found == (code or ["unknown-column", "same-column", "missing-column"])


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("format = 1\n[[job]", ["syntax"]),
        ("format = 1\n", ["no-job"]),
        ("a = " + "[" * 5000, ["syntax"]),
    ],
)
def test_toml_that_cannot_be_read(tmp_path, text, code):
    assert refused(tmp_path, text, "jobs.toml") == code


def test_faults_in_toml_have_their_line_and_key(tmp_path):
    text = 'format = 2\njobs = 1\n[[job]]\nticket = true\nboot = 305\nbots = 3\ncore = "plain"\n'
    assert refused(tmp_path, text, "jobs.toml") == ["value", "unknown-key"]
    jobs = read(tmp_path, text.replace("= 2", "= 1").replace("jobs", "note"), "jobs.toml")
    said = {(f.where.partition("jobs.toml")[2], f.key, f.code[8:]) for _, f in jobs.faults}
    assert said >= {
        (":4:1", "job[1].ticket", "type"),
        (":6:1", "job[1].bots", "unknown-key"),
        (":3:1", "job[1].pattern", "empty"),
    }


def test_what_is_not_a_file_is_not_opened(tmp_path):
    import os

    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for path, code in (
        (pipe, "unreadable"),
        (tmp_path, "folder"),
        (tmp_path / "none.csv", "missing"),
        (Path("a\0b.csv"), "unreadable"),
    ):
        with pytest.raises(InputError) as caught:
            read_jobs(path)
        assert caught.value.findings[0].code == f"evening.{code}"


def test_memory_grows_with_the_rows_and_no_faster(tmp_path):
    rows = "".join(f"A{n},club-piste,305,96,92.5,,,,\n" for n in range(MANY))
    path = written(tmp_path, HEAD + rows)
    tracemalloc.start()
    jobs = read_jobs(path)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(jobs.rows) == MANY
    assert jobs.faults == ()
    assert peak < 6_000 * MANY  # bytes


LINES = st.lists(
    st.text(alphabet=st.sampled_from('A1,;\t"\n\r=#.-/ \u202e\0é😀'), max_size=30)
    | st.just(ROW.strip()),
    max_size=6,
)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(LINES, st.sampled_from(["", HEAD, HEAD.replace(",", ";")]), st.sampled_from(["csv", "toml"]))
def test_no_text_is_more_than_refused(tmp_path, lines, head, kind):
    path = written(tmp_path, head + "\n".join(lines), f"fuzz.{kind}")
    try:
        jobs = read_jobs(path)
    except InputError as error:
        assert all(finding.code.startswith("evening.") for finding in error.findings)
    else:
        assert list(jobs.rows) == [
            n for n in range(len(jobs.places)) if n not in {row for row, _ in jobs.faults}
        ] or "same-ticket" in codes(jobs)
        assert all(0 <= row < len(jobs.places) for row, _ in jobs.faults)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.binary(max_size=200), st.sampled_from(["csv", "toml"]))
def test_no_bytes_are_more_than_refused(tmp_path, data, kind):
    try:
        read_jobs(written(tmp_path, data, f"fuzz.{kind}"))
    except InputError as error:
        assert error.findings
