"""``jiggen defaults``, and the defaults of the command that is given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from jiggen.cli.output import write
from jiggen.cli.program import COMMANDS, JIGS, command
from jiggen.errors import Finding, InputError
from jiggen.report.lines import columns
from jiggen.request.defaults import LOCAL, Default, read_defaults, user_file
from jiggen.request.options import JsonOption


def defaults_for(words: Sequence[str]) -> dict[str, Default]:
    """What the files set of the command in `words`, by the parameter that takes its value.

    Of a group of commands it is what they set of any of them.  Raises InputError as
    `read_defaults`, unless only help is asked for.
    """
    first = next((word for word in words if not word.startswith("-")), "")
    habits = {
        field: row.name
        for name, rows in COMMANDS.items()
        for field, row in rows.items()
        if name.partition(" ")[0] == first and row.habit
    }
    try:
        found = read_defaults() if habits else {}
    except InputError:
        if {"-h", "--help"} & set(words):
            return {}
        raise
    return {field: found[name] for field, name in habits.items() if found[name].where}


def placed(finding: Finding, used: dict[str, Default], words: Sequence[str]) -> Finding:
    """A finding about an option's value, with its place when that value is from a file."""
    for default in used.values():
        given = any(word.partition("=")[0] == default.option.flag for word in words)
        named = finding.key in (default.option.name, default.option.flag)
        if named and not given and not finding.where:
            return replace(finding, where=default.where, key=default.option.name)
    return finding


@command(JIGS, "defaults")
def show_defaults(as_json: JsonOption) -> None:
    """Show the defaults in force, and the files that set them.

    A file has an option's name and value on each line: bed = "250x210x220". The one beside the
    work wins over your own, and the command line wins over both.
    """
    every = read_defaults().values()
    rows = [(one.option.name, one.words, one.where or "jiggen") for one in every]
    shown = ((name, words or "-", where) for name, words, where in rows)
    lines = [
        *columns(("option", "default", "from"), shown, left=3),
        "",
        f"Your own are read from {user_file()}, those of the work",
        f"from ./{LOCAL}.",
    ]
    data = {
        "files": {"user": str(user_file()), "work": str(LOCAL)},
        "defaults": [dict(zip(("name", "value", "from"), row, strict=True)) for row in rows],
    }
    write(as_json, lambda: data, lambda: "\n".join(lines))
