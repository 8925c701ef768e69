"""The pages of an evening: rows typed and dropped, the plan, building, the run ticked off."""

from __future__ import annotations

import io
import os
import re
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from desk_client import OWN, let_in
from starlette.testclient import TestClient
from test_shelf_store import sample

from jiggen.desk import evenings
from jiggen.desk import works as background
from jiggen.desk.lists import LISTS, find_list, read_table, run_of
from jiggen.desk.works import Works
from jiggen.errors import Finding
from jiggen.evening import Outcome
from jiggen.evening.read import as_csv, read_cells
from jiggen.pipeline.evening import JigTask
from jiggen.progress import announce
from jiggen.shelf.events import Event, now
from jiggen.shelf.store import open_shelf

ROWS = {
    1: {"ticket": "H1", "pattern": "hut-plate", "boot": "285", "ski_toe": "96,5", "ski_heel": "94"},
    2: {"ticket": "H2", "pattern": "hut-plate", "boot": "315", "ski_toe": "104", "ski_heel": "101"},
    4: {
        "ticket": "H3",
        "pattern": "hut-plate",
        "boot": "305",
        "ski_toe": "96",
        "ski_heel": "94",
        "core": "metal",
    },
}


def without_kernel(sender: Connection) -> None:
    """What a process does before its first work, here: nothing is drawn in it."""
    background._SENDER[:] = [sender]


@contextmanager
def started() -> Iterator[Works]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(background, "_prepare", without_kernel)
        made = Works(1)
    yield made
    made.close()


@pytest.fixture(scope="module")
def works() -> Iterator[Works]:
    with started() as made:
        yield made


