"""Every line of every ladder, found in the files: with it on the mark, the holes must be right.

A half lies right for a boot length when its line for that length is on the ski's mark.  So with
the line found at x, a hole found at h is drilled at h - x from the mark, and that is compared
with where the layout of that boot length puts it.  What a line is for is read from the engraved
numbers.  Nothing here trusts the manifest for where a line is.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from jiggen.outcome import BootCheck, FoundBore
from jiggen.verify import engraved, limits
from jiggen.verify.geometry import Array
from jiggen.verify.limits import Source
from jiggen.verify.manifest import Hole, LadderEntry, LadderRow, Manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.step_assembly import StepPiece

_Lines = dict[float, tuple[float | None, float | None]]
NOTHING = (None, None)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What one format shows of one row: x of all lines, x of the long ones, and the numbers."""

    row: LadderRow
    lines: tuple[float, ...]
    long: tuple[float, ...]
    numbers: tuple[engraved.Number, ...]

    def nearest(self, x: float) -> float | None:
        """The line nearest to `x`, None when none is within LINE_CATCH."""
        line = _nearest(self.lines, x)
        return line if line is not None and abs(line - x) <= limits.LINE_CATCH else None


def judge_ladders(
    manifest: Manifest,
    meshes: Mapping[str, Mesh],
    pieces: Mapping[str, StepPiece],
    found: Mapping[str, Mapping[str, FoundBore]],
    ledger: Ledger,
) -> tuple[BootCheck, ...]:
    """Judge every ladder in both formats; `found` are the holes found, by format and id."""
    checks: list[BootCheck] = []
    part_of = {part.name: part for part in manifest.parts}
    for ladder in manifest.ladders:
        part = part_of[ladder.part]
        floors: dict[Source, Callable[[float], Array]] = {}
        if piece := pieces.get(part.placed[0].name):
            floors["STEP"] = partial(engraved.floors_of_step, piece)
        if mesh := meshes.get(part.name):
            floors["STL"] = partial(engraved.floors_of_mesh, mesh.moved(part.matrix))
        lines = {
            source: _Judge(manifest, ladder, source, cut, found[source], ledger).judged()
            for source, cut in floors.items()
        }
        for entry in manifest.boots:
            (step, off), (stl, other) = (
                lines.get(source, {}).get(entry.boot, NOTHING) for source in ("STEP", "STL")
            )
            worst = None if off is None or other is None else max(off, other)
            checks.append(BootCheck(part.name, entry.boot, step, stl, worst))
    return tuple(checks)


