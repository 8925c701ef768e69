"""G-code as a slicing program writes it: the lines of plastic that it lays, mm.

Words are those of ISO 6983 (G0 to G3, G20, G21, G90 to G92) and, for the extruder's axis, of the
printers' firmwares (M82, M83; from memory).  What a line is stands in comments that each slicing
program words in its own way; the four ways that are common are known.  Only outer walls are kept
point by point, of all else its length: memory is bounded by the file's size, time too.
"""

from __future__ import annotations

import io
import json
import math
import os
import re
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jiggen.files import open_plain
from jiggen.progress import announce
from jiggen.verify.geometry import Array

LARGEST = 400 * 2**20  # bytes of a file: ten times what a full bed of a jig takes
LONGEST = 2**16  # characters that are read of a line
MOST_SETTINGS = 5000
CHORD = 0.01  # mm that the points of an arc may cut inside it
MOST_CHORDS = 60  # of one arc
ARC_POINTS = 200_000  # of all arcs, and one for each character: a written arc has forty
FARTHEST = 1e5  # mm from the origin: no printer is so large
INCH = 25.4
SHOWN_EVERY = 500_000  # lines
WORD = re.compile(r"([A-Z])\s*([-+]?\d*\.?\d+)")
OUTER = {"external perimeter", "outer wall", "wall-outer"}
OVERHANG = {"overhang perimeter", "overhang wall"}  # of whichever wall hangs over
INNER = {"perimeter", "inner wall", "wall-inner"}
ROLES = (";TYPE:", "; FEATURE:")
WIDTHS = (";WIDTH:", "; LINE_WIDTH:")
SETTINGS = ";SETTING_3 "  # a program's settings, cut into lines of one text
CONTAINERS = {  # first bytes: what such a file is
    b"GCDE": "binary G-code",
    b"PK\x03\x04": "a container (3MF or zip) with the toolpath inside",
    b"\x1f\x8b": "compressed",
}


class GcodeError(ValueError):
    """A file that is not plain G-code, or whose lines cannot be followed."""


@dataclass(frozen=True, eq=False)
class Toolpath:
    """The outer walls that a file lays, path by path, and what it says of itself; mm.

    `points` (n, 2) are all paths', one after the other: path i begins at ``starts[i]``, its
    nozzle is at `height`, its line `width` wide by the file, or NaN; `plastic` is the length
    of filament that goes into it, and `certain` whether it surely is an outer wall: what hangs over
    may be another.  `lengths` are all that is laid, by what it is called; `settings` those
    that stand in comments, by their names in small letters.
    """

    points: Array
    starts: NDArray[np.int64]
    height: Array
    width: Array
    plastic: Array
    certain: NDArray[np.bool_]
    lengths: Mapping[str, float]
    settings: Mapping[str, str]


def read_gcode(path: Path) -> Toolpath:
    """Read the file at `path`, which may be of several hundred MB.

    Raises GcodeError for what is not plain G-code or has no outer walls, OSError.
    """
    with open_plain(path) as stream:
        head = stream.read(1024)
        for begins, what in CONTAINERS.items():
            if head.startswith(begins):
                raise GcodeError(f"it is {what}: export as plain G-code")
        if b"\0" in head:
            raise GcodeError("it is not text: export as plain G-code")
        if os.fstat(stream.fileno()).st_size > LARGEST:
            raise GcodeError(f"it is larger than {LARGEST // 2**20} MB")
        stream.seek(0)
        text = io.TextIOWrapper(stream, encoding="utf-8", errors="replace")
        return follow(_lines(text.readline))


def _lines(readline: Callable[[int], str]) -> Iterator[str]:
    """Lines by `readline`, each without what stands beyond `LONGEST`."""
    whole = True
    while line := readline(LONGEST):
        if whole:
            yield line
        whole = line.endswith("\n")


