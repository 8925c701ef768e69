"""What pages with scans have in common: what is entered, and the scans with what was found."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from jiggen.desk.forms import Filled, entered
from jiggen.desk.scans import MOST, Read, keep_scans, kept_scans, read_scans
from jiggen.desk.site import go, works_of
from jiggen.errors import Finding
from jiggen.request.plate import HOW
from jiggen.request.scan import DISTANCES, IMAGES, IMAGES_OPTION, LEAVE_OUT, SCANS_FOLDER

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jiggen.measure.scan.adjust import Fitted
    from jiggen.measure.scan.files import Picture
    from jiggen.measure.scan.network import Sightings
    from jiggen.request.scanned import OnGlass

WITHOUT = "without."  # and the first name of a hole
ENDS = ("from", "to", "how", "read")  # and the row of a distance
LEAST_ROWS = 2  # distances that there is room for
MARGIN, NAMED = 15.0, 30.0  # mm around the holes that are shown; to the right of them, for names
HIT = 3.0  # mm around a hole that a click on it may miss


@dataclass(frozen=True)
class Entry:
    """What was entered on the page at `base`: its scans' `names`, and all other words."""

    base: str
    words: dict[str, list[str]]
    names: list[str]
    ends: ClassVar = ENDS
    hows: ClassVar = HOW

    def one(self, name: str) -> str:
        """What stands in one field."""
        return "".join(self.words.get(name, [])[-1:])

    def address(self, names: Iterable[str]) -> str:
        """The page with other scans."""
        own = {IMAGES.name: list(dict.fromkeys(names))}
        return f"{self.base}?{urlencode(own | self.words, doseq=True)}"

    def fewer(self, name: str) -> str:
        """The page without one scan."""
        return self.address(one for one in self.names if one != name)

    @property
    def paths(self) -> list[str]:
        """The scans as the command reads them."""
        return [(SCANS_FOLDER / name).as_posix() for name in self.names]

    @property
    def rows(self) -> list[int]:
        """The numbers of the distances' rows: those that something stands in, and free ones."""
        names = (name.partition(".") for name in self.words)
        found = {row for end, _, row in names if end in ENDS and row.isdecimal() and len(row) < 3}
        used = sorted(map(int, found))
        last = max(used, default=0)
        return [*used, *range(last + 1, last + 1 + max(LEAST_ROWS - len(used), 1))]

    def distances(self, calls: Mapping[str, str] = {}) -> tuple[list[str], list[Finding]]:
        """The words of the distances between holes by their last names, and what is wrong."""
        found, faults = list[str](), list[Finding]()
        for row in self.rows:
            one, other, how, read = (self.one(f"{end}.{row}") for end in ENDS)
            if one and other and read:
                ends = f"{calls.get(one, one)}-{calls.get(other, other)}"
                found.append(f"{ends}:{how or HOW[0]}={read}")
            elif read:
                message, hint = f"distance {row} has no two ends", "Choose them."
                faults.append(Finding("scan.distance", message, key=DISTANCES.name, hint=hint))
        return found, faults

    @property
    def without(self) -> list[str]:
        """The first names of the holes that are not used, as the option has them."""
        names = sorted(name[len(WITHOUT) :] for name in self.words if name.startswith(WITHOUT))
        return [",".join(names)] if names else []

    @property
    def offered(self) -> list[tuple[str, str]]:
        """Scans in the folder that are not used, and the address that uses them."""
        names = [name for name in kept_scans() if name not in self.names]
        return [(name, self.address([*self.names, name])) for name in names[:MOST]]

    def read(self, request: Request, rims: tuple[float, ...] = (), *, again: bool = False) -> Read:
        """What is known of the scans; what is not is begun to be read, by those `rims`."""
        address = self.address(self.names)
        return read_scans(works_of(request), self.names, address, rims=rims, again=again)

    def faulty(self, read: Read) -> list[tuple[str, tuple[Finding, ...], str]]:
        """Scans that were not read, why, and the page without them."""
        return [(name, findings, self.fewer(name)) for name, findings in read.faulty]


def scan_words(entry: Entry, own: Collection[str]) -> tuple[dict[str, list[str]], list[Finding]]:
    """The words of a command with scans, its `own` options among them, and what is wrong."""
    distances, faults = entry.distances()
    return {name: one for name, one in entry.words.items() if name in own} | {
        IMAGES_OPTION.name: entry.paths,
        DISTANCES.name: distances,
        LEAVE_OUT.name: entry.without,
    }, faults


