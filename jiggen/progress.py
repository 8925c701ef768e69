"""What is being done, and what is to be known of it, told to whoever listens, or to nobody.

The listener and the list of notes are context variables: no function need hand them through.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from os import PathLike, fspath

from jiggen.errors import Finding

Listener = Callable[[str], None]

_LISTENER: ContextVar[Listener | None] = ContextVar("listener", default=None)
_NOTES: ContextVar[list[Finding] | None] = ContextVar("notes", default=None)
_WRITTEN: ContextVar[list[str] | None] = ContextVar("written", default=None)


def announce(step: str) -> None:
    """Tell the listener, if there is one, that `step` begins."""
    if listener := _LISTENER.get():
        listener(step)


@contextmanager
def announcing_to(listener: Listener) -> Iterator[None]:
    """Call `listener` with every step announced within this context."""
    token = _LISTENER.set(listener)
    try:
        yield
    finally:
        _LISTENER.reset(token)


def note(finding: Finding) -> None:
    """Keep what is worth telling and not a fault, such as how a file was read."""
    if (notes := _NOTES.get()) is not None and finding not in notes:
        notes.append(finding)


def noted() -> tuple[Finding, ...]:
    """What was noted since it was last asked for."""
    notes = _NOTES.get() or []
    found = tuple(notes)
    notes.clear()
    return found


@contextmanager
def keeping_notes() -> Iterator[None]:
    """Keep what is noted within this context."""
    token = _NOTES.set([])
    try:
        yield
    finally:
        _NOTES.reset(token)


def wrote(path: str | PathLike[str]) -> None:
    """Keep that the file or folder at `path` is there now, whole, if that is kept."""
    if (written := _WRITTEN.get()) is not None:
        written.append(fspath(path))


@contextmanager
def keeping_written(written: list[str]) -> Iterator[None]:
    """Add to `written` the paths of what is written within this context."""
    token = _WRITTEN.set(written)
    try:
        yield
    finally:
        _WRITTEN.reset(token)