def follow(lines: Iterable[str]) -> Toolpath:
    """The toolpath of G-code `lines`.  Raises GcodeError."""
    head, comments = _Head(), _Comments()
    for number, line in enumerate(lines, 1):
        if number % SHOWN_EVERY == 0:
            announce(f"reading G-code: {number:,} lines")
        try:
            if line.startswith(";"):
                comments.read(line, head)
            elif line.startswith(("G", "M8")):
                head.obey(line)
            elif line.strip() and line.lstrip()[0] in "GgNnMm":
                head.obey(re.sub(r"^N\d+\s*", "", line.strip().upper()[:LONGEST]))
        except GcodeError as error:
            raise GcodeError(f"line {number}: {error}") from None
    return head.toolpath(comments.settings())


class _Comments:
    """What comments state: settings, which are kept, and what the next lines are, which is told."""

    def __init__(self) -> None:
        self._stated: dict[str, str] = {}
        self._cut: list[str] = []

    def read(self, line: str, head: _Head) -> None:
        if line.startswith(ROLES):
            head.change(role=line.partition(":")[2].strip().lower()[:60])
        elif line.startswith(WIDTHS):
            with suppress(ValueError):
                head.change(width=float(line.partition(":")[2]))
        elif line.startswith(SETTINGS):
            self._cut.append(line[len(SETTINGS) :].rstrip("\n"))
        else:
            body = line.lstrip("; \t").rstrip()
            name, between, value = body.partition("=" if "=" in body else ":")
            name = name.strip().lower()
            known = name in self._stated or len(self._stated) < MOST_SETTINGS
            if between and 0 < len(name) <= 80 and known:
                self._stated[name] = value.strip()[:400]

    def settings(self) -> dict[str, str]:
        """All that was stated, the cut text put together again."""
        with suppress(ValueError, RecursionError):
            found = json.loads("".join(self._cut) or "{}")
            for text in _texts(found):
                for line in text.splitlines():
                    name, between, value = line.partition("=")
                    if between and len(self._stated) < MOST_SETTINGS:
                        self._stated[name.strip().lower()[:80]] = value.strip()[:400]
        return self._stated


def _texts(found: object) -> Iterator[str]:
    """The texts in a JSON object of texts and lists of them."""
    for value in found.values() if isinstance(found, dict) else ():
        yield from (text for text in (value if isinstance(value, list) else [value]) if text)


