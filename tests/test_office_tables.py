"""Tables as office programs save them: workbooks, Windows-1252, decimal commas, other columns."""

from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import Workbook

from jiggen.errors import Finding, InputError
from jiggen.evening.read import read_jobs
from jiggen.importing import Choices
from jiggen.importing.job import import_pattern
from jiggen.inputs import workbook
from jiggen.pattern import find_pattern
from jiggen.progress import keeping_notes, noted
from jiggen.remount.read import read_old_holes

HEAD = ("Ticket", "Pattern", "Boot", "Ski toe", "Ski heel", "Core", "Shift", "Thickness")
ROW = ("Müller", "club-piste", 305.5, 96, 92.5, "metal", -5, "23/21,5")


def saved(path: Path, *rows: tuple[object, ...], sheets: tuple[str, ...] = ()) -> Path:
    """A workbook with the rows on its first sheet, and a cell on each further one."""
    book = Workbook()
    for row in rows:
        book.active.append(row)
    for title in sheets:
        book.create_sheet(title)["B3"] = "see there"
    book.save(path)
    return path


def read(path: Path):
    """The jobs of a file, and what was noted."""
    with keeping_notes():
        return read_jobs(path), noted()


def written(folder: Path, data: bytes | str, name: str = "jobs.csv") -> Path:
    path = folder / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def texts(notes: tuple[Finding, ...]) -> list[str]:
    return [note.message for note in notes]


def test_a_workbook_is_read_as_the_csv_of_it(tmp_path):
    jobs, notes = read(saved(tmp_path / "list.xlsx", HEAD, ROW, (), ROW[:1]))
    assert (jobs.rows[0].ticket, jobs.rows[0].boot, jobs.rows[0].ski_heel) == (
        "Müller", 305.5, 92.5
    )  # fmt: skip
    assert (jobs.rows[0].shift, jobs.rows[0].thickness) == (-5, (23, 21.5))
    assert notes == ()
    assert {place.where.rpartition(":")[2] for place in jobs.places} == {"2", "4"}
    [same] = read(written(tmp_path, ";".join(HEAD) + "\n" + ";".join(map(str, ROW))))[
        0
    ].rows.values()
    assert same == jobs.rows[0]


def test_the_first_filled_sheet_counts_and_the_next_is_said(tmp_path):
    jobs, notes = read(saved(tmp_path / "list.xlsx", HEAD, ROW, sheets=("Old",)))
    assert list(jobs.rows) == [0]
    assert texts(notes) == ['only the sheet "Sheet" was read, "Old" was not']


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("list.xlsx", b"ticket,pattern", "workbook"),
        ("list.xlsx", b"PK\x03\x04", "workbook"),
        ("list.ods", b"PK", "workbook"),
        ("none.xlsx", None, "missing"),
    ],
)
def test_what_is_no_workbook(tmp_path, name, data, code):
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_jobs(path)
    assert caught.value.findings[0].code == f"evening.{code}"


def test_a_workbook_that_unpacks_to_far_more_than_a_list_is_refused(tmp_path, monkeypatch):
    path = saved(tmp_path / "list.xlsx", HEAD, ROW)
    monkeypatch.setattr(workbook, "MOST_BYTES", 1000)
    with pytest.raises(InputError, match="far larger than a list"):
        read_jobs(path)
    monkeypatch.undo()
    monkeypatch.setattr(workbook, "LAST_ROW", 5)
    book = Workbook()
    book.active["A1"], book.active["A9"] = "ticket", "x"
    book.save(path)
    with pytest.raises(InputError, match="far larger than a list"):
        read_jobs(path)


def test_a_date_that_a_cell_has_become_is_no_thickness(tmp_path):
    from datetime import date

    jobs, _ = read(saved(tmp_path / "list.xlsx", HEAD, (*ROW[:7], date(2026, 5, 3))))
    [(_, fault)] = jobs.faults
    assert fault.key == "thickness" and "(a date)" in fault.message