@dataclass(frozen=True, eq=False)
class _Judge:
    """One part's ladders in one format; `floors` gives the outlines of floors at a height."""

    manifest: Manifest
    ladder: LadderEntry
    source: Source
    floors: Callable[[float], Array]
    found: Mapping[str, FoundBore]
    ledger: Ledger

    def judged(self) -> _Lines:
        """By boot, the x of its line and how far its holes are off, mm; None where not found."""
        rows = {row.name: self._seen(row) for row in self.ladder.rows}
        # Holes that are off by themselves have been reported.
        limit = limits.POSITION[self.source]
        near = {name for name, hole in self.found.items() if hole.deviation <= limit}
        guided = self.manifest.guided
        part = self.ladder.part
        holes = [hole for hole, at in guided if at.part == part and hole.id in near]
        result: _Lines = {}
        used: dict[str, dict[float, str]] = {name: {} for name in rows}
        for entry in self.manifest.boots:
            boot, about = entry.boot, self._about(f"boot {entry.boot:g}")
            serving = (
                (rows[row.name], line)
                for row in self.ladder.rows
                for line in row.lines
                if row.name != "shift" and line.first <= boot <= line.last
            )
            seen, line = next(serving, NOTHING)
            if seen is None or line is None:
                about.fail("verify.ladder-missing", "the manifest has no line for it")
                result[boot] = NOTHING
                continue
            result[boot] = self._boot(about, entry.x, holes, seen)
            x = result[boot][0]
            if x is not None:
                used[seen.row.name][x] = line.number
                if boot % 5 == 0 or line.number:
                    _judge_long(about, x, seen)
        if "shift" in rows:
            used["shift"] = self._shifts(rows["shift"])
        for name, seen in rows.items():
            _judge_used(seen, used[name], self._about(f"{name} ladder"))
        return result

    def _seen(self, row: LadderRow) -> _Seen:
        xs = [line.x for line in row.lines]
        floors = self.floors(row.floor)
        middle = floors.mean(axis=1)[:, 0]
        about = (middle > min(xs) - limits.LADDER_END) & (middle < max(xs) + limits.LADDER_END)
        floors = floors[about]
        lines, long = (
            tuple((a + b) / 2 for a, b in engraved.cut_by(floors, y, limits.WIDEST_LINE))
            for y in (row.y, row.long_y)
        )
        between = engraved.within(floors, *row.numbers)
        return _Seen(row, lines, long, tuple(engraved.find_numbers(between)))

    def _boot(
        self, about: Subject, wanted: Mapping[str, float], holes: Sequence[Hole], seen: _Seen
    ) -> tuple[float | None, float | None]:
        if not holes:
            about.fail("verify.ladder-missing", "no hole to measure its line from")
            return NOTHING
        at = float(np.median([self.found[hole.id].x - wanted[hole.id] for hole in holes]))
        x = seen.nearest(at)
        if x is None:
            message = f"no line at x {at:.3f} on the {seen.row.name} ladder"
            about.fail("verify.ladder-missing", message)
            return NOTHING
        off = {}
        for hole in holes:
            place = self.found[hole.id]
            off[hole.id] = float(np.hypot(place.x - x - wanted[hole.id], place.y - hole.y))
        worst = max(off, key=lambda name: off[name])
        way = "tip" if x > at else "tail"
        message = (
            f"its line lies {abs(x - at):.3f} mm too far to the {way}: with it on the mark, "
            f"{worst} is drilled {off[worst]:.3f} mm off"
        )
        about.within(off[worst], 0.0, limits.LADDER, "verify.ladder-moved", message)
        return x, off[worst]

    def _shifts(self, seen: _Seen) -> dict[float, str]:
        """Judge the ladder of shifts: every line from its own 0; the lines with their numbers."""
        zeros = [line.x for line in seen.row.lines if line.first == 0]
        zero = seen.nearest(zeros[0]) if zeros else None
        missing = "no line for it on the ladder of shifts"
        if zero is None:
            self._about("shift 0").fail("verify.ladder-missing", missing)
            return {}
        used = {}
        for line in seen.row.lines:
            about = self._about(f"shift {line.first:g}")
            x = seen.nearest(zero + line.first)
            if x is None:
                about.fail("verify.ladder-missing", missing)
                continue
            used[x] = line.number
            off = abs(x - zero - line.first)
            message = f"its line lies {off:.3f} mm off, from the line of 0"
            about.within(off, 0.0, limits.LADDER, "verify.ladder-moved", message)
            if line.first % 5 == 0:
                _judge_long(about, x, seen)
        return used

    def _about(self, subject: str) -> Subject:
        return self.ledger.about(self.source, f"{self.ladder.part}, {subject}")


def _judge_long(about: Subject, x: float, seen: _Seen) -> None:
    long = any(abs(line - x) <= limits.LADDER for line in seen.long)
    about.expect(long, "verify.ladder-short", "its line is not one of the longer ones")


def _judge_used(seen: _Seen, used: Mapping[float, str], about: Subject) -> None:
    """Every line must be for something, with its number, if any, beside it."""
    for x in seen.lines:
        message = f"a line at x {x:.3f} that is for no boot length and no shift"
        about.expect(x in used, "verify.ladder-extra", message)
    texts = [text for text in used.values() if text]
    beside: dict[float, str] = {}
    mirrored = 0
    for number in seen.numbers:
        line = _nearest(used, number.x)
        near = line is not None and abs(line - number.x) <= limits.NUMBER_CATCH
        # What it should say is tried first: it nearly always does.
        text, odd = number.read((used[line] if near and line is not None else "", *texts))
        mirrored += odd
        if line is not None and near:
            beside[line] = text
        message = f"the number {text} at x {number.x:.2f} stands beside no line"
        about.expect(near, "verify.ladder-number", message)
    wrong = [
        (text, beside.get(x, "nothing"))
        for x, text in sorted(used.items())
        if text and beside.get(x) != text
    ]
    turned = len(wrong) > 1 and [one for one, _ in wrong] == [one for _, one in reversed(wrong)]
    about.expect(
        2 * mirrored <= len(seen.numbers) and not turned,
        "verify.ladder-mirrored",
        "it is mirrored: its numbers run the wrong way, or stand upside down",
    )
    for x, text in used.items():
        found = beside.get(x, "nothing") if text else ""
        message = f"beside the line at x {x:.3f} stands {found}, and it is the line for {text}"
        about.expect(found == text, "verify.ladder-number", message)


def _nearest(lines: Iterable[float], x: float) -> float | None:
    return min(lines, key=lambda at: abs(at - x), default=None)