class _Head:
    """Where the nozzle is, and the paths it has laid."""

    def __init__(self) -> None:
        self._at = {"X": 0.0, "Y": 0.0, "Z": 0.0, "E": 0.0}
        self._zero = dict.fromkeys("XYZ", 0.0)  # of the stated places, after G92
        self._absolute, self._extruder_absolute, self._unit = True, True, 1.0
        self._role, self._width = "", math.nan
        self._points, self._starts = array("d"), array("q")
        self._height, self._widths, self._plastic = array("d"), array("d"), array("d")
        self._certain = array("b")
        self._lengths: dict[str, float] = {}
        self._laying = False
        self._spare = ARC_POINTS

    def change(self, *, role: str | None = None, width: float | None = None) -> None:
        """Another role, or width of line: a new path begins, even where the nozzle goes on."""
        self._laying = False
        self._role = self._role if role is None else role
        self._width = self._width if width is None else width

    def obey(self, line: str) -> None:
        """Do what a line without a comment before it says, if it moves anything."""
        code = line.partition(";")[0].partition("*")[0]
        self._spare += len(code)
        try:
            words = {word[0]: float(word[1:]) for word in code.split()}
        except ValueError:
            words = {letter: float(value) for letter, value in WORD.findall(code.upper())}
        what = words.get("G")
        if what in (0.0, 1.0, 2.0, 3.0):
            self._move(words, 0 if what < 2 else 1 if what == 3 else -1)
        elif what in (90.0, 91.0):  # of the place alone: programs state the extruder's apart
            self._absolute = what == 90.0
        elif what == 92.0:
            for axis in self._at.keys() & words.keys():
                new = words[axis] * self._unit
                if axis in self._zero:
                    self._zero[axis] += self._at[axis] - new
                self._at[axis] = new
        elif what in (20.0, 21.0):
            self._unit = INCH if what == 20.0 else 1.0
        elif what is None and words.get("M") in (82.0, 83.0):
            self._extruder_absolute = words["M"] == 82.0

    def _move(self, words: dict[str, float], way: int) -> None:
        """Along a line, or an arc: `way` is 1 anticlockwise, -1 clockwise."""
        at, unit = self._at, self._unit
        x, y, z, e = at.values()
        for axis in ("X", "Y", "Z", "E"):
            if axis in words:
                whole = self._extruder_absolute if axis == "E" else self._absolute
                at[axis] = words[axis] * unit + (0.0 if whole else at[axis])
        arc = way != 0 and ("I" in words or "J" in words or "R" in words)
        length = math.hypot(at["X"] - x, at["Y"] - y)
        if not (length > 0 or arc):
            self._laying = self._laying and at["Z"] == z
            return
        used = at["E"] - e
        if not used > 0:
            self._laying = False
            return
        left, front = self._zero["X"], self._zero["Y"]
        height = at["Z"] + self._zero["Z"]
        role = self._role
        self._lengths[role] = self._lengths.get(role, 0.0) + length
        if role not in OUTER and role not in OVERHANG:
            return
        if not self._laying:
            self._laying = True
            self._starts.append(len(self._points) // 2)
            self._height.append(height)
            self._widths.append(self._width)
            self._plastic.append(0.0)
            self._certain.append(role in OUTER)
            self._points.extend((x + left, y + front))
        self._plastic[-1] += used
        self._height[-1] = max(self._height[-1], height)  # a seam may begin below its layer
        if arc:
            found = _arc((x, y), (at["X"], at["Y"]), words, unit, way)
            self._spare -= len(found)
            if self._spare < 0:
                raise GcodeError("more round arcs than lines of any print")
            self._points.frombytes((found + np.array([left, front])).tobytes())
        self._points.extend((at["X"] + left, at["Y"] + front))

    def toolpath(self, settings: dict[str, str]) -> Toolpath:
        """All that was laid."""
        if not self._lengths:
            raise GcodeError("nothing in it lays plastic: not G-code of a print")
        points = np.frombuffer(self._points or array("d"), np.float64).reshape(-1, 2)
        if not len(self._starts):
            hint = "switch comments (verbose or labelled G-code) on in the slicing program"
            raise GcodeError(f"no comment in it says which lines are outer walls: {hint}")
        height = np.array(self._height)
        far = np.abs(points).max(initial=0.0), np.abs(height).max()
        if not max(far) < FARTHEST or not all(np.isfinite(far)):
            raise GcodeError("a place in it is beyond any printer's room")
        return Toolpath(
            points,
            np.array(self._starts, np.int64),
            height,
            np.array(self._widths),
            np.array(self._plastic),
            np.array(self._certain, bool),
            self._lengths,
            settings,
        )


def _arc(
    start: tuple[float, float],
    stop: tuple[float, float],
    words: Mapping[str, float],
    unit: float,
    way: int,
) -> Array:
    """Points (n, 2) along an arc, without its ends: about (I, J) from its start, or of radius R."""
    if "I" in words or "J" in words:
        middle = start[0] + words.get("I", 0.0) * unit, start[1] + words.get("J", 0.0) * unit
    else:
        dx, dy = stop[0] - start[0], stop[1] - start[1]
        chord, radius = math.hypot(dx, dy), words["R"] * unit
        if not chord > 0:
            return np.empty((0, 2))
        aside = math.sqrt(max(radius * radius - chord * chord / 4, 0.0)) / chord
        aside *= way * math.copysign(1.0, radius)  # the shorter way unless R is below 0
        middle = (start[0] + stop[0]) / 2 - aside * dy, (start[1] + stop[1]) / 2 + aside * dx
    radius = math.hypot(start[0] - middle[0], start[1] - middle[1])
    if not 0 < radius < FARTHEST:
        raise GcodeError("an arc without a radius, or beyond any printer's room")
    first = math.atan2(start[1] - middle[1], start[0] - middle[0])
    last = math.atan2(stop[1] - middle[1], stop[0] - middle[0])
    sweep = way * (last - first) % (2 * math.pi) or 2 * math.pi
    step = 2 * math.acos(1 - min(CHORD / radius, 1.0))
    count = min(math.ceil(sweep / step), MOST_CHORDS)
    angles = first + way * sweep * np.arange(1, count) / count
    return np.asarray(middle + radius * np.column_stack([np.cos(angles), np.sin(angles)]))