@pytest.fixture
def desk(works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """No design is made to find out what a jig can serve."""
    monkeypatch.setattr("jiggen.evening.families.fits", lambda *_: True)
    monkeypatch.chdir(tmp_path)
    with let_in(works) as client:
        yield client


def address(rows: dict[int, dict[str, str]], **more: str) -> str:
    cells = {f"{name}-{n}": cell for n, row in rows.items() for name, cell in row.items()}
    return f"/evening?{urlencode(cells | more)}"


def part(text: str, name: str) -> str:
    """What stands in the element of that id up to the end of its line or the next id."""
    return re.split(r' id="', text.split(f'id="{name}"', 1)[1], maxsplit=1)[0]


def settled(desk: TestClient, at: str) -> str:
    """A page once its plan is worked out."""
    while "Working out" in (answer := desk.get(at)).text:
        assert answer.status_code == 200
    assert answer.status_code == 200, answer.text
    return answer.text


def keep(desk: TestClient, rows: dict[int, dict[str, str]], name: str, **more: str):
    sent = {"from": urlsplit(address(rows)).query, "name": name} | more
    return desk.post("/evening/list", data=sent, headers=OWN)


# -- rows and their plan ------------------------------------------------------------------------


def test_rows_that_are_typed_are_planned_at_once(desk):
    text = settled(desk, address(ROWS))
    assert "no fewer will do" in text and "3, 6 skis to clamp" in text
    assert text.count("to be built") == 2  # the plain one and the one under metal
    assert 'value="96,5"' in text and 'id="ticket-5"' in text  # one more row than typed
    assert "jiggen evening JOBS" in text  # there is no file yet
    assert not LISTS.exists()


def test_every_fault_stands_beside_its_row_and_column(desk):
    rows = ROWS | {2: ROWS[2] | {"boot": "three"}, 4: ROWS[4] | {"ticket": "H1", "core": "wood"}}
    text = settled(desk, address(rows))
    assert "is not a length" in part(text, "boot-2-faults")
    assert "is also at row 1" in part(text, "ticket-4-faults")
    assert "is not a valid core" in part(text, "core-4-faults")
    assert "fault" not in part(text, "boot-1-faults")
    assert "Boot: &#34;three&#34; is not a length." in part(text, "row-2-faults")
    several = part(settled(desk, address({1: {"ticket": "A"}})), "row-1-faults")
    assert (
        several.count('class="fault"') == 1
        and "Pattern, boot, ski toe, ski heel: is empty." in several
    )
    assert "3 faults in the list" in text and "The plan" not in text
    assert "Is empty" in part(settled(desk, address({1: {"ticket": "A"}})), "boot-1-faults")


def test_what_a_ski_cannot_take_stands_beside_its_width(desk):
    rows = {1: ROWS[1] | {"boot": "900"}, 2: ROWS[2] | {"ski_toe": "30"}}
    text = settled(desk, address(rows))
    assert 'class="fault"' in part(text, "boot-1-faults")
    assert 'class="fault"' in part(text, "ski_toe-2-faults")


def test_options_have_their_faults_and_their_part_in_the_command(desk):
    assert "jiggen evening JOBS --copy 2" in settled(desk, address(ROWS, copy="2"))
    text = settled(desk, address(ROWS, bed="220x220x250", edge="wide"))
    assert "is not a length" in part(text, "edge-faults")
    assert "jiggen evening JOBS --edge wide" in text.replace("--bed 220x220x250 ", "")


def test_more_rows_without_script(desk):
    assert desk.get("/evening").text.count('scope="row"') == 3
    assert desk.get("/evening?rows=5&more=5").text.count('scope="row"') == 10


# -- tables that are dropped --------------------------------------------------------------------

HEAD = "ticket;pattern;boot (in);ski toe;ski heel;colour\n"


def drop(desk: TestClient, name: str, data: bytes, query: str = ""):
    files = {"file": (name, data)}
    return desk.post("/evening/table", data={"from": query}, files=files, headers=OWN)


def test_a_table_is_put_into_the_address(desk):
    answer = drop(desk, "saturday.csv", f"{HEAD}A;hut-plate;12;96,5;94;red\n".encode(), "bed-rim=3")
    assert answer.status_code == 303
    query = dict(parse_qsl(urlsplit(answer.headers["location"]).query))
    assert query["boot-1"] == "12 in" and query["ski_toe-1"] == "96,5" and query["bed-rim"] == "3"
    text = desk.get(answer.headers["location"]).text
    assert "Passed over, as no column of such a table" in text and "colour" in text
    assert not LISTS.exists()


def test_a_workbook_is_read_as_office_programs_save_it(desk):
    from openpyxl import Workbook

    book, stream = Workbook(), io.BytesIO()
    book.active.append(["Ticket", "Pattern", "Boot", "Ski toe", "Ski heel", "Core"])
    book.active.append([118, "hut-plate", 305, 96.5, 94, "metal"])
    book.save(stream)
    query = dict(
        parse_qsl(urlsplit(drop(desk, "a.xlsx", stream.getvalue()).headers["location"]).query)
    )
    assert (query["ticket-1"], query["ski_toe-1"], query["core-1"]) == ("118", "96.5", "metal")


def test_a_table_too_long_for_an_address_is_kept_in_a_file(desk):
    lines = "".join(f"ticket {n},hut-plate,305,96.5,94\n" for n in range(900))
    data = f"ticket,pattern,boot,ski_toe,ski_heel\n{lines}".encode()
    locations = [drop(desk, "Huge list.csv", data).headers["location"] for _ in range(2)]
    assert locations[0] == "/evening?jobs=lists%2Fhuge-list.csv"
    assert locations[1] == "/evening?jobs=lists%2Fhuge-list-2.csv"
    assert len(read_cells(find_list("lists/huge-list.csv"))) == 900


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.csv", b"ticket,boot\n1,2\n", "a.csv:1: The column &#34;pattern&#34; is missing"),
        ("a.xlsx", b"PK", "Not a workbook that can be read"),
        ("a.ods", b"PK", ".ods is not read"),
        ("a.toml", b"format = 1\n", ".toml is not read here"),
        ("../../x.csv", b"\xff\xfe\x00", "x.csv"),
    ],
)
def test_what_cannot_be_read_is_refused_by_its_own_name(desk, name, data, said):
    answer = drop(desk, name, data)
    assert answer.status_code == 422
    assert said in answer.text and "/tmp" not in answer.text
    assert not LISTS.exists()


