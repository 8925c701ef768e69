"""Single files written whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from jiggen.errors import Finding, InputError

MEASUREMENTS = "measurements.toml"
"""The one file of a folder that a person fills in: it may change, and no proof speaks of it."""


def write_whole(path: str | os.PathLike[str], data: str | bytes, key: str = "") -> None:
    """Write `data` (text as UTF-8) to `path`, which afterwards is all new or all as before.

    An existing file is replaced; a link is followed.  `key` names the option that gave the
    path.  Raises InputError ``files.cannot-write``.
    """
    content = data.encode("utf-8") if isinstance(data, str) else data
    try:
        _replace(Path(os.path.realpath(path)), content)
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            Finding(
                "files.cannot-write",
                f"cannot be written: {reason}",
                where=os.fspath(path),
                key=key,
                hint="Check the folder, your right to write there, and the space left.",
            )
        ) from error


def _replace(target: Path, content: bytes) -> None:
    if target.exists() and not target.is_file():
        raise ValueError("there is something of that name that is not a file")
    # A sibling, so that the rename never crosses file systems; opened as any new file is, so
    # that it gets the usual permissions.
    part = target.with_name(f".jiggen-{secrets.token_hex(6)}.part")
    try:
        with part.open("xb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
