"""Where pattern files are looked for: as given, in ./patterns, among the shipped ones."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.pattern.faults import nearest, quoted

LOCAL = Path("patterns")


def find_pattern(name_or_path: str | os.PathLike[str]) -> Path:
    """The pattern file meant by a path, or by a name without ``.toml``.

    A path (with a folder or ``.toml`` in it) is taken as given.  A name is looked for as a
    file of that name, then in ./patterns, then among the shipped patterns.

    Raises InputError ``pattern.missing`` when nothing is there, naming the known patterns.
    """
    given = Path(name_or_path)
    for candidate in _candidates(os.fspath(name_or_path), given):
        try:
            if candidate.is_file():
                return candidate
        except (OSError, ValueError):  # no name a file can have; said below
            break
    if _exists(given):
        return given  # a folder, say: reading it tells what is wrong
    raise InputError(_unknown(os.fspath(name_or_path), given.stem))


def shipped_patterns() -> list[Path]:
    """Paths of the patterns that come with jiggen, sorted by name."""
    return _patterns_in(_shipped_folder())


def _candidates(name: str, given: Path) -> list[Path]:
    if given.suffix == ".toml" or len(given.parts) != 1 or given.is_absolute() or "/" in name:
        return [given]
    return [given, LOCAL / f"{name}.toml", _shipped_folder() / f"{name}.toml"]


def _shipped_folder() -> Path:
    """``jiggen/patterns`` in an installed wheel, ``patterns`` beside jiggen in a checkout."""
    package = Path(str(files("jiggen")))
    installed = package / "patterns"
    return installed if installed.is_dir() else package.parent / "patterns"


def _patterns_in(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.toml"))


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def _unknown(said: str, stem: str) -> Finding:
    known = sorted({path.stem for path in (*_patterns_in(LOCAL), *shipped_patterns())})
    guess = nearest(stem, known)
    meant = f"Did you mean {quoted(guess)}? " if guess else ""
    return Finding(
        "pattern.missing",
        f"no pattern {quoted(said, 200)}",
        hint=f"{meant}Known patterns: {', '.join(known) or 'none'}. "
        "Or give the path of a pattern file.",
    )
