from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path
from typing import get_args
from xml.etree import ElementTree as ET

import ezdxf
import pytest
import typer

from jiggen import __version__, options
from jiggen.cautions import CAUTIONS
from jiggen.cli import app, main, run
from jiggen.cli.output import fitted
from jiggen.cli.program import colourful, command
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.pattern.model import Core, Side
from jiggen.request import options as asked
from jiggen.request.options import JsonOption

PATTERN = """
format = 1
name = "Cli Plate"
boot = [255, 355]
pair = "mirrored"
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.5
[[group]]
name = "toe"
datum = "boot-toe"
shift = -8.0
[[group.hole]]
at = [12.0, 21.0]
[[group.hole]]
at = [-20.0, 15.0]
both_sides = true
drill = { depth = 7.0 }
"""


@pytest.fixture
def plate(tmp_path: Path) -> str:
    path = tmp_path / "plate.toml"
    path.write_text(PATTERN)
    return str(path)


def program(*words: str, **how) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "jiggen", *words]
    return subprocess.run(command, capture_output=True, text=True, **how)


def text_of(capsys) -> tuple[str, str]:
    captured = capsys.readouterr()
    assert "\x1b" not in captured.out + captured.err  # no colour: this is no terminal
    return captured.out, captured.err


# -- layout -------------------------------------------------------------------------------------


def test_the_table(plate: str, capsys):
    assert main(["layout", plate, "--boot", "305", "--shift", "-2.5", "--core", "metal"]) == 0
    out, err = text_of(capsys)
    assert err == ""
    lines = out.splitlines()
    assert lines[:2] == ["Cli Plate", "boot 305 mm, mount shift -2.5 mm, core metal, left ski"]
    # 152.5 - 8 - 2.5 = 142: 142 + 12 = 154 and 142 - 20 = 122
    assert [line.split() for line in lines[3:7]] == [
        ["hole", "x", "y", "drill", "depth"],
        ["toe-1", "154.00", "21.00", "4.10", "9.50"],
        ["toe-2", "122.00", "15.00", "4.10", "7.00"],
        ["toe-3", "122.00", "-15.00", "4.10", "7.00"],
    ]
    assert "mm" in lines[-3]


def test_lengths_in_inches(plate: str, capsys):
    assert main(["layout", plate, "--boot", "12in", "--shift", "0.1in", "--json"]) == 0
    data = json.loads(text_of(capsys)[0])
    assert (data["boot"], data["mount_shift"]) == (304.8, 2.54)
    assert data["holes"][0]["x"] == pytest.approx(304.8 / 2 - 8 + 12 + 2.54)


def test_json(plate: str, capsys):
    assert main(["layout", plate, "--boot", "305", "--side", "right", "--json"]) == 0
    assert json.loads(text_of(capsys)[0]) == {
        "pattern": "Cli Plate",
        "boot": 305.0,
        "mount_shift": 0.0,
        "core": "plain",
        "side": "right",
        "mark": "boot-centre",
        "pair": "mirrored",
        "bounds": [[124.5, -21.0], [156.5, 15.0]],
        "holes": [
            {"id": "toe-1", "group": "toe", "x": 156.5, "y": -21.0, "diameter": 3.6, "depth": 9.5},
            {"id": "toe-2", "group": "toe", "x": 124.5, "y": 15.0, "diameter": 3.6, "depth": 7.0},
            {"id": "toe-3", "group": "toe", "x": 124.5, "y": -15.0, "diameter": 3.6, "depth": 7.0},
        ],
        "warnings": [],
    }


def test_a_shipped_pattern_by_name_from_any_folder(tmp_path: Path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["layout", "club-piste", "--boot", "305"]) == 0
    assert "toe-1" in text_of(capsys)[0]


def test_both_drawings(plate: str, tmp_path: Path, capsys):
    svg, dxf = tmp_path / "a.svg", tmp_path / "b.DXF"
    words = ["layout", plate, "--boot", "305", "--ski", "84-112"]
    assert main([*words, "--svg", str(svg), "--dxf", str(dxf)]) == 0
    assert text_of(capsys)[1] == ""
    root = ET.parse(svg).getroot()
    assert len(root.findall(".//{http://www.w3.org/2000/svg}circle")) == 3
    assert len(ezdxf.readfile(dxf).modelspace().query("CIRCLE")) == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.svg", "b.DXF", "plate.toml"]


