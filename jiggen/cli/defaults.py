"""A shop's own defaults, from its files; ``jiggen defaults`` shows them.

Both files have an option's name and value on each line: ``bed = "250x210x220"``.  The file
beside the work wins over the user's, and the command line wins over both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from jiggen.cli import options
from jiggen.cli.output import columns, write
from jiggen.cli.program import COMMANDS, JIGS, command
from jiggen.errors import Finding, InputError
from jiggen.options import HABITS, Option

LOCAL = Path("jiggen-defaults.toml")


@dataclass(frozen=True)
class Default:
    """The value of an option that is not on the command line, as a person would write it.

    `where` is ``file:line:column``, empty for a value that jiggen itself has.
    """

    option: Option
    words: str | None
    where: str = ""


def user_file() -> Path:
    """The user's own file of defaults: in a folder by the system's custom, there or not."""
    from platformdirs import user_config_path

    return user_config_path("jiggen", appauthor=False) / "defaults.toml"


def read_defaults() -> dict[str, Default]:
    """The default of each option that a file may set, by its name.

    Raises InputError ``defaults.unknown-key`` and ``defaults.value`` with file, line and key, and
    what `jiggen.inputs` raises for a file that cannot be read.
    """
    found = {option.name: Default(option, option.default) for option in HABITS}
    faults: list[Finding] = []
    for path in (user_file(), LOCAL):
        if path.exists():
            try:
                found |= _read(path)
            except InputError as error:
                faults += error.findings
    if faults:
        raise InputError(faults)
    return found


def defaults_for(words: Sequence[str]) -> dict[str, Default]:
    """What the files set of the command in `words`, by the parameter that takes its value.

    Raises InputError as `read_defaults`, unless only help is asked for.
    """
    rows = COMMANDS.get(next((word for word in words if not word.startswith("-")), ""), {})
    habits = {field: row.name for field, row in rows.items() if row.habit}
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


def _read(path: Path) -> dict[str, Default]:
    from jiggen.inputs.document import FileKind, read_document
    from jiggen.inputs.faults import Fault, nearest, shown

    document = read_document(path, FileKind("defaults", "A file of defaults"))
    known = {option.name: option for option in HABITS}
    found: dict[str, Default] = {}
    faults = []
    for name, value in document.data.items():
        if name not in known:
            near = nearest(name, known)
            hint = f"Did you mean {near}?" if near else f"Allowed: {', '.join(known)}."
            message = "not the name of an option with a default"
            faults.append(Fault((name,), "unknown-key", message, hint))
        elif isinstance(value, bool) or not isinstance(value, str | int | float):
            hint = "Write it as on the command line, in quotes unless it is a plain number."
            faults.append(Fault((name,), "value", f"{shown(value)} is not a value of it", hint))
        else:
            found[name] = Default(known[name], str(value), document.where((name,)))
            try:
                known[name].read(str(value))
            except InputError as error:
                faults += (Fault((name,), "value", f.message, f.hint) for f in error.findings)
    document.refuse(faults)
    return found


@command(JIGS, "defaults")
def show_defaults(as_json: options.JsonOption) -> None:
    """Show the defaults in force, and the files that set them.

    A file has an option's name and value on each line: bed = "250x210x220". The one beside the
    work wins over your own, and the command line wins over both.
    """
    found = [
        (row.option.name, row.words, row.where or "jiggen") for row in read_defaults().values()
    ]
    rows = ((name, f"  {words or '-':<16}{where}") for name, words, where in found)
    lines = [
        *columns(("option", f"  {'default':<16}from"), rows, width=0),
        "",
        f"Your own are read from {user_file()}, those of the work",
        f"from ./{LOCAL}.",
    ]
    data = {
        "files": {"user": str(user_file()), "work": str(LOCAL)},
        "defaults": [dict(zip(("name", "value", "from"), row, strict=True)) for row in found],
    }
    write(as_json, lambda: data, lambda: "\n".join(lines))
