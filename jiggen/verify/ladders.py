"""Every line of every ladder, found in the files: with it on the mark, the holes must be right.

A half lies right for a boot length when its line for that length is on the ski's mark.  So with
the line found at x, a hole found at h is drilled at h - x from the mark, and that is compared
with where the layout of that boot length puts it.  What a line is for is read from the engraved
numbers.  Nothing here trusts the manifest for where a line is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from jiggen.verify import limits
from jiggen.verify.engraved import (
    Number,
    cut_by,
    find_numbers,
    floors_of_mesh,
    floors_of_step,
    within,
)
from jiggen.verify.geometry import Array
from jiggen.verify.limits import Source
from jiggen.verify.manifest import Hole, LadderEntry, LadderLine, LadderRow, Manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.results import BootCheck, Found, Ledger, Subject
from jiggen.verify.step_assembly import StepPiece

Floors = Callable[[float], Array]
"""Outlines of the floors at a height, in one format."""
_Lines = dict[float, tuple[float | None, float | None]]
NOTHING = (None, None)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What one format shows of one row: x of all lines, x of the long ones, and the numbers."""

    row: LadderRow
    lines: tuple[float, ...]
    long: tuple[float, ...]
    numbers: tuple[Number, ...]

    def nearest(self, x: float) -> float | None:
        """The line nearest to `x`, None when none is within LINE_CATCH."""
        line = _nearest(self.lines, x)
        return line if line is not None and abs(line - x) <= limits.LINE_CATCH else None


def judge_ladders(
    manifest: Manifest,
    meshes: Mapping[str, Mesh],
    pieces: Mapping[str, StepPiece],
    found: Mapping[str, Mapping[str, Found]],
    ledger: Ledger,
) -> tuple[BootCheck, ...]:
    """Judge every ladder in both formats; `found` are the holes found, by format and id."""
    verifications: list[BootCheck] = []
    part_of = {part.name: part for part in manifest.parts}
    for ladder in manifest.ladders:
        part = part_of[ladder.part]
        piece, mesh = pieces.get(part.placed[0].name), meshes.get(part.name)
        lines: dict[Source, _Lines] = {"STEP": {}, "STL": {}}
        if piece:
            floors = partial(floors_of_step, piece)
            judge = _Judge(manifest, ladder, "STEP", floors, found["STEP"], ledger)
            lines["STEP"] = judge.judged()
        if mesh:
            floors = partial(floors_of_mesh, mesh.moved(part.matrix))
            judge = _Judge(manifest, ladder, "STL", floors, found["STL"], ledger)
            lines["STL"] = judge.judged()
        verifications += [_record(part.name, entry.boot, lines) for entry in manifest.boots]
    return tuple(verifications)


def _record(part: str, boot: float, lines: Mapping[Source, _Lines]) -> BootCheck:
    (step, off), (stl, other) = (lines[source].get(boot, NOTHING) for source in ("STEP", "STL"))
    worst = None if off is None or other is None else max(off, other)
    return BootCheck(part, boot, step, stl, worst)


