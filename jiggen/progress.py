"""What is being done, told to whoever listens: a terminal's status line, or nobody.

The listener is a context variable, so that it need not be handed through every function.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Listener = Callable[[str], None]

_LISTENER: ContextVar[Listener | None] = ContextVar("listener", default=None)


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
