"""Plain values of a record against what they must be, key by key."""

from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any

from jiggen.files import MANIFEST
from jiggen.verify.results import Ledger

MOST_TOLD = 20  # differences that are told, each by itself
SHOWN = 80  # characters of a value


def judge_same(key: str, found: Any, wanted: Any, limit: float, code: str, ledger: Ledger) -> None:
    """Note every difference of the record's `key` from what is wanted, numbers within `limit`."""
    apart = [*islice(_differences(key, found, wanted, limit), MOST_TOLD)]
    for path, one, other in apart:
        numbers = (one, other, limit) if is_number(one) and is_number(other) else ()
        message = f"is {_short(one)}, must be {_short(other)}"
        ledger.about(MANIFEST, path).expect(False, code, message, *numbers)
    if not apart:
        ledger.about(MANIFEST, key).expect(True, code, "")


def _differences(
    path: str, found: Any, wanted: Any, limit: float
) -> Iterator[tuple[str, Any, Any]]:
    """Where two plain values differ: the key path, and the two; a key left out is None."""
    if isinstance(found, Mapping) and isinstance(wanted, Mapping):
        for key in dict.fromkeys((*wanted, *found)):
            yield from _differences(f"{path}.{key}", found.get(key), wanted.get(key), limit)
    elif isinstance(found, list | tuple) and isinstance(wanted, list | tuple):
        if len(found) != len(wanted):
            yield path, found, wanted
        else:
            for at, (one, other) in enumerate(zip(found, wanted, strict=True)):
                yield from _differences(f"{path}[{at}]", one, other, limit)
    elif is_number(found) and is_number(wanted):
        if not abs(found - wanted) <= limit:
            yield path, found, wanted
    elif type(found) is not type(wanted) or found != wanted:
        yield path, found, wanted


def is_number(value: object) -> bool:
    """Whether it is a number, and no truth value."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def _short(value: object) -> str:
    text = "not there" if value is None else str(value)
    return text if len(text) <= SHOWN else f"{text[: SHOWN - 1]}…"
