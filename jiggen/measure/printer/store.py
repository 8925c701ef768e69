"""Printer profiles as files: one TOML per printer in the user's own folder, or anywhere by path."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_config_path
from pydantic import ValidationError

from jiggen.errors import Finding, InputError, findings_in
from jiggen.files import make_folder, parse_toml, within, write_whole
from jiggen.inputs.document import toml_text
from jiggen.measure.printer.model import Profile

LARGEST = 64 * 1024  # bytes; a profile is under one kilobyte


def folder() -> Path:
    """Where profiles are kept; JIGGEN_PRINTERS names another folder."""
    chosen = os.environ.get("JIGGEN_PRINTERS")
    return Path(chosen) if chosen else user_config_path("jiggen") / "printers"


def profile_names() -> tuple[str, ...]:
    """Names of the stored profiles, in order."""
    return tuple(sorted(path.stem for path in folder().glob("*.toml")))


def find_profile(asked: str) -> Profile:
    """The profile of that name, or in the file at that path.

    Raises InputError ``printer.unknown`` with the names there are, ``printer.unreadable`` or
    ``printer.profile`` with every fault of the file.
    """
    by_path = "/" in asked or "\\" in asked or asked.endswith(".toml")
    if not by_path and asked not in profile_names():
        names = ", ".join(profile_names()) or "none yet; `jiggen profile fit` makes one"
        raise InputError(
            Finding(
                "printer.unknown",
                f"there is no printer called {asked!r}",
                key="printer",
                hint=f"Known: {names}.  A path to a profile file serves too.",
            )
        )
    return _read(Path(asked) if by_path else folder() / f"{asked}.toml")


def save_profile(profile: Profile) -> Path:
    """Write `profile` under its name, replacing one of that name; where it went."""
    target = folder() / f"{profile.name}.toml"
    make_folder(target.parent, key="name")
    write_whole(target, profile_text(profile), key="name")
    return target


def profile_text(profile: Profile) -> str:
    """The profile as TOML, numbers as measured."""
    return toml_text(profile.model_dump(exclude_none=True))


def _read(path: Path) -> Profile:
    try:
        real = Path(os.path.realpath(path))  # a link in the folder of profiles may lead anywhere
        data = parse_toml(within(real.parent, real.name, LARGEST).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from error
    try:
        return Profile.model_validate(data)
    except ValidationError as error:
        hint = "Make the profile again with `jiggen profile fit`."
        raise InputError(findings_in(error, "printer.profile", str(path), hint)) from error


def _unreadable(path: Path, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or str(error)
    return InputError(
        Finding(
            "printer.unreadable",
            f"cannot be used: {reason}",
            where=str(path),
            key="printer",
            hint="Name a stored printer or the path of a profile file.",
        )
    )