def test_cells_are_written_and_read_back_as_they_are(tmp_path):
    rows = [*ROWS.values(), {"ticket": '#1 "a", b;c', "pattern": "=x", "mark": "chord:1650"}]
    path = tmp_path / "list.csv"
    path.write_text(as_csv(rows, "run 0123456789ab"))
    assert [*read_cells(path)] == rows
    assert run_of(path) == "0123456789ab"
    assert read_table(path) == ("list", tuple(rows))


# -- lists that are kept ------------------------------------------------------------------------


def test_a_list_is_saved_and_named_in_the_command(desk):
    answer = keep(desk, ROWS, "Saturday, club")
    assert answer.headers["location"] == "/evening?jobs=lists%2Fsaturday-club.csv"
    text = settled(desk, answer.headers["location"])
    assert "jiggen evening lists/saturday-club.csv" in text
    assert "Build 2 jigs" in text and 'value="96,5"' in text
    changed = settled(
        desk, address(ROWS | {1: ROWS[1] | {"boot": "290"}}, jobs="lists/saturday-club.csv")
    )
    assert "jiggen evening JOBS" in changed and "Build 2 jigs" not in changed


def test_another_list_is_never_replaced_unasked(desk):
    keep(desk, ROWS, "one")
    before = Path("lists/one.csv").read_bytes()
    answer = keep(desk, {1: ROWS[1]}, "one")
    assert answer.status_code == 422 and "A list of that name exists already" in answer.text
    assert Path("lists/one.csv").read_bytes() == before
    assert keep(desk, {1: ROWS[1]}, "one", over="on").status_code == 303
    assert len(read_cells(Path("lists/one.csv"))) == 1
    # another list of that name is another run; a change of the same list goes on with its own
    assert run_of(Path("lists/one.csv")) != before.split()[2].decode()
    again = {
        "from": urlsplit(address(ROWS, jobs="lists/one.csv")).query,
        "name": "one",
        "over": "on",
    }
    run = run_of(Path("lists/one.csv"))
    assert desk.post("/evening/list", data=again, headers=OWN).status_code == 303
    assert run_of(Path("lists/one.csv")) == run and len(read_cells(Path("lists/one.csv"))) == 3


@pytest.mark.parametrize(
    "name", ["../jiggen-defaults.toml", "/etc/passwd", "lists/none.csv", "lists"]
)
def test_only_lists_of_the_workshop_are_opened(desk, name):
    Path("secret.csv").write_text("ticket,pattern,boot,ski_toe,ski_heel\nS,hut-plate,305,96,94\n")
    for asked in (name, "secret.csv", "lists/../secret.csv"):
        answer = desk.get(f"/evening?{urlencode({'jobs': asked})}")
        assert answer.status_code == 422 and "no such list" in answer.text


def test_nothing_is_kept_of_an_empty_list(desk):
    assert keep(desk, {}, "empty").status_code == 422
    assert not LISTS.exists()


# -- jigs that are built ------------------------------------------------------------------------

MARKS = {"plain": "K7F3H", "metal": "M4R7K"}


def pretend(task: JigTask) -> Outcome:
    """In place of a build, in a process: what it does is said by a file, or it makes a folder."""
    announce("solid: body")
    how = task.folder.parents[2] / task.job.core
    while how.exists() and how.read_text() == "wait":
        time.sleep(0.02)
    if how.exists() and how.read_text() == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if how.exists():
        fault = Finding("evening.verification", "it failed its verification: do not print it")
        return Outcome("failed", task.folder, (fault,))
    task.folder.mkdir(parents=True)
    (task.folder / "manifest.json").touch()
    return Outcome("built", task.folder, (), (), MARKS[task.job.core])


def looked_up(jig, out: Path) -> Outcome:
    """A folder that is there passes."""
    task = evenings.task_of(jig.job, out)
    there = task.folder.is_dir()
    return Outcome(
        "found" if there else "planned", task.folder, jig_mark=MARKS[jig.job.core] if there else ""
    )


