"""Forms to fill in: for a text editor, for a spreadsheet, and asked for reading by reading."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from printed_samples import designed, write_jig
from printer_samples import SMALL
from survey_plates import TWINS
from typer.testing import CliRunner

from jiggen.cli import run
from jiggen.cli.program import app
from jiggen.errors import InputError
from jiggen.inputs.form import blanks, form_table
from jiggen.layout import lay_out
from jiggen.measure.printer.read import read_measurements, read_printed
from jiggen.measure.survey.read import read_survey
from jiggen.pattern import read_pattern

DATA = Path(__file__).parent / "data"
OPEN = SMALL.replace("value = 7.86", 'value = ""').replace("value = 11.98", 'value = ""')


def fill(table: str, answers: Mapping[str, str], mark: str = ";") -> str:
    """The table as a spreadsheet saves it, with `answers` by key in its last column."""
    rows = [
        *csv.reader(io.StringIO(table.removeprefix("\ufeff").partition("\n")[2]), delimiter=";")
    ]
    stream = io.StringIO()
    csv.writer(stream, delimiter=mark).writerows(
        [key, what, answers.get(key, value)] for key, what, value in rows
    )
    return stream.getvalue()


def of_twins() -> dict[str, str]:
    """What is read on `TWINS`, as a person with a decimal comma types it, by key of the form."""
    answers = {"name": "Shed plate", "plate.origin": "a b c d e f"}
    answers |= {f"holes.{name}": "5,5" for name in TWINS.names}
    for one in TWINS.names:
        for other in TWINS.names:
            for kind in ("outside", "inside"):
                value = f"{TWINS.read(one, other, kind).value:.2f}".replace(".", ",")
                answers[f"distances.{one}-{other}.{kind}"] = value
                answers[f"other_tool.{one}-{other}.{kind}"] = value
    return answers


def test_a_plate_is_surveyed_in_a_spreadsheet(tmp_path, capsys):
    form, out = tmp_path / "plate.csv", tmp_path / "plate.toml"
    assert run(app, ["survey", "--blank", str(form), "--holes", "6"]) == 0
    text = form.read_text(encoding="utf-8")
    assert "distances.a-b.outside;a to b, outside;" in text
    assert run(app, ["survey", "--blank", str(form)]) == 2  # and may be filled in already
    for mark in ";,\t":
        form.write_text(fill(text, of_twins(), mark), encoding="utf-8")
        assert run(app, ["survey", str(form), "-o", str(out)]) == 0
        assert capsys.readouterr().err.count("warning") == 0
        placed = lay_out(read_pattern(out), 305.0).positions
        assert placed == pytest.approx(TWINS.truth, abs=0.02)


def test_what_is_open_or_wrong_in_a_spreadsheet_is_told_with_its_line(tmp_path, capsys):
    form = tmp_path / "plate.csv"
    run(app, ["survey", "--blank", str(form), "--holes", "6"])
    text = form.read_text(encoding="utf-8")
    answers = of_twins() | {"holes.b": "5.5 or so", "holes.c": ""}
    form.write_text(fill(text, answers), encoding="utf-8")
    assert run(app, ["survey", str(form)]) == 2
    told = capsys.readouterr().err
    assert 'plate.csv:5: holes.b: is "5.5 or so" (text), but must be a number' in told
    assert "plate.csv:6: holes.c: is not filled in yet" in told
    form.write_text(text.replace("holes.a;", "hole a;"), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_survey(form)
    assert [one.code for one in caught.value.findings] == ["survey.key"]


def test_the_example_says_the_same_as_a_table(tmp_path):
    form = tmp_path / "survey.csv"
    form.write_text(
        form_table((DATA / "survey.toml").read_text(encoding="utf-8")), encoding="utf-8"
    )
    one, other = read_survey(DATA / "survey.toml"), read_survey(form)
    assert (other.readings, other.diameters, other.again) == (
        one.readings,
        one.diameters,
        one.again,
    )
    assert other.file.plate == one.file.plate


def test_a_gauge_and_a_finished_jig_are_read_from_a_spreadsheet(tmp_path):
    (tmp_path / "g.toml").write_text(SMALL, encoding="utf-8")
    answers = {"diameter[1].value": "7,86", "height[1].value": " 11.98 "}
    (tmp_path / "g.csv").write_text(fill(form_table(OPEN), answers), encoding="utf-8")
    one, other = (read_measurements(tmp_path / name) for name in ("g.toml", "g.csv"))
    assert other.readings == one.readings
    assert (other.features, other.caliper) == (one.features, one.caliper)
    assert other.fits.bush_fit == one.fits.bush_fit


@pytest.mark.usefixtures("as_if_verified")
def test_a_blank_of_a_finished_jig_is_a_table_where_it_is_named_so(tmp_path):
    folder, form = write_jig(tmp_path / "jig", designed("club-piste")), tmp_path / "m.csv"
    assert run(app, ["printed", str(folder), "--blank", str(form), "--caliper", "150"]) == 0
    text = form.read_text(encoding="utf-8")
    first = next(row for row in text.splitlines() if row.startswith("distance[1].value"))
    assert "if the jig were true" in first
    form.write_text(fill(text, {"distance[1].value": "45,60"}), encoding="utf-8")
    [read] = read_printed(form, designed("club-piste").layout.ids).readings
    assert (read.value, read.over) == (45.6, (3.6, 3.6))
    assert run(app, ["printed", str(folder), "--blank", str(tmp_path / "m.txt")]) == 2


def test_readings_are_asked_for_one_by_one_and_kept(tmp_path):
    path = tmp_path / "g.toml"
    path.write_text(OPEN, encoding="utf-8")
    assert len([*blanks(OPEN)]) == 4  # one row was left out, and one fit was not tried
    words = ["profile", "fit", str(path), "--name", "shed", "--ask"]
    asked = CliRunner().invoke(app, words, input="seven\n7,86\n\n")
    assert "diameter of A1" in asked.output
    assert "Write a number" in asked.output
    text = path.read_text(encoding="utf-8")
    assert "value = 7.86" in text
    assert len([*blanks(text)]) == 3
    assert text.replace("value = 7.86", 'value = ""') == OPEN  # nothing else was touched


def test_a_whole_survey_is_asked_for(tmp_path):
    path, out = tmp_path / "plate.toml", tmp_path / "pattern.toml"
    assert run(app, ["survey", "--blank", str(path), "--holes", "6"]) == 0
    answers = of_twins()
    order = form_table(path.read_text(encoding="utf-8")).splitlines()[2:]
    keys = [row.split(";")[0] for row in order if row.split(";")[0] in answers]
    typed = "".join(f"{answers[key]}\n" for key in keys)
    done = CliRunner().invoke(app, ["survey", str(path), "--ask", "-o", str(out)], input=typed)
    assert done.exit_code == 0, done.output
    placed = lay_out(read_pattern(out), 305.0).positions
    assert np.abs(placed - TWINS.truth).max() < 0.02
