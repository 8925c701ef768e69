"""Forms to fill in, for every command that reads what was measured: written, or asked for."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from jiggen.cli import output
from jiggen.errors import InputError
from jiggen.options import result

BLANK = result("blank", "path", "Write a form to fill in: .toml, or .csv for a spreadsheet.")
ASK = result("ask", "flag", "Ask for each reading that is open, and write it into the file.")


def write_blank(blank: Path, text: str, as_json: bool) -> None:
    """Write the form whose TOML is `text`.  Raises InputError rather than replace a file."""
    from jiggen.files import write_whole
    from jiggen.inputs.form import form_table

    ending = blank.suffix.lower()
    if ending not in (".toml", ".csv"):
        message = f"{blank.name or blank} ends neither in .toml nor in .csv"
        raise InputError.of("cli.suffix", message, key="--blank", hint="Name it m.toml or m.csv.")
    if blank.exists():  # and may be filled in already
        message = "there is already a file of that name; nothing was written"
        hint = "It may hold what you measured: choose another name."
        raise InputError.of("cli.exists", message, where=str(blank), key="--blank", hint=hint)
    # a byte-order mark: spreadsheets take a table without one for another encoding
    write_whole(blank, text if ending == ".toml" else "\ufeff" + form_table(text), "--blank")
    output.write(as_json, lambda: {"written": str(blank)}, lambda: f"Written: {blank}")


def ask_readings(file: Path) -> None:
    """Ask for every reading that is open in the form `file`, and write each as it is answered.

    Raises InputError as `read_text`, and ``cli.use`` for a table, which a spreadsheet fills in.
    """
    from jiggen.files import write_whole
    from jiggen.inputs.document import FileKind, parse_document, read_text
    from jiggen.inputs.form import blanks, filled

    if file.suffix.lower() != ".toml":
        message = f"{file.name} is not asked for: only a .toml file is"
        raise InputError.of("cli.use", message, key="--ask", hint="Fill it in as a spreadsheet.")
    kind = FileKind("form", "A form", typed=True)
    text = parse_document(read_text(file, kind), str(file), kind).text
    todo = [*blanks(text)]
    if not todo:
        return
    output.say(
        f"{len(todo)} readings to take. Enter leaves one out; what you answer is kept in {file},\n"
        "so stop with Ctrl-C and go on another time with the same command.\n"
    )
    for blank in todo:
        answer = _answer(blank.words, number=blank.path[-1] != "name" and blank.path[0] != "plate")
        if answer:
            text = filled(text, blank.path, answer)
            write_whole(file, text, "--ask")


def _answer(words: str, *, number: bool) -> str:
    """What is answered, as TOML; nothing where it is left out."""
    import json

    from jiggen.inputs.shape import number_in

    def read(given: str) -> str:
        given = given.strip()
        if not given or not number:
            return json.dumps(given, ensure_ascii=False) if given else ""
        value = number_in(given)
        if value is None:
            raise typer.BadParameter("Write a number: 120.12, or 120,12.")
        return repr(value)

    try:
        found: str = typer.prompt(words, "", value_proc=read, show_default=False)
    except typer.Abort:
        if sys.stdin.isatty():
            raise
        return ""  # the input has ended: the rest is left open
    return found


def check_outside(target: Path, folder: Path, key: str) -> None:
    """Raise InputError ``cli.inside`` for a file in a jig's folder: every file in it is checked."""
    if target.resolve().is_relative_to(folder.resolve()):
        message = f"{target.name} would be in the jig's own folder"
        hint = "jiggen check knows every file of that folder: write it beside the folder."
        raise InputError.of("cli.inside", message, where=str(target), key=key, hint=hint)
