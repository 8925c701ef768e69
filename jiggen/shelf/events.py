"""What is done with the prints of a shelf, and what a print is after it."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal, get_args

from jiggen.shelf.jigs import OwnedJig, State

LONGEST_TEXT = 2000  # characters of a note
Doing = Literal[
    "added", "printed", "measured", "in use", "drilled", "new bushes", "retired", "note"
]
DOINGS: tuple[Doing, ...] = get_args(Doing)


@dataclass(frozen=True)
class Event:
    """What was done: when (UTC, ISO 8601), by whom, how many `pairs`, whether a print `passed`.

    `readings` of a print are JSON.  No two of one print have the same time.
    """

    mark: str
    at: str
    by: str
    doing: Doing
    pairs: int = 0
    passed: bool | None = None
    text: str = ""
    readings: str = ""


@dataclass(frozen=True)
class Tick:
    """A box that is ticked off in a `run` of pairs: when and by whom, drilled with which jig."""

    run: str
    box: str
    mark: str
    at: str
    by: str


def after(jig: OwnedJig, event: Event) -> OwnedJig:
    """A print after one more thing was done with it; what is retired stays so until it is used."""
    gone = jig.state == "retired"
    match event.doing:
        case "note":
            return replace(jig, note=event.text)
        case "drilled":
            used = event.pairs > 0 and not gone
            state: State = "in use" if used else jig.state
            return replace(jig, pairs=jig.pairs + event.pairs, state=state)
        case "new bushes":
            return replace(jig, earlier=jig.pairs)
        case "printed":  # anew: what was measured was another print, with other bushes
            return replace(jig, state="printed", passed=None, measured="", earlier=jig.pairs)
        case "measured":
            used = jig.state == "in use" and event.passed is not False
            known: State = jig.state if gone or used else "measured"
            return replace(jig, passed=event.passed, measured=event.at, state=known)
        case "in use" | "retired" as state:
            return replace(jig, state=state)
        case _:
            return jig


def plain(words: str) -> str:
    """Words on one line, which a table has again as they are."""
    return " ".join(words.encode(errors="replace").decode().split())[:LONGEST_TEXT]


def now() -> str:
    """The time in UTC, to the microsecond."""
    return in_utc(datetime.now(UTC))


def in_utc(when: datetime) -> str:
    """A time as events have it."""
    return when.astimezone(UTC).isoformat(timespec="microseconds")
