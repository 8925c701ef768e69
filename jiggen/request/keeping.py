"""Files that a page keeps in the workshop's folder, where the command line reads them."""

from pathlib import Path

from jiggen.errors import InputError
from jiggen.files import plain_name, write_whole

HOLDS_OTHER = "request.exists"


def kept_file(folder: str, name: str, suffix: str) -> Path:
    """Where something of that `name` is kept, below the workshop's folder."""
    return Path(folder) / f"{plain_name(name, 'unnamed')}{suffix}"


def holds(path: Path, text: str) -> bool:
    """Whether the file is there, and holds that text."""
    try:
        return path.read_bytes() == text.encode()
    except OSError:
        return False


def keep(path: Path, text: str, *, replace: bool) -> None:
    """Write the file, and the folder that it is in.

    Raises InputError ``request.exists`` rather than `replace` another text unasked, and as
    `write_whole`.
    """
    if holds(path, text):
        return
    if path.exists() and not replace:
        hint = "Replace it on purpose, or choose another name."
        message = "there is already another file of that name; nothing was written"
        raise InputError.of(HOLDS_OTHER, message, where=path.as_posix(), hint=hint)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        message = f"its folder cannot be made: {error.strerror}"
        raise InputError.of("files.cannot-write", message, where=path.as_posix()) from None
    write_whole(path, text)