# -- what goes wrong ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--boot", "30,5"], "--boot"),
        (["--boot", "nan"], "--boot"),
        (["--boot", "400"], "255 mm to 355 mm"),
        (["--boot", "305", "--shift", "up"], "--shift"),
        (["--boot", "305", "--shift", "700"], "600 mm"),
        (["--boot", "305", "--ski", "112-84"], "--ski"),
        (["--boot", "305", "--svg", "SELF"], "does not end in .svg"),
        (["--boot", "305", "--dxf", "drawing.svg"], "does not end in .dxf"),
        (["--boot", "305", "--core", "wood"], "Allowed: plain, metal"),
        (["--boot", "305", "--side", "up"], "Allowed: left, right"),
        (["--boot"], "--boot"),
        ([], "Missing option '--boot'"),
        (["--boot", "305", "more"], "more"),
        (["--bot", "305"], "--boot"),
    ],
)
def test_bad_use_is_two_lines_and_exit_code_2(plate: str, words: list[str], said: str, capsys):
    words = [plate if word == "SELF" else word for word in words]
    assert main(["layout", plate, *words]) == 2
    out, err = text_of(capsys)
    assert out == ""
    assert err.startswith("error: ")
    assert said in err
    assert len(err.splitlines()) == 2
    assert Path(plate).read_text() == PATTERN
    assert not Path("drawing.svg").exists()


def test_a_command_that_there_is_not(capsys):
    assert main(["layot"]) == 2
    assert "Did you mean 'layout'?" in text_of(capsys)[1]


def test_all_faults_of_a_pattern_are_said_with_their_places(plate: str, capsys):
    Path(plate).write_text(PATTERN.replace("depth = 9.5", "depth = nan").replace("12.0", "2999.0"))
    assert main(["layout", plate, "--boot", "305"]) == 2
    err = text_of(capsys)[1]
    assert err.count("error: ") == 2
    assert f"{plate}:8:1: drill.depth: " in err
    assert f"{plate}:14:" in err


def test_errors_as_json(plate: str, capsys):
    assert main(["layout", plate, "--json", "--boot", "400"]) == 2
    out, err = text_of(capsys)
    assert err == ""
    data = json.loads(out)
    assert data["exit"] == 2
    assert [error["code"] for error in data["errors"]] == ["pattern.boot-range"]
    assert set(data["errors"][0]) == {"code", "where", "key", "message", "hint"}
    assert main(["layout", "--json"]) == 2
    assert json.loads(text_of(capsys)[0])["errors"][0]["code"] == "cli.use"


def test_nothing_is_drawn_when_the_folder_is_missing(plate: str, tmp_path: Path, capsys):
    target = tmp_path / "no" / "a.svg"
    assert main(["layout", plate, "--boot", "305", "--svg", str(target)]) == 2
    assert "No such file or directory" in text_of(capsys)[1]
    assert not target.parent.exists()


def test_a_name_cannot_steer_the_terminal(capsys):
    assert main(["layout", "x/a\x1b[31m\rb\u202e", "--boot", "305"]) == 2
    err = capsys.readouterr().err
    assert not set("\x1b\r\u202e") & set(err)
    assert "u001b" in err or "x1b" in err  # shown as an escape, not left out


# -- the boundary, with commands made for it ----------------------------------------------------


def failing(error: BaseException) -> typer.Typer:
    made = typer.Typer()

    @made.callback()
    def root() -> None:
        """Stand before the commands."""

    @command(None, group=made)
    def fail(as_json: JsonOption) -> None:
        raise error

    return made


FINDINGS = (Finding("a.b", "first", "f:1:2", "k", "do this"), Finding("a.c", "second"))


