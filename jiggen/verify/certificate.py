"""Whether a folder may be worked from: verified now, unless these very bytes passed before.

What passed is remembered by checksums, of every file of the folder and of the code that verifies
it, in the user's cache: nothing in the folder itself can vouch for it.
"""

import hashlib
from contextlib import suppress
from functools import cache
from pathlib import Path

from platformdirs import user_cache_path

from jiggen import __version__
from jiggen.errors import CheckFailed, Finding
from jiggen.files import open_plain
from jiggen.progress import announce

SHOWN = 3  # faults
MOST = 2000  # folders remembered


def certify(folder: Path) -> None:
    """Raise CheckFailed ``verify.refused`` unless `folder` passes `check`; raises as that too."""
    from jiggen.verify.verification import check

    if is_remembered(seal_of(folder)):
        return
    announce("verification")
    found = check(folder)
    if found.passed:
        remember(folder)
        return
    shown = "; ".join(map(str, found.faults[:SHOWN]))
    more = f"; and {len(found.faults) - SHOWN} more" if len(found.faults) > SHOWN else ""
    message = f"this folder does not pass its verification: do not use it. {shown}{more}"
    hint = f"jiggen check {folder} says all. Build it again."
    raise CheckFailed(Finding("verify.refused", message, where=str(folder), hint=hint))


def remember(folder: Path) -> None:
    """Note that `folder`, as it is now, passes; nothing where there is no place for notes."""
    with suppress(OSError):
        if seal := seal_of(folder):
            passed = _note(seal)
            passed.parent.mkdir(parents=True, exist_ok=True)
            notes = sorted(passed.parent.iterdir(), key=lambda path: path.stat().st_mtime)
            for old in notes[: len(notes) - MOST]:
                old.unlink(missing_ok=True)
            passed.touch()


def is_remembered(seal: str) -> bool:
    """Whether a folder of that seal has passed before; False for an empty one."""
    return bool(seal) and _note(seal).is_file()


def seal_of(folder: Path) -> str:
    """What tells the very bytes of a folder, and jiggen's; empty for what is no folder."""
    total = hashlib.sha256(_code())
    try:
        for path in sorted(path for path in folder.rglob("*") if not path.is_dir()):
            with open_plain(path) as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()  # a film may be there
            total.update(f"{path.relative_to(folder).as_posix()}\0{digest}\0".encode())
        return total.hexdigest()
    except (OSError, ValueError):
        return ""


def _note(seal: str) -> Path:
    """The file that says, by being there, that what has this seal passed."""
    return user_cache_path("jiggen") / "verified" / seal


@cache
def _code() -> bytes:
    """A checksum of all of jiggen: another version may find what this one does not."""
    total = hashlib.sha256(__version__.encode())
    here = Path(__file__).parents[1]
    for path in sorted(path for path in here.rglob("*") if path.suffix in (".py", ".csv", ".toml")):
        total.update(f"{path.relative_to(here).as_posix()}\0".encode() + path.read_bytes())
    return total.digest()