def glass_values(
    entry: Entry, read: Read, filled: Filled[Any], glass: OnGlass | None, holes: Sequence[str]
) -> dict[str, Any]:
    """What a page of printed things on the glass shows of them; `holes` are all that may be."""
    from jiggen.report.scan import HEAD, KNOWN, rows

    known = {row[0]: row[1:] for row in rows(glass.fitted, glass.pictures)} if glass else {}
    pictures = glass.pictures if glass else read.pictures
    fitted, seen = (glass.fitted, glass.found) if glass else (None, None)
    empty = ("",) * (len(HEAD) - 1)
    return {
        "entry": entry,
        "read": read,
        "glass": glass,
        "ends": [(name, name) for name in holes],
        "distance": filled.fields[DISTANCES.name],
        "faults": filled.faults,
        "head": HEAD,
        "known": KNOWN,
        "holes": [(name, known.get(name, empty)) for name in seen.names] if seen else [],
        "sheets": [*sheets(entry, pictures, fitted, seen)],
        "command": filled.command,
    }


def entry_of(request: Request, base: str) -> Entry:
    """What was entered on the page at `base`, by a request's address."""
    words = entered(request.query_params)
    names = list(dict.fromkeys(words.pop(IMAGES.name, [])))
    return Entry(base, words, names)


Rims = Callable[[Entry], tuple[float, ...]]  # by which holes are found, for what was entered


def any_rims(_: Entry) -> tuple[float, ...]:
    """Those of a thing of which nothing is known."""
    return ()


def dropping(base: str, rims: Rims = any_rims) -> Callable[[Request, FormData], Response]:
    """Keeps the scans that were dropped on the page at `base`, and begins to read them."""

    def drop(request: Request, form: FormData) -> Response:
        entry = entry_of(request, base)
        entry = replace(entry, names=list(dict.fromkeys([*entry.names, *keep_scans(form)])))
        entry.read(request, rims(entry))
        return go(entry.address(entry.names))

    return drop


def reading_again(base: str, rims: Rims = any_rims) -> Callable[[Request, FormData], Response]:
    """Begins to read what was cancelled."""

    def again(request: Request, _: FormData) -> Response:
        entry = entry_of(request, base)
        entry.read(request, rims(entry), again=True)
        return go(entry.address(entry.names))

    return again


@dataclass(frozen=True)
class Sheet:
    """One scan as it is shown: `marks` are drawn on it, `hits` lead to the rows of its holes.

    `words` say what is drawn; `fewer` is the page without it.
    """

    name: str
    words: str
    size: tuple[float, float]
    box: str
    marks: Markup
    hits: tuple[tuple[str, float, float, float], ...]
    fewer: str


def sheets(
    entry: Entry, pictures: tuple[Picture, ...], fitted: Fitted | None, seen: Sightings | None
) -> Iterator[Sheet]:
    """The pictures with what the fit says of them; `seen` are all holes by their first names."""
    from jiggen.draw.vector import svg_text
    from jiggen.measure.scan.picture import arrows, magnification, marks

    times = magnification(fitted) if fitted else 0.0
    for number, picture in enumerate(pictures):
        frame = (left, low), (right, high) = _frame(picture)
        drawn = Markup()
        if fitted:
            drawn = Markup(svg_text(marks(fitted, pictures, number, times, frame), 2))
        yield Sheet(
            picture.source,
            arrows(times) if fitted else "",
            picture.size,
            " ".join(f"{one:.2f}" for one in (left, -high, right - left, high - low)),
            drawn,
            tuple(_hits(seen, number) if seen else _unnamed(picture)),
            entry.fewer(picture.source),
        )


def _frame(picture: Picture) -> tuple[tuple[float, float], tuple[float, float]]:
    """The corners of what is worth looking at: the holes, and some mm around them."""
    good = [hole for hole in picture.holes if not hole.fault]
    wide, high = (side / 2 for side in picture.size)
    across, along = [hole.x for hole in good] or [-wide, wide], [hole.y for hole in good] or [0.0]
    lower = max(min(across) - MARGIN, -wide), max(min(along) - MARGIN, -high)
    return lower, (min(max(across) + NAMED, wide), min(max(along) + MARGIN, high))


def _hits(seen: Sightings, number: int) -> Iterator[tuple[str, float, float, float]]:
    """The first name, the place and the radius of what is clicked on, of each hole in one scan."""
    for row, scan in enumerate(seen.scan.tolist()):
        if scan == number:
            x, y = seen.at[row].tolist()
            yield seen.names[seen.hole[row]], x, y, float(seen.diameter[row]) / 2 + HIT


def _unnamed(picture: Picture) -> Iterator[tuple[str, float, float, float]]:
    for hole in picture.holes:
        if not hole.fault:
            yield "", hole.x, hole.y, hole.diameter / 2