@pytest.mark.parametrize(
    ("error", "code", "err"),
    [
        (InputError(FINDINGS), 2, "error: f:1:2: k: first\n    do this\nerror: second\n"),
        (CheckFailed(FINDINGS[1]), 1, "failed: second\n"),
        (typer.Exit(1), 1, ""),
        (typer.Exit(), 0, ""),
        (KeyboardInterrupt(), 130, "stopped: nothing was written\n"),
        (typer.Abort(), 130, "stopped: nothing was written\n"),
        (BrokenPipeError(), 141, ""),
        (typer.BadParameter("no"), 2, "error: Invalid value: no\n    See jiggen fail --help.\n"),
    ],
)
def test_every_end_has_its_code(error: BaseException, code: int, err: str, capsys):
    assert run(failing(error), ["fail"]) == code
    assert text_of(capsys) == ("", err)


def test_a_fault_of_ours_is_one_line_and_a_traceback_only_on_request(capsys):
    broken = failing(ZeroDivisionError("division\nby zero"))
    assert run(broken, ["fail"]) == 70
    err = text_of(capsys)[1]
    assert "internal error: ZeroDivisionError: division by zero" in err
    assert "test_cli.py:" in err
    assert "Traceback" not in err
    for words in (["--debug", "fail"], ["fail", "--debug"]):
        assert run(broken, words) == 70
        assert "Traceback (most recent call last)" in text_of(capsys)[1]
    assert run(broken, ["fail", "--json"]) == 70
    assert json.loads(text_of(capsys)[0])["errors"][0]["code"] == "cli.fault"


def test_a_fault_of_the_system_is_not_called_ours(capsys):
    full = failing(OSError(28, "No space left on device", "/somewhere/file"))
    assert run(full, ["fail"]) == 74
    err = text_of(capsys)[1]
    assert err.startswith("error: /somewhere/file: operating system error: No space left on device")
    assert "internal error" not in err


# -- the program as a whole ---------------------------------------------------------------------


def test_help(capsys):
    assert main([]) == 0
    bare = text_of(capsys)[0]
    assert main(["--help"]) == 0
    assert text_of(capsys)[0] == bare
    flowing = " ".join(bare.split())
    assert "layout" in flowing
    assert all(caution in flowing for caution in CAUTIONS)
    assert main(["layout", "-h"]) == 0
    out = text_of(capsys)[0]
    assert out.index(options.JOB) < out.index(options.RESULT)
    assert all(word in out for word in ("--boot", "--shift", "--core", "--side", "--ski", "--svg"))


def test_version(capsys):
    assert main(["--version"]) == 0
    assert text_of(capsys)[0] == f"jiggen {__version__}\n"


def test_every_command_says_what_it_does():
    commands = typer.main.get_command(app).commands
    assert "layout" in commands
    assert all(command.help and command.help.endswith(".") for command in commands.values())


def test_the_choices_are_those_of_the_pattern_room():
    assert options.CORE.choices == get_args(Core) == get_args(asked.Core)
    assert options.SIDE.choices == get_args(Side) == get_args(asked.Side)


def test_python_m_jiggen_is_the_same_program(plate: str, capsys):
    ran = program("layout", plate, "--boot", "305")
    assert main(["layout", plate, "--boot", "305"]) == 0
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, capsys.readouterr().out, "")
    ran = program("layout", plate, "--boot", "0")
    assert ran.returncode == 2
    assert ran.stderr.startswith("error: ")


def test_help_is_plain_where_typer_would_colour_it():
    ran = program("--help", env={**os.environ, "FORCE_COLOR": "1", "GITHUB_ACTIONS": "1"})
    assert "layout" in ran.stdout
    assert "\x1b" not in ran.stdout


def on_terminal(words: list[str], extra: dict[str, str]) -> str:
    """What the program writes when both its streams are a terminal."""
    keep = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "TERM")}
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "jiggen", *words],
        stdout=theirs,
        stderr=theirs,
        env={**keep, "TERM": "xterm", **extra},
    ) as running:
        os.close(theirs)
        written = b""
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # how Linux says that the other end is closed
                piece = b""
            if not piece:
                break
            written += piece
        running.wait()
    os.close(ours)
    return written.decode()


@pytest.mark.parametrize("words", [["--help"], ["layout", "club-piste", "--boot", "0"]])
def test_colour_on_a_terminal_and_no_color_wins(words: list[str]):
    assert "\x1b[" in on_terminal(words, {})
    assert "\x1b[" not in on_terminal(words, {"NO_COLOR": "1"})


