"""A shop's own defaults of options, from files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

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

    Raises InputError ``defaults.unknown-key`` and ``.value``, and as `jiggen.inputs` does.
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
