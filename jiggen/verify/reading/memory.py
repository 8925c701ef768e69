"""What was made of a file, kept by the file's very bytes, in a process that works ahead."""

import hashlib
from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")

_KEPT: dict[tuple[str, bytes], Any] | None = None


def keep() -> None:
    """From now on keep what is made."""
    global _KEPT
    _KEPT = {}


def keeps() -> bool:
    """Whether anything is kept here."""
    return _KEPT is not None


def forget() -> None:
    """Drop what was made."""
    if _KEPT is not None:
        _KEPT.clear()


def once(read: Callable[[bytes], T], data: bytes) -> T:
    """What `read` makes of `data`: what it made of the same bytes before, if that was kept."""
    return made_of(data, read.__qualname__, lambda: read(data))


def made_of(data: bytes, name: str, make: Callable[[], T]) -> T:
    """What `make`, called by this `name`, makes of `data`, or has made of the same bytes before."""
    if _KEPT is None:
        return make()
    key = name, hashlib.sha256(data).digest()
    if key not in _KEPT:
        _KEPT[key] = make()
    found: T = _KEPT[key]
    return found