@pytest.fixture
def bench(desk: TestClient, monkeypatch: pytest.MonkeyPatch, works: Works) -> Iterator[TestClient]:
    """An evening that is saved, its jigs built in no time."""
    monkeypatch.setattr(evenings, "build_one", pretend)
    monkeypatch.setattr(evenings, "find_planned", looked_up)
    monkeypatch.setattr(evenings, "records_of", lambda outcomes: tuple(None for _ in outcomes))
    monkeypatch.setattr(evenings, "OUT", Path.cwd() / evenings.OUT)  # as a process sees it
    keep(desk, ROWS, "saturday")
    settled(desk, f"/evening?{LIST}")
    yield desk
    for work in works.latest():
        works.cancel(work)


LIST = "jobs=lists%2Fsaturday.csv"


def post(desk: TestClient, path: str, **data: str):
    return desk.post(f"/evening/{path}?{LIST}", data=data, headers=OWN)


def until(desk: TestClient, words: str, page: str = "jigs") -> str:
    end = time.monotonic() + 60
    while words not in (text := desk.get(f"/evening/{page}?{LIST}").text):
        assert time.monotonic() < end, text
        time.sleep(0.1)
    return text


def test_every_jig_has_its_bar_and_then_its_files(bench):
    Path("metal").write_text("wait")
    answer = post(bench, "build")
    assert answer.headers["location"] == f"/evening/jigs?{LIST}"
    post(bench, "build")  # from a second tab: nothing is begun twice
    text = until(bench, "solid: body")
    assert text.count("<progress") >= 1 and "Cancel all" in text and 'data-events="/news"' in text
    until(bench, "jig mark K7F3H")
    assert bench.get(f"/evening/run-sheet.pdf?{LIST}").status_code == 422
    Path("metal").unlink()
    text = until(bench, "jig mark M4R7K")
    assert "<progress" not in until(bench, "Run sheet, PDF")
    assert text.count('href="/made/') == 2
    pdf = bench.get(f"/evening/run-sheet.pdf?{LIST}")
    assert pdf.headers["content-type"] == "application/pdf" and pdf.content.startswith(b"%PDF")
    assert b"595." in pdf.content and b"612 792" not in pdf.content
    assert b"612 792" in bench.get(f"/evening/run-sheet.pdf?{LIST}&paper=letter").content
    assert "All jigs are built" in bench.get(f"/evening?{LIST}").text


def test_a_jig_that_fails_fails_alone_and_its_pairs_are_barred(bench):
    Path("metal").write_text("fail")
    post(bench, "build")
    text = until(bench, "do not print or drill")
    assert "It failed its verification" in text
    until(bench, "jig mark K7F3H")
    run = bench.get(f"/evening/run?{LIST}").text
    assert run.count("Do not drill: this jig failed") == 1
    assert run.count('class="fault"') > 0 and run.count("disabled") == 2  # both skis of H3
    box = re.search(r'value="(H3, [^"]* left)"', run)
    assert box and post(bench, "run", box=box[1], done="on").status_code == 422
    sheet = bench.get(f"/evening/run-sheet.pdf?{LIST}").content
    from jiggen.verify.reading.pdf import read_pages

    assert "DO NOT DRILL" in " ".join(page.text for page in read_pages(sheet))


# -- the run, ticked off ------------------------------------------------------------------------


@pytest.fixture
def drilling(bench: TestClient) -> TestClient:
    """Its jigs are there and on the shelf."""
    text = bench.get(f"/evening/run?{LIST}").text
    assert text.count("Not built yet") == 2 and text.count("disabled") == 6
    post(bench, "build")
    until(bench, "jig mark K7F3H")
    until(bench, "jig mark M4R7K")
    with open_shelf() as shelf, shelf._writing():
        for mark in MARKS.values():
            shelf._put(sample(mark=mark))
            shelf._note(Event(mark, now(), "Resi", "added"))
    return bench


def boxes(desk: TestClient) -> dict[str, bool]:
    """Every box of the run's page, and whether it is ticked."""
    text = settled(desk, f"/evening/run?{LIST}")
    found = re.findall(r'name="box" value="([^"]*)".*?aria-pressed="(\w+)"', text, re.DOTALL)
    return {name: pressed == "true" for name, pressed in found}


def pairs_of(mark: str) -> int:
    with open_shelf() as shelf:
        return shelf.known(mark).pairs


