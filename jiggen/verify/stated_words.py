"""What sheet and page must say of a record: computed from its holes and lines anew."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from jiggen.units import number, ordinal
from jiggen.verify import limits
from jiggen.verify.reading.stated import Stated, StatedHole, StatedLadder

CORES = {"plain": "plain", "metal": "metal sheet under the top"}
EDGES = {"odd": "left", "even": "right", "bands": "right"}


class Setting(NamedTuple):
    """How drill and depth stop are set; lengths in mm, the stop over corners and over the tip."""

    drill: float
    depth: float
    corners: float
    tip: float


def setting_of(stated: Stated, hole: StatedHole) -> Setting | None:
    """The depth stop's place for a hole; None where nothing is stated of one."""
    top, angle = stated.tops.get(hole.id), stated.angles.get(hole.id)
    if top is None or angle is None:
        return None
    point = hole.diameter / 2 / math.tan(math.radians(angle / 2))
    corners = top + hole.depth
    return Setting(hole.diameter, hole.depth, corners, corners + point)


def settings_of(stated: Stated) -> list[Setting]:
    """Every setting once, as the record has them in order."""
    found = (setting_of(stated, hole) for hole in stated.holes)
    return list(dict.fromkeys(one for one in found if one))


def screws_of(stated: Stated) -> list[tuple[str, str]]:
    """How many screws of which length go into a ski: of those that hold and have room."""
    least = stated.inputs.drilling_limits.get("engagement", 0.0) - limits.FIGURE
    free = stated.inputs.drilling_limits.get("screw_gap", 0.0) - limits.FIGURE
    found = Counter(
        hole.screw
        for hole in (stated.drilling.holes if stated.drilling else ())
        if hole.screw and hole.engagement and least <= hole.engagement <= hole.depth - free
    )
    return sorted((str(count), number(screw)) for screw, count in found.items())


def boots_of(stated: Stated) -> str:
    """The boot length, or from and to."""
    least, most = stated.inputs.boots or (stated.inputs.boot, stated.inputs.boot)
    return f"{least:g}" if least == most else f"{least:g}–{most:g}"


def widths_of(stated: Stated) -> str:
    """The ski's width, or from and to."""
    ski = stated.inputs.ski
    return "–".join(dict.fromkeys(f"{width:g}" for width in (ski.least, ski.most))) if ski else ""


def shift_of(stated: Stated) -> str:
    """The mount shift in words."""
    shift = stated.inputs.shift
    return f"{number(abs(shift))} mm to the {'tip' if shift > 0 else 'tail'}" if shift else "none"


class BootRow(NamedTuple):
    """A boot length, the line of each half, and how far each half's first hole is; mm."""

    boot: float
    lines: tuple[str, ...]
    first: tuple[float, ...]


def boot_rows(stated: Stated) -> Iterator[BootRow]:
    """How the halves are set for each boot length; none of a jig without ladders."""
    parts = {guide.id: guide.part for guide in stated.guides}
    first = {parts[hole.id]: hole.id for hole in reversed(stated.holes) if hole.id in parts}
    for entry in stated.boots if stated.ladders else ():
        places = (abs(entry.x[first[ladder.part]]) for ladder in stated.ladders)
        lines = (line_of(ladder, entry.boot) for ladder in stated.ladders)
        yield BootRow(entry.boot, tuple(lines), tuple(places))


def line_of(ladder: StatedLadder, boot: float) -> str:
    """The line for a boot, counted from the nearest numbered one; empty where there is none."""
    for row in (row for row in ladder.rows if row.name in EDGES):
        lines = sorted(row.lines, key=lambda line: line.first)
        mine = [n for n, line in enumerate(lines) if line.first <= boot <= line.last]
        numbered = [n for n, line in enumerate(lines) if line.number]
        if mine and numbered:
            at = mine[0]
            near = min(numbered, key=lambda n: (abs(lines[at].x - lines[n].x), n))
            edge, start = EDGES[row.name], lines[near].number
            if at == near:
                return f"{edge}, line {start}"
            longer = at > near
            past = [n for n in numbered if n != near and (n > near) == longer]
            way = f"towards {'longer' if longer else 'shorter'} boots"
            if past:
                way = f"to {lines[min(past, key=lambda n: abs(n - near))].number}"
            return f"{edge}, {ordinal(abs(at - near))} line from {start} {way}"
    return ""
