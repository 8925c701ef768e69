"""Several words read one after the other, so that all that is wrong with them is said at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from jiggen.errors import Finding, InputError

T = TypeVar("T")


class Reading:
    """Reads words and keeps what is wrong with them, until `end` raises it all."""

    def __init__(self, *faults: Finding) -> None:
        self.faults: list[Finding] = list(faults)

    def read(self, read: Callable[[], T], otherwise: T) -> T:
        """What `read` returns; `otherwise`, and its findings kept, when it raises InputError."""
        try:
            return read()
        except InputError as error:
            self.faults += error.findings
            return otherwise

    def end(self) -> None:
        """Raise InputError with every fault kept, if there are any."""
        if self.faults:
            raise InputError(self.faults)
