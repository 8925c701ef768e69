"""The one exception family: what went wrong, where, and what to do about it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, in words on which a technician can act.

    `code` is stable and names the room (``pattern.unknown-key``, ``design.clash``);
    `where` is ``file:line:column`` or whatever is known of it; `key` is the key path
    in that file (``group[1].hole[3].at``), or the names of the options that it is about
    (``bed, bush``); `hint` states what is allowed or what helps.
    """

    code: str
    message: str
    where: str = ""
    key: str = ""
    hint: str = ""

    def __str__(self) -> str:
        place = ": ".join(part for part in (self.where, self.key) if part)
        line = f"{place}: {self.message}" if place else self.message
        return f"{line}\n    {self.hint}" if self.hint else line

    def as_dict(self) -> dict[str, str]:
        """The finding as plain strings, for JSON."""
        return {name: getattr(self, name) for name in ("code", "where", "key", "message", "hint")}


def printable(text: str, apart_from: str = "") -> str:
    """`text` with what could steer a terminal shown as an escape: names come from files."""
    return "".join(
        c if c.isprintable() or c in apart_from else c.encode("unicode_escape").decode()
        for c in text
    )


def key_path(steps: Iterable[int | str]) -> str:
    """A key path of keys, of long ones the beginning, and places in lists: ``holes[0].id``."""
    path = (f"[{step}]" if isinstance(step, int) else f".{step[:60]}" for step in steps)
    return "".join(path).lstrip(".")


class JiggenError(Exception):
    """Base of every error jiggen raises on purpose; carries one or more findings."""

    exit_code = 2

    def __init__(self, findings: Finding | Iterable[Finding]) -> None:
        self.findings: tuple[Finding, ...] = (
            (findings,) if isinstance(findings, Finding) else tuple(findings)
        )
        super().__init__("\n".join(str(finding) for finding in self.findings))

    def __reduce__(self) -> tuple[type[Self], tuple[tuple[Finding, ...]]]:
        """The same error in another process."""
        return type(self), (self.findings,)

    @classmethod
    def of(cls, code: str, message: str, *, where: str = "", key: str = "", hint: str = "") -> Self:
        """The error of one finding."""
        return cls(Finding(code, message, where, key, hint))


class InputError(JiggenError, ValueError):
    """Bad input or bad use: nothing was written. Exit code 2."""


class CheckFailed(JiggenError):  # noqa: N818 - a failed check is a finding, not an accident
    """A check failed: what was made must not be used. Exit code 1."""

    exit_code = 1
