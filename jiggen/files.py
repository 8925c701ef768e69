"""Files and their names: written whole or not at all, and never outside of where they belong."""

import errno
import hashlib
import json
import os
import re
import secrets
import stat
import time
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from io import BufferedReader
from pathlib import Path
from typing import Any

from jiggen.errors import InputError
from jiggen.progress import wrote

# The files of a built folder besides its parts and beds.
MANIFEST = "manifest.json"
JOB_FILE, PATTERN_FILE, PRINTER_FILE = "job.toml", "pattern.toml", "printer.toml"
"""What was asked for: options, the pattern's own text, and a printer's figures."""
STEP_FILE = "jig.step"
PLAN_SVG, PLAN_DXF = "layout.svg", "layout.dxf"
PICTURE = "preview.png"
SHEET, PAGE = "sheet.pdf", "report.html"
PAPERS = SHEET, PAGE
"""What is verified last: it tells of the verification."""
MEASUREMENTS = "measurements.toml"
"""The one file of a folder that a person fills in: it may change, and is not verified."""
MARK_NAME = "jiggen-record"
"""What the mark of a record is called in the files that bear it."""
KNOWN_LATER = ("files", "verification", "printing")  # entries of a record
LONGEST_NAME = 60  # characters that are kept of a name
LONGEST_PART = 120  # characters between two slashes of a path that a file names
LONGEST_PATH = 400
STALE = 3600.0  # seconds: no single file takes so long to write
# Microsoft, "Naming Files, Paths, and Namespaces" (learn.microsoft.com): names of devices in
# every folder of Windows, with any ending; characters that no name has there.
DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³"
}
FORBIDDEN = re.compile(r'[\\:*?"<>|]|[. ]$')
TOO_DEEP = "lists or tables are nested too deeply"
DEEPEST = 100  # lists and tables within one another
MOST_KEY_PARTS = 50
_BRACKET = re.compile(r"[][{}]")
_LONG_KEY = re.compile(
    r"""(?:(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+)"""
    rf"{{{MOST_KEY_PARTS}}}"
)
Toml = dict[str, Any]
"""A table as `tomllib` reads it: whatever a person wrote."""
UNSAFE = re.compile(r"[^a-z0-9]+")


def plain_name(words: str, otherwise: str) -> str:
    """A name for a file or folder made of any `words`: small letters, digits and hyphens only.

    Letters of other scripts become those that sound alike.  At most `LONGEST_NAME` characters;
    `otherwise` where nothing is left, and before a device.
    """
    from anyascii import anyascii

    name = UNSAFE.sub("-", anyascii(words).lower()).strip("-")[:LONGEST_NAME].rstrip("-")
    return f"{otherwise}-{name}" if name in DEVICES else name or otherwise


def inner_path(name: str) -> str:
    """`name`, a relative path with slashes, if it stays in its folder whatever system reads it.

    Raises ValueError for ``..``, an absolute path, a device's name, characters that are unseen
    or forbidden, and a path too long.
    """
    parts = name.split("/")
    devices = (part.partition(".")[0].rstrip().lower() in DEVICES for part in parts)
    sound = (
        # `.` and `..` end in a dot
        0 < len(part) <= LONGEST_PART and part.isprintable() and not FORBIDDEN.search(part)
        for part in parts
    )
    if len(name) > LONGEST_PATH or not all(sound) or any(devices):
        raise ValueError("must be a relative path inside the folder")
    return name


def within(folder: Path, name: str, largest: int) -> Path:
    """The path of the plain file `name` in `folder`, of at most `largest` bytes.

    Raises OSError when it is missing, no file, larger, or outside by its name or by a link.
    """
    path = folder / name
    real = Path(os.path.realpath(path, strict=True))
    if not real.is_relative_to(os.path.realpath(folder)):
        raise OSError(errno.EACCES, "it leads out of the folder", str(path))
    if not real.is_file():
        raise OSError(errno.EINVAL, "it is not an ordinary file", str(path))
    if real.stat().st_size > largest:
        raise OSError(errno.EFBIG, f"it is larger than {largest // 2**20} MB", str(path))
    return path


def open_plain(path: Path) -> BufferedReader:
    """Open the plain file at `path` to read its bytes; never waits for a pipe.

    Raises OSError, also for a folder, pipe or device.
    """
    number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    if not stat.S_ISREG(os.fstat(number).st_mode):
        os.close(number)
        raise OSError(errno.EINVAL, "it is not an ordinary file", str(path))
    return os.fdopen(number, "rb")


def mark_of(record: Mapping[str, object]) -> str:
    """What drawings, sheet and page bear to say which record they belong to: a SHA-256.

    It is that of the record's values as JSON has them, but for those that are known only once the
    files are written.  Raises ValueError for a number that JSON does not have.
    """
    values = {name: value for name, value in record.items() if name not in KNOWN_LATER}
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def parse_toml(text: str) -> Toml:
    """The values of a TOML `text` from anywhere.

    Raises tomllib.TOMLDecodeError for invalid TOML, ValueError for what costs too much: deep
    nesting, a key of many parts (the square of their number), a number of thousands of digits.
    """
    if _LONG_KEY.search(text):
        raise ValueError(f"a key of more than {MOST_KEY_PARTS} parts")
    depth = 0
    for bracket in _BRACKET.finditer(text):
        depth += 1 if bracket[0] in "[{" else -1
        if depth > DEEPEST:  # of what a person writes; in words and comments it may be uneven
            raise ValueError(TOO_DEEP)
    try:
        return tomllib.loads(text)
    except RecursionError:  # brackets in words made up for those of lists
        raise ValueError(TOO_DEEP) from None


@contextmanager
def _writing(path: str | os.PathLike[str], key: str) -> Iterator[None]:
    """What the system refuses within is an InputError ``files.cannot-write`` about `path`."""
    try:
        yield
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it
        message = f"cannot be written: {getattr(error, 'strerror', None) or error}"
        hint = "Check the folder, your right to write there, and the space left."
        raise InputError.of(
            "files.cannot-write", message, where=os.fspath(path), key=key, hint=hint
        ) from error


def make_folder(path: Path, key: str = "") -> None:
    """Make the folder `path` unless it is there.  Raises InputError ``files.cannot-write``."""
    with _writing(path, key):
        path.mkdir(parents=True, exist_ok=True)


def write_whole(path: str | os.PathLike[str], data: str | bytes, key: str = "") -> None:
    """Write `data` (text as UTF-8) to `path`, which afterwards is all new or all as before.

    A link is followed.  `key` names the path's option.  Raises InputError ``files.cannot-write``.
    """
    with _writing(path, key):
        target = Path(os.path.realpath(path))
        if target.exists() and not target.is_file():
            raise ValueError("there is something of that name that is not a file")
        for left in target.parent.glob(".jiggen-*.part"):  # by a killed process: not a young one
            with suppress(OSError):
                if time.time() - left.stat().st_mtime > STALE:
                    left.unlink()
        # A sibling, so that the rename never crosses file systems; opened as any new file is, so
        # that it gets the usual permissions.
        part = target.with_name(f".jiggen-{secrets.token_hex(6)}.part")
        try:
            with part.open("xb") as stream:
                stream.write(data.encode() if isinstance(data, str) else data)
                stream.flush()
                os.fsync(stream.fileno())
            part.replace(target)
            wrote(path)
        finally:
            part.unlink(missing_ok=True)
