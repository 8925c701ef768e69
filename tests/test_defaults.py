"""A shop's own defaults: two files, which wins, what is wrong with them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from jiggen.cli import main
from jiggen.cli.program import COMMANDS
from jiggen.errors import InputError
from jiggen.options import HABITS
from jiggen.request.defaults import LOCAL, read_defaults, user_file


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, and an empty folder of settings."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    work = tmp_path / "work"
    work.mkdir()
    monkeypatch.chdir(work)
    return work


def set_user(text: str) -> None:
    user_file().parent.mkdir(parents=True, exist_ok=True)
    user_file().write_text(text)


def shown(capsys: pytest.CaptureFixture[str]) -> dict[str, tuple[str | None, str]]:
    assert main(["defaults", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    return {one["name"]: (one["value"], one["from"]) for one in data["defaults"]}


def test_without_files_the_defaults_are_those_of_the_table(desk: Path, capsys):
    assert user_file().is_relative_to(desk.parent)  # nobody's own settings are read by a test
    expected = {option.name: (option.default, "jiggen") for option in HABITS}
    assert shown(capsys) == expected
    assert {"bed", "bush", "bush-fit", "material", "printer"} <= set(expected)
    assert not {"boot", "ski", "core", "side", "shift", "force"} & set(expected)


def test_the_work_wins_over_the_user_and_the_command_line_over_both(desk: Path, capsys):
    set_user('bed = "250x210x220"\nmaterial = "ASA"\n')
    LOCAL.write_text('material = "ABS"\nbush-fit = 0.15\n')
    found = shown(capsys)
    assert found["bed"] == ("250x210x220", f"{user_file()}:1:1")
    assert found["material"] == ("ABS", f"{LOCAL}:1:1")
    assert found["bush-fit"] == ("0.15", f"{LOCAL}:2:1")
    words = ["accuracy", "club-piste", "--boot", "305", "--ski", "84-112"]
    assert main([*words, "--material", "gold"]) == 2
    assert '"gold"' in capsys.readouterr().err


def test_a_command_uses_them(desk: Path, capsys):
    words = ["trial", "club-piste", "--boot", "305"]
    set_user('bed = "100x100x100"\n')
    assert main([*words, "--json"]) == 2  # the plate is longer than that
    errors = json.loads(capsys.readouterr().out)["errors"]
    assert {error["code"].partition(".")[0] for error in errors} == {"design"}
    assert not (desk / "out").exists()


def test_help_shows_them(desk: Path, capsys):
    set_user('bed = "250x210x220"\n')
    assert main(["build", "--help"]) == 0
    assert "[default: 250x210x220]" in capsys.readouterr().out


def test_help_is_shown_despite_a_faulty_file(desk: Path, capsys):
    set_user("bed = \n")
    assert main(["build", "--help"]) == 0
    assert "[default: 220x220x250]" in capsys.readouterr().out
    assert main(["show", "club-piste"]) == 0  # takes none of them


def test_every_fault_of_both_files_has_its_place(desk: Path):
    set_user('bed = "250"\nboot = 305\nmaterail = "ABS"\n')
    LOCAL.write_text(
        '\npaper = "A5"\nbush-fit = "0,1,2"\nforce = true\nbush = ["auto"]\nbody = nan\n'
    )
    with pytest.raises(InputError) as caught:
        read_defaults()
    found = {(finding.where, finding.key, finding.code) for finding in caught.value.findings}
    user, work = str(user_file()), str(LOCAL)
    assert found == {
        (f"{user}:1:1", "bed", "defaults.value"),
        (f"{user}:2:1", "boot", "defaults.unknown-key"),
        (f"{user}:3:1", "materail", "defaults.unknown-key"),
        (f"{work}:2:1", "paper", "defaults.value"),
        (f"{work}:3:1", "bush-fit", "defaults.value"),
        (f"{work}:4:1", "force", "defaults.unknown-key"),
        (f"{work}:5:1", "bush", "defaults.value"),
        (f"{work}:6:1", "body", "defaults.value"),
    }
    hints = {finding.key: finding.hint for finding in caught.value.findings}
    assert hints["materail"] == "Did you mean material?"
    assert "A4, letter" in hints["paper"]


@pytest.mark.parametrize(
    ("line", "key"),
    [('material = "gold"', "material"), ("body = 300", "body"), ("edge = -1", "edge")],
)
def test_a_value_that_the_job_refuses_is_placed_in_the_file(
    desk: Path, line: str, key: str, capsys
):
    LOCAL.write_text(f"\n{line}\n")
    words = ["build", "club-piste", "--boot", "305", "--ski", "84-112"]
    assert main(words) == 2
    assert f"error: {LOCAL}:2:1: {key}: " in capsys.readouterr().err
    assert not (desk / "out").exists()


def test_a_file_that_is_no_toml(desk: Path, capsys):
    LOCAL.write_text("bed = 220x220x250\n")
    assert main(["defaults"]) == 2
    assert f"error: {LOCAL}:1:" in capsys.readouterr().err


def test_a_printer_can_be_refused_on_the_command_line(desk: Path, capsys):
    LOCAL.write_text('printer = "nobody"\n')
    words = ["trial", "club-piste", "--boot", "305", "--bed", "90x90x90"]
    assert main(words) == 2
    assert f"error: {LOCAL}:1:1: printer: " in capsys.readouterr().err
    assert main([*words, "--printer", "none"]) == 2
    assert "printer" not in capsys.readouterr().err


def test_the_table_of_defaults(desk: Path, capsys):
    LOCAL.write_text('bed = "250x210x220"\n')
    assert main(["defaults"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["option", "default", "from"]
    assert ["bed", "250x210x220", f"{LOCAL}:1:1"] in [line.split() for line in lines]


def test_what_may_be_a_habit_is_an_option_of_a_command_with_a_value():
    assert all(option.kind != "flag" and not option.required for option in HABITS)
    assert len({option.name for option in HABITS}) == len(HABITS)
    rows = [row for rows in COMMANDS.values() for row in rows.values() if row.habit]
    assert {row.name for row in rows} == {option.name for option in HABITS}
