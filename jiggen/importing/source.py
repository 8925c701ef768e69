"""A drawing's file, up to its bytes."""

from __future__ import annotations

from pathlib import Path

from jiggen.errors import Finding, InputError

MAX_BYTES = 64_000_000


def fault(code: str, message: str, where: str = "", key: str = "", hint: str = "") -> Finding:
    """A finding of this room; `code` without the room's name."""
    return Finding(f"import.{code}", message, where, key, hint)


def read_bytes(path: Path) -> bytes:
    """The file at `path`.

    Raises InputError ``import.missing``, ``.folder``, ``.unreadable`` or ``.too-big``.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        hint = "Check the name and the folder."
        raise InputError(fault("missing", "no such file", str(path), hint=hint)) from None
    except IsADirectoryError:
        hint = "Name the file in it."
        raise InputError(fault("folder", "this is a folder", str(path), hint=hint)) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            fault("unreadable", f"cannot be read: {reason}", str(path), hint="Check the name.")
        ) from None
    if len(data) > MAX_BYTES:
        hint = "Save the plate alone, without the rest of the drawing."
        said = f"larger than {MAX_BYTES // 1_000_000} MB"
        raise InputError(fault("too-big", said, str(path), hint=hint))
    return data


def text_of(data: bytes, file: str) -> str:
    """`data` as UTF-8 text, less a byte-order mark.  Raises InputError ``import.not-utf8``."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        said = f"byte {error.start + 1} (0x{data[error.start]:02x}) is not UTF-8 text"
        hint = "Save the file as UTF-8."
        raise InputError(fault("not-utf8", said, f"{file}:{line}", hint=hint)) from None
