"""The jigs that a workshop owns: the options of the commands and pages about its shelf."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from jiggen import options as table
from jiggen.options import Option
from jiggen.request.defaults import read_defaults

SHELF_FILE = Path("jiggen-shelf.sqlite")
GROUP = "The shelf"

SHELF = Option(
    "shelf",
    "path",
    "The file of the jigs that the workshop owns.",
    group=GROUP,
    default=str(SHELF_FILE),
)
BY = Option(
    "by", "text", "Who does it; default: the name you are logged in by.", group=GROUP, default=""
)
PAIRS = Option(
    "pairs",
    "count",
    "Pairs of skis that were drilled with it; less than 0 takes back what was counted by mistake.",
    group=GROUP,
    default="1",
    counts=(-1000, 1000),
)


def login_name() -> str:
    """The name that the user is logged in by; empty where the system has none."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


@dataclass(frozen=True)
class AtShelf:
    """The options that say which shelf is changed, and by whom."""

    file: Annotated[Path, SHELF]
    by: Annotated[str, BY]

    @property
    def who(self) -> str:
        """By whom."""
        return self.by.strip() or login_name()


def bush_limit() -> int:
    """How many holes one bush may guide, by the shop's defaults.  Raises InputError."""
    limit: int = table.BUSH_LIMIT.read(read_defaults()[table.BUSH_LIMIT.name].words or "")
    return limit