@dataclass(frozen=True, eq=False)
class _Judge:
    """One part's ladders in one format."""

    manifest: Manifest
    ladder: LadderEntry
    source: Source
    floors: Floors
    found: Mapping[str, Found]
    ledger: Ledger

    def judged(self) -> _Lines:
        """By boot, the x of its line and how far its holes are off, mm; None where not found."""
        rows = {row.name: self._seen(row) for row in self.ladder.rows}
        holes = [hole for hole in self._holes() if hole.id in self.found]
        result: _Lines = {}
        used: dict[str, dict[float, str]] = {name: {} for name in rows}
        for entry in self.manifest.boots:
            row, line = self._line_for(entry.boot)
            if row is None or line is None:
                message = "the manifest has no line for it"
                self._about(f"boot {entry.boot:g}").fail("verify.ladder-missing", message)
                result[entry.boot] = NOTHING
                continue
            result[entry.boot] = self._boot(entry.boot, entry.x, holes, rows[row.name])
            x = result[entry.boot][0]
            if x is not None:
                used[row.name][x] = line.number
                if entry.boot % 5 == 0 or line.number:
                    self._judge_long(f"boot {entry.boot:g}", x, rows[row.name])
        for row in self.ladder.shift_rows:
            used[row.name] = self._shifts(rows[row.name])
        for name, seen in rows.items():
            self._judge_extra(seen, used[name])
            self._judge_numbers(seen, used[name])
        return result

    def _holes(self) -> Iterator[Hole]:
        """The part's holes; without those that are off by themselves, which has been reported."""
        limit = limits.POSITION[self.source]
        for guide in self.manifest.guides_of(self.ladder.part):
            seen = self.found.get(guide.id)
            if seen and seen.deviation <= limit:
                yield self.manifest.hole_of[guide.id]

    def _line_for(self, boot: float) -> tuple[LadderRow | None, LadderLine | None]:
        """The row and the line that serve a boot according to the manifest."""
        for row in self.ladder.boot_rows:
            for line in row.lines:
                if line.first <= boot <= line.last:
                    return row, line
        return None, None

    def _seen(self, row: LadderRow) -> _Seen:
        xs = [line.x for line in row.lines]
        floors = self.floors(row.floor)
        middle = floors.mean(axis=1)[:, 0]
        about = (middle > min(xs) - limits.LADDER_END) & (middle < max(xs) + limits.LADDER_END)
        floors = floors[about]
        lines, long = (
            tuple((a + b) / 2 for a, b in cut_by(floors, y, limits.WIDEST_LINE))
            for y in (row.y, row.long_y)
        )
        return _Seen(row, lines, long, tuple(find_numbers(within(floors, *row.numbers))))

    def _boot(
        self, boot: float, wanted: Mapping[str, float], holes: Sequence[Hole], seen: _Seen
    ) -> tuple[float | None, float | None]:
        about = self._about(f"boot {boot:g}")
        if not holes:
            about.fail("verify.ladder-missing", "no hole to measure its line from")
            return NOTHING
        at = float(np.median([self.found[hole.id].x - wanted[hole.id] for hole in holes]))
        x = seen.nearest(at)
        if x is None:
            message = f"no line at x {at:.3f} on the {seen.row.name} ladder"
            about.fail("verify.ladder-missing", message)
            return NOTHING
        off = {hole.id: self._off(hole, x + wanted[hole.id]) for hole in holes}
        worst = max(off, key=lambda name: off[name])
        way = "tip" if x > at else "tail"
        message = (
            f"its line lies {abs(x - at):.3f} mm too far to the {way}: with it on the mark, "
            f"{worst} is drilled {off[worst]:.3f} mm off"
        )
        about.within(off[worst], 0.0, limits.LADDER, "verify.ladder-moved", message)
        return x, off[worst]

    def _off(self, hole: Hole, x: float) -> float:
        """How far a hole was found from (x, its own y), mm."""
        seen = self.found[hole.id]
        return float(np.hypot(seen.x - x, seen.y - hole.y))

    def _judge_long(self, subject: str, x: float, seen: _Seen) -> None:
        long = any(abs(line - x) <= limits.LADDER for line in seen.long)
        message = "its line is not one of the longer ones"
        self._about(subject).expect(long, "verify.ladder-short", message)

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
            subject = f"shift {line.first:g}"
            x = seen.nearest(zero + line.first)
            if x is None:
                self._about(subject).fail("verify.ladder-missing", missing)
                continue
            used[x] = line.number
            off = abs(x - zero - line.first)
            message = f"its line lies {off:.3f} mm off, from the line of 0"
            about = self._about(subject)
            about.within(off, 0.0, limits.LADDER, "verify.ladder-moved", message)
            if line.first % 5 == 0:
                self._judge_long(subject, x, seen)
        return used

    def _judge_extra(self, seen: _Seen, used: Mapping[float, str]) -> None:
        about = self._about(f"{seen.row.name} ladder")
        for x in seen.lines:
            message = f"a line at x {x:.3f} that is for no boot length and no shift"
            about.expect(x in used, "verify.ladder-extra", message)

    def _judge_numbers(self, seen: _Seen, used: Mapping[float, str]) -> None:
        """Every number must be beside its line, and say what the line is for."""
        about = self._about(f"{seen.row.name} ladder")
        texts = [text for text in used.values() if text]
        beside: dict[float, str] = {}
        mirrored = 0
        for number in seen.numbers:
            line = _nearest(used, number.x)
            near = line is not None and abs(line - number.x) <= limits.NUMBER_CATCH
            # What it should say is tried first: it nearly always does.
            expected = used[line] if near and line is not None else ""
            text, odd = number.read((expected, *texts))
            mirrored += odd
            if line is not None and near:
                beside[line] = text
            message = f"the number {text} at x {number.x:.2f} stands beside no line"
            about.expect(near, "verify.ladder-number", message)
        wrong = {
            x: (text, beside.get(x, "nothing"))
            for x, text in used.items()
            if text and beside.get(x) != text
        }
        about.expect(
            2 * mirrored <= len(seen.numbers) and not _turned(wrong),
            "verify.ladder-mirrored",
            "it is mirrored: its numbers run the wrong way, or stand upside down",
        )
        for x, text in used.items():
            found = wrong.get(x, (text, text))[1]
            message = f"beside the line at x {x:.3f} stands {found}, and it is the line for {text}"
            about.expect(x not in wrong, "verify.ladder-number", message)

    def _about(self, subject: str) -> Subject:
        return self.ledger.about(self.source, f"{self.ladder.part}, {subject}")


def _nearest(lines: Iterable[float], x: float) -> float | None:
    return min(lines, key=lambda at: abs(at - x), default=None)


def _turned(wrong: Mapping[float, tuple[str, str]]) -> bool:
    """Whether wrong numbers are those wanted, in the opposite order."""
    if len(wrong) < 2:
        return False
    texts = [wrong[x] for x in sorted(wrong)]
    return [text for text, _ in texts] == [found for _, found in texts][::-1]
