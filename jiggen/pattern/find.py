"""Where pattern files are looked for: as given, then folder by folder.

A name is looked for as a file, in ./patterns, which belongs to the job at hand, in the user's own
data folder, then among the patterns that come with jiggen; the first found is used.  Where none
is called so, the names count that patterns have inside, and case and separators do not.
"""

import os
import re
from contextlib import suppress
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

from jiggen.errors import InputError
from jiggen.files import parse_toml
from jiggen.inputs.document import MAX_BYTES
from jiggen.inputs.faults import did_you_mean, quoted

LOCAL = Path("patterns")

Origin = Literal["local", "user", "shipped"]
"""Whose a pattern is: of the folder one works in, of the user, or of jiggen."""


@dataclass(frozen=True)
class Known:
    """A pattern file found by looking; `hidden` when its name finds another one first."""

    path: Path
    origin: Origin
    hidden: bool

    @property
    def name(self) -> str:
        """The name it is called by: the file's, without ``.toml``."""
        return self.path.stem


def find_pattern(name_or_path: str | os.PathLike[str]) -> Path:
    """The pattern file meant by a path (with a folder or ``.toml`` in it), or by a name.

    Raises InputError ``pattern.missing`` when nothing is there, naming the known patterns.
    """
    name, given = os.fspath(name_or_path), Path(name_or_path)
    candidates = [given]
    if given.suffix != ".toml" and given.parts == (name,) and not given.is_absolute():
        candidates += [folder / f"{name}.toml" for _, folder in _folders()]
    for candidate in candidates:
        if os.path.isfile(candidate):  # noqa: PTH113 - False for a name no file can have
            return candidate
    if os.path.exists(given):  # noqa: PTH110 - as above
        return given  # a folder, say: reading it tells what is wrong
    if len(candidates) > 1 and (found := _by_any_name(name)):
        return found
    known = sorted({pattern.name for pattern in known_patterns()})
    hint = (
        f"{did_you_mean(given.stem, known)}Known patterns: {', '.join(known) or 'none'}. "
        "Or give the path of a pattern file."
    )
    raise InputError.of("pattern.missing", f"no pattern {quoted(name, 200)}", hint=hint)


def _by_any_name(name: str) -> Path | None:
    """The pattern called `name` but for case and separators: by its file, else inside it.

    Raises InputError ``pattern.ambiguous`` where patterns of one folder are.
    """
    wanted = _plain(name)
    for called in (lambda path: path.stem, _name_inside):
        for _, folder in _folders():
            found = [path for path in _patterns_in(folder) if _plain(called(path)) == wanted]
            if len(found) > 1 and wanted:
                hint = f"Give its file: {', '.join(map(str, found))}."
                message = f"{len(found)} patterns are called {quoted(name, 200)}"
                raise InputError.of("pattern.ambiguous", message, hint=hint)
            if found and wanted:
                return found[0]
    return None


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", "", name).casefold()


def _name_inside(path: Path) -> str:
    """The name that a pattern file gives itself, as far as it can be read."""
    with suppress(OSError, ValueError):
        if path.stat().st_size <= MAX_BYTES:
            return str(parse_toml(path.read_text(encoding="utf-8")).get("name", ""))
    return ""


def known_patterns() -> tuple[Known, ...]:
    """Every pattern that a name can find, in the order they are looked for; each file once."""
    known: dict[Path, Known] = {}
    names: set[str] = set()
    for origin, folder in _folders():
        for path in _patterns_in(folder):
            if path.resolve() not in known:
                known[path.resolve()] = Known(path, origin, path.stem in names)
                names.add(path.stem)
    return tuple(known.values())


def shipped_patterns() -> list[Path]:
    """Paths of the patterns that come with jiggen, sorted by name."""
    return _patterns_in(_shipped_folder())


def user_folder() -> Path:
    """The user's own patterns: a folder by the system's custom, there or not."""
    from platformdirs import user_data_path

    return user_data_path("jiggen", appauthor=False) / "patterns"


def _folders() -> tuple[tuple[Origin, Path], ...]:
    return ("local", LOCAL), ("user", user_folder()), ("shipped", _shipped_folder())


def _shipped_folder() -> Path:
    """``jiggen/patterns`` in an installed wheel, ``patterns`` beside jiggen in a checkout."""
    package = Path(str(files("jiggen")))
    installed = package / "patterns"
    return installed if installed.is_dir() else package.parent / "patterns"


def _patterns_in(folder: Path) -> list[Path]:
    return sorted(path for path in folder.glob("*.toml") if path.is_file())