def test_windows_1252_is_read_and_said(tmp_path):
    text = "ticket;pattern;boot;ski toe;ski heel\nMüller;club-piste;305;96;92\n"
    jobs, notes = read(written(tmp_path, text.encode("cp1252")))
    assert jobs.rows[0].ticket == "Müller"
    assert texts(notes) == ["not UTF-8: it was read as Windows-1252"]
    assert read(written(tmp_path, text))[1] == ()


def test_a_decimal_comma_in_quotes_between_commas_is_one(tmp_path):
    table = 'ticket,pattern,boot,ski toe,ski heel\nA1,club-piste,"305,5",96,"92,5"\n'
    [row] = read(written(tmp_path, table))[0].rows.values()
    assert (row.boot, row.ski_heel) == (305.5, 92.5)
    holes = read_old_holes(written(tmp_path, 'x,y\n"152,4","-17,3"\n', "old.csv"))
    assert (holes[0].x, holes[0].y) == (152.4, -17.3)
    plate = written(tmp_path, 'x,y,diameter\n"10,5","20,5",4\n"10,5","-20,5",4\n', "plate.csv")
    [group] = import_pattern(plate, Choices()).pattern.groups
    assert group.holes[0].at == (10.5, 20.5)


def test_other_columns_are_passed_over_and_said_but_not_misspelt_ones(tmp_path):
    head = "ticket,pattern,boot,ski_toe,ski_heel,name,phone,brake width,notes,side"
    row = "A1,club-piste,305,96,92,Resi,0123,95,race,left"
    jobs, notes = read(written(tmp_path, f"{head}\n{row}\n"))
    assert list(jobs.rows) == [0] and not jobs.faults
    [said] = texts(notes)
    assert said.endswith('"name", "phone", "brake width", "notes", "side"')
    for wrong in ("shfit", "thicknes", "old hole"):
        with pytest.raises(InputError, match="unknown column"):
            read(written(tmp_path, f"{head},{wrong}\n{row},5\n"))


def test_old_holes_and_plates_come_from_workbooks_too(tmp_path):
    holes = read_old_holes(
        saved(tmp_path / "old.xlsx", ("x", "y", "plugged", "by"), (152.4, 17.3, True, "Veit"))
    )
    assert (holes[0].x, holes[0].y, holes[0].plugged) == (152.4, 17.3, True)
    plate = saved(tmp_path / "plate.xlsx", ("x", "y", "diameter"), (10, 20, 4), (10, -20, 4))
    assert import_pattern(plate, Choices()).pattern.groups[0].holes[0].at == (10, 20)


@pytest.mark.parametrize("word", ["ja", "oui", "sì", "sí", "tak", "kyllä"])
def test_yes_in_another_language_is_refused_with_the_words_that_count(tmp_path, word):
    with pytest.raises(InputError) as caught:
        read_old_holes(written(tmp_path, f"x,y,plugged\n1,2,{word}\n", "old.csv"))
    [fault] = caught.value.findings
    assert (fault.key, fault.where[-2:]) == ("plugged", ":2")
    assert fault.hint == "Allowed: yes, y, true, 1, x, plugged; or no, n, false, 0, open."


@pytest.mark.parametrize(
    "name", ["Club-Piste", "club piste", "CLUB_PISTE", "Arvenal Club Piste", "arvenal club-piste"]
)
def test_a_pattern_is_found_by_its_file_or_its_name_in_any_case(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert find_pattern(name) == find_pattern("club-piste")
    (tmp_path / "patterns").mkdir()
    mine = tmp_path / "patterns" / "mine.toml"
    mine.write_text('name = "Club Piste!"\n')
    assert find_pattern("club piste").name == "club-piste.toml"  # files come before what is inside
    assert find_pattern("mine") == Path("patterns/mine.toml")
    (tmp_path / "patterns" / "MINE_.toml").write_text("")
    with pytest.raises(InputError, match="2 patterns are called"):
        find_pattern("Mi-Ne")
