"""Old holes: new ones beside them, and the shifts of the mount at which all are clear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.dropped import read_dropped
from jiggen.desk.forms import entered, fill
from jiggen.desk.pages.patterns import TO
from jiggen.desk.site import Place, go, page, posted
from jiggen.errors import Finding, InputError
from jiggen.request.keeping import holds, keep
from jiggen.request.remount import OLD_HOLES, REMOUNT, holes_file
from jiggen.units import listed, number

if TYPE_CHECKING:
    from jiggen.layout import Layout
    from jiggen.remount.shifts import Answer, Interval, OldHole, RemountLimits, Way

NAV = Place("/remount", "Old holes", "A ski that was drilled before: where the new holes may go.")
FIRST = ("pattern", "boot", "shift", "core", "side")
LINES, NAME = "hole", "list"


@dataclass(frozen=True)
class Row:
    """One line of old holes: as it was typed, as it was read, what is wrong with it."""

    number: int
    line: str
    hole: OldHole | None
    faults: tuple[Finding, ...]


@dataclass(frozen=True)
class Strip:
    """The clear mount shifts from `low` to `high`, in mm, and the `shift` asked for.

    `ticks` are where numbers stand.
    """

    low: float
    high: float
    shift: float
    clear: tuple[Interval, ...]
    ticks: tuple[int, ...]

    @property
    def words(self) -> list[str]:
        """The clear shifts in words."""
        return [
            " to ".join(dict.fromkeys(number(end, 3) for end in ends)) + " mm"
            for ends in self.clear
        ]


def ask(request: Request) -> Response:
    """The mount and the old holes, drawn, with the clear shifts and what is in the way."""
    from jiggen.remount.shifts import SENSIBLE

    words = entered(request.query_params)
    if file := words.pop(OLD_HOLES.name, None):
        return _with_holes(words, Path(file[-1]))
    rows, holes = _read(words.get(LINES, []))
    filled = fill(REMOUNT, {name: given for name, given in words.items() if name != LINES})
    found, others, strip, drawing = None, 0, None, Markup()
    if asked := filled.value:
        try:
            if holes or asked.earlier.pattern:
                found, others = asked.answer(holes)
                strip = _strip(found)
                drawing = _drawn(found.layout, found.old, found.limits)
            else:
                asked.earlier.check(typed=True)
                drawing = _drawn(asked.mount.lay_out(), (), asked.limits())
        except InputError as error:
            filled = filled.refused(error)
    return page(
        request,
        "remount.html",
        query=request.url.query,
        filled=filled,
        pick=f"/patterns?{TO}=remount&{request.url.query}",
        first=[filled.fields[name] for name in FIRST],
        earlier=[field for name, field in filled.fields.items() if _folded(name)],
        rows=rows,
        unread=listed([f"line {row.number}" for row in rows if row.faults]),
        typed="\n".join(words.get(LINES, [])),
        name=_name(words),
        drawing=drawing,
        strip=strip,
        most=SENSIBLE,
        shift=asked.mount.shift if asked else 0.0,
        **_said(found, others, words),
        **_kept(words, rows, holes),
    )


def _folded(name: str) -> bool:
    """Whether a field is one of the earlier mount, or a limit."""
    return name not in (*FIRST, OLD_HOLES.name)


def _with_holes(words: Mapping[str, Sequence[str]], file: Path) -> Response:
    """The same page with the old holes of a `file` in its rows."""
    from jiggen.remount.read import as_line, read_old_holes

    lines = [as_line(hole) for hole in read_old_holes(file)]
    return go(_address(words, {LINES: "\n".join(lines)}))


def _address(words: Mapping[str, Sequence[str]], changed: Mapping[str, str]) -> str:
    """The page of what was entered, with something changed."""
    now = {name: "\n".join(given) for name, given in words.items()} | dict(changed)
    return f"/remount?{urlencode(now)}"


def _read(lines: Sequence[str]) -> tuple[list[Row], tuple[OldHole, ...]]:
    from jiggen.remount.read import read_lines

    holes, wrong = read_lines(lines)
    by_number = {int(hole.id.split("-")[1]): hole for hole in holes}
    rows = [
        Row(n, line, by_number.get(n), wrong.get(n - 1, ()))
        for n, line in enumerate(lines, start=1)
    ]
    return rows, holes


def _strip(found: Answer) -> Strip:
    from jiggen.remount.shifts import SENSIBLE, clear_mounts

    low, high = -2 * SENSIBLE, 2 * SENSIBLE
    clear = clear_mounts(found.layout, found.old, found.limits, (low, high))
    ticks = tuple(int(place * SENSIBLE) for place in range(-2, 3))
    return Strip(low, high, found.layout.mount_shift, clear, ticks)


def _drawn(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> Markup:
    from jiggen.export.remount_svg import mount_svg

    return Markup(mount_svg(layout, old, limits))


def _setting(name: str, value: str) -> str:
    """How a value is set on the page."""
    return f"{name} {value}"


def _said(found: Answer | None, others: int, words: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """Whether the mount is clear, and the ways out, in the words of the command."""
    from jiggen.report import remount as say

    if found is None:
        return {"answer": None}
    ways = found.ways if found.conflicts else ()
    plugged = found.plugged_way
    return {
        "answer": say.verdict(found),
        "clear": not found.conflicts,
        "about": [*say.old_lines(found, others, _setting), *say.reused_lines(found)],
        "head": say.CONFLICT,
        "conflicts": [*say.conflict_rows(found)],
        "plug": say.plug_line(found, _setting) if found.conflicts else "",
        "plugged": _shifted(words, plugged) if plugged and found.conflicts else "",
        "ways": [
            (
                say.way_line(found.layout, end, way, _setting),
                _shifted(words, way),
                "; ".join(say.far_lines(way)),
            )
            for end, way in ways
        ],
        "whys": [*say.no_ways(found)] if found.conflicts else [],
        "jig": urlencode({name: words[name][-1] for name in FIRST if words.get(name)}),
    }


def _shifted(words: Mapping[str, Sequence[str]], way: Way) -> str:
    return _address(words, {"shift": number(way.set_to, 3)})


def _name(words: Mapping[str, Sequence[str]]) -> str:
    return next(iter(words.get(NAME, ())), "")


def _kept(
    words: Mapping[str, Sequence[str]], rows: Sequence[Row], holes: Sequence[OldHole]
) -> dict[str, Any]:
    """The file in which the rows are kept, and the command that reads it."""
    from jiggen.remount.read import holes_csv

    file = holes_file(_name(words) or "ski")
    given = {name: one for name, one in words.items() if name not in (LINES, NAME)}
    given |= {OLD_HOLES.name: [file.as_posix()]} if rows else {}
    return {
        "file": file,
        "taken": file.exists(),
        "saved": bool(rows) and holds(file, holes_csv(holes)),
        "command": REMOUNT.command_line(given),
    }


def drop(request: Request, form: FormData) -> Response:
    """Put the old holes of a file into the rows."""
    words = entered(request.query_params)
    return read_dropped(form, lambda path: _with_holes(words, path))


def save(request: Request, form: FormData) -> Response:
    """Write the rows as a table that the command reads."""
    from jiggen.remount.read import holes_csv

    words = entered(request.query_params)
    rows, holes = _read(words.get(LINES, []))
    if faults := [fault for row in rows for fault in row.faults]:
        raise InputError(faults)
    if not holes:
        raise InputError.of("desk.no-holes", "there is no old hole to be kept")
    keep(holes_file(_name(words) or "ski"), holes_csv(holes), replace="replace" in form)
    return go(f"/remount?{request.url.query}")


ROUTES = [
    Route("/remount", ask, methods=["GET"]),
    Route("/remount/file", posted(drop), methods=["POST"]),
    Route("/remount/save", posted(save), methods=["POST"]),
]