def test_the_run_says_what_to_set_in_the_words_of_the_run_sheet(drilling):
    text = until(drilling, "Jig 1, ", "run")
    for words in (
        "boot 285",
        "any boot",
        "48.2 / 47",
        "to the tip",
        "Left ski: setting 1",
        "K7F3H",
    ):
        assert words in text
    assert "Before you drill" in text and "3 pairs still to do" in text
    assert len(boxes(drilling)) == 6 and not any(boxes(drilling).values())


def test_a_pair_counts_once_when_both_skis_are_ticked_and_is_taken_back(drilling, works):
    first, second = [box for box in boxes(drilling) if box.startswith("H1, ")]
    seen = works._version
    answer = post(drilling, "run", box=first, done="on")
    assert answer.status_code == 303 and "#pair-" in answer.headers["location"]
    assert works._version > seen  # other tabs hear of it
    assert pairs_of("K7F3H") == 0 and boxes(drilling)[first]
    for _ in range(2):  # a second tab, or a double click
        post(drilling, "run", box=second, done="on")
    assert pairs_of("K7F3H") == 1 and pairs_of("M4R7K") == 0
    assert "2 pairs still to do" in drilling.get(f"/evening/run?{LIST}").text
    for _ in range(2):
        post(drilling, "run", box=first)
    assert pairs_of("K7F3H") == 0
    assert (boxes(drilling)[first], boxes(drilling)[second]) == (False, True)


def test_all_pairs_done_is_said_and_kept_for_the_next_desk(drilling):
    for box in boxes(drilling):
        post(drilling, "run", box=box, done="on")
    assert (pairs_of("K7F3H"), pairs_of("M4R7K")) == (2, 1)
    with started() as made, let_in(made) as again:  # the desk is started again
        assert "All pairs are done" in until(again, "All pairs", "run")
        assert all(boxes(again).values())


def test_another_boot_is_another_drilling(drilling):
    box = next(iter(boxes(drilling)))
    post(drilling, "run", box=box, done="on")
    rows = {n: row | {"boot": "300"} for n, row in ROWS.items()}
    sent = {"from": urlsplit(address(rows, jobs="lists/saturday.csv")).query, "over": "on"}
    desk_answer = drilling.post("/evening/list", data=sent, headers=OWN)
    assert desk_answer.status_code == 303
    assert not any(boxes(drilling).values())
    assert post(drilling, "run", box=box, done="on").status_code == 422


def test_a_jig_that_is_drilled_with_is_put_on_the_shelf(drilling, monkeypatch):
    with open_shelf() as shelf:
        shelf._base.executescript("DELETE FROM events; DELETE FROM jigs")
    added = []
    monkeypatch.setattr(
        "jiggen.shelf.store.Shelf.add",
        lambda shelf, folder, by: added.append(folder) or shelf._put(sample()),
    )
    box = next(box for box in boxes(drilling) if box.startswith("H1, "))
    post(drilling, "run", box=box, done="on")
    assert [folder.parent for folder in added] == [evenings.OUT]
    assert boxes(drilling)[box]


def test_a_run_is_of_a_list_that_is_saved(desk):
    answer = desk.get(address(ROWS).replace("/evening?", "/evening/run?"))
    while "Working out" in answer.text:
        answer = desk.get(address(ROWS).replace("/evening?", "/evening/run?"))
    assert answer.status_code == 422 and "This list is not saved" in answer.text


# -- processes that end: last, since others are started for them ----------------------------------


def test_a_process_that_dies_is_said_for_its_jig(bench):
    Path("metal").write_text("die")
    post(bench, "build")
    assert "ended by signal 9" in until(bench, "do not print or drill")
    until(bench, "jig mark K7F3H")


def test_cancelling_ends_every_jig_and_leaves_nothing(bench):
    for core in MARKS:
        Path(core).write_text("wait")
    post(bench, "build")
    until(bench, "solid: body")
    post(bench, "cancel")
    text = until(bench, "Cancelled: nothing of it was kept")
    assert text.count("Cancelled: nothing of it was kept") == 2
    assert not Path("out").exists() or not list(Path("out/evening").iterdir())