def test_colourful_asks_the_stream(monkeypatch):
    class Terminal:
        def isatty(self) -> bool:
            return True

    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert colourful(Terminal())
    monkeypatch.setenv("TERM", "dumb")
    assert not colourful(Terminal())


def test_nobody_reading_the_output_is_no_fault(plate: str):
    command = [sys.executable, "-m", "jiggen", "layout", plate, "--boot", "305"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        running.stdout.close()
        assert running.stderr.read() == b""
        assert running.wait() == 141


# -- only the command line names options --------------------------------------------------------


def test_the_key_of_a_finding_becomes_its_option(capsys):
    found = Finding("design.bed", "it does not fit", key="bed", hint="A larger bed gives room.")
    assert run(failing(InputError(found)), ["fail"]) == 2
    assert text_of(capsys)[1] == ("error: it does not fit\n    A larger bed gives room (--bed).\n")
    assert run(failing(InputError(found)), ["fail", "--json"]) == 2
    (error,) = json.loads(text_of(capsys)[0])["errors"]
    assert (error["key"], error["hint"]) == ("--bed", "A larger bed gives room (--bed).")


@pytest.mark.parametrize(
    ("finding", "line"),
    [
        (Finding("a.b", "too thin", key="bush-fit"), "error: too thin (--bush-fit)\n"),
        (Finding("a.b", "bad", key="bed, bush"), "error: bad (--bed, --bush)\n"),
        (Finding("a.b", "no unit", "a.dxf", "units"), "error: a.dxf: no unit (--units)\n"),
        (Finding("a.b", "bad", "a.toml:3:1", "boot"), "error: a.toml:3:1: boot: bad\n"),
        (Finding("a.b", "bad", "a.toml", "drill.depth"), "error: a.toml: drill.depth: bad\n"),
    ],
)
def test_a_key_in_a_file_stays_that_files(finding: Finding, line: str, capsys):
    assert run(failing(InputError(finding)), ["fail"]) == 2
    assert text_of(capsys)[1] == line


def test_a_choice_is_taken_in_any_letters_and_refused_in_plain_words(capsys):
    assert main(["layout", "hut-plate", "--boot", "305", "--core", "METAL"]) == 0
    assert "core metal" in capsys.readouterr().out
    assert main(["layout", "hut-plate", "--boot", "305", "--core", "mettal"]) == 2
    said = capsys.readouterr().err
    assert '--core: "mettal" is not a valid core' in said
    assert 'Did you mean "metal"? Allowed: plain, metal.' in said
    assert "Value error" not in said


@pytest.mark.parametrize("width", [40, 60, 80])
def test_lines_end_between_words_on_a_narrow_terminal(width):
    verdict = (
        "Files verified: " + "1 hole, 30 checks; " * 9 + "\n    " + "a hint of many words " * 9
    )
    lines = list(fitted(verdict, width))
    assert max(map(len, lines)) <= width
    assert "".join("".join(lines).split()) == "".join(verdict.split())  # nothing is lost
    assert all(line.startswith("    ") for line in lines[-3:])
    assert lines[1].startswith(" " * len("Files verified: "))


def test_help_breaks_a_paragraph_where_the_terminal_ends(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "200")
    main(["build", "--help"])
    assert "each with a ladder of boot lengths to lay on the ski's mark." in capsys.readouterr().out


def test_one_ski_width_that_cannot_be_is_said_once(capsys):
    assert main(["build", "hut-plate", "--boot", "305", "--ski", "1000"]) == 2
    said = capsys.readouterr().err
    assert said.count("error:") == 1
    assert "Allowed: 50 to 160 mm" in said


@pytest.mark.parametrize("words", ["sheet {}", "check {}", "printed {} --blank m.toml"])
def test_a_damaged_manifest_is_told_without_words_of_the_program(words, built, tmp_path, capsys):
    data = json.loads((built.folder / "manifest.json").read_text(encoding="utf-8"))
    del data["holes"][0]["y"]
    data["holes"][0]["x"] = "far"
    (tmp_path / "manifest.json").write_text(json.dumps(data), encoding="utf-8")
    assert main(words.format(tmp_path).split()) == 2
    said = capsys.readouterr().err
    assert "holes[0].y: is missing" in said
    assert "holes[0].x: must be a valid number\n" in said
    assert "Field required" not in said and "Input should" not in said
