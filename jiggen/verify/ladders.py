"""Every line of every ladder, found in the files: with it on the mark, the holes must be right.

A half lies right for a boot length when its line for that length is on the ski's mark.  So with
the line found at x, a hole found at h is drilled at h - x from the mark, and that is held against
where the layout of that boot length puts it.  What a line is for is read from the engraved
numbers.  Nothing here trusts the manifest for where a line is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from jiggen.verify import limits
from jiggen.verify.engraved import cut_by, floors_of_mesh, floors_of_step, within
from jiggen.verify.frames import Array
from jiggen.verify.limits import Source
from jiggen.verify.manifest import Hole, LadderEntry, LadderLine, LadderRow, Manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.numerals import Number, read_numbers
from jiggen.verify.results import BootCheck, Fault, Found, Ledger
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
    found: Mapping[Source, Mapping[str, Found]],
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
            row, line = self._said(entry.boot)
            if row is None or line is None:
                self._fail("ladder-missing", f"boot {entry.boot:g}", "no line is said to be for it")
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
        """The part's holes; without those that are off by themselves, which has been said."""
        limit = limits.POSITION[self.source]
        for guide in self.manifest.guides_of(self.ladder.part):
            seen = self.found.get(guide.id)
            if seen and seen.deviation <= limit:
                yield self.manifest.hole_of[guide.id]

    def _said(self, boot: float) -> tuple[LadderRow | None, LadderLine | None]:
        """The row and the line that are said to serve a boot."""
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
        return _Seen(row, lines, long, tuple(read_numbers(within(floors, *row.numbers))))

    def _boot(
        self, boot: float, wanted: Mapping[str, float], holes: Sequence[Hole], seen: _Seen
    ) -> tuple[float | None, float | None]:
        subject = f"boot {boot:g}"
        if not holes:
            self._fail("ladder-missing", subject, "no hole to measure its line from")
            return None, None
        at = float(np.median([self.found[hole.id].x - wanted[hole.id] for hole in holes]))
        x = seen.nearest(at)
        if x is None:
            self._fail(
                "ladder-missing", subject, f"no line at x {at:.3f} on the {seen.row.name} ladder"
            )
            return None, None
        off = {
            hole.id: float(
                np.hypot(
                    self.found[hole.id].x - x - wanted[hole.id], self.found[hole.id].y - hole.y
                )
            )
            for hole in holes
        }
        worst = max(off, key=lambda name: off[name])
        way = "tip" if x > at else "tail"
        self._expect(
            off[worst] <= limits.LADDER,
            "ladder-moved",
            subject,
            f"its line lies {abs(x - at):.3f} mm too far to the {way}: with it on the mark, "
            f"{worst} is drilled {off[worst]:.3f} mm off",
            off[worst],
            limits.LADDER,
        )
        return x, off[worst]

    def _judge_long(self, subject: str, x: float, seen: _Seen) -> None:
        self._expect(
            any(abs(line - x) <= limits.LADDER for line in seen.long),
            "ladder-short",
            subject,
            "its line is not one of the longer ones",
        )

    def _shifts(self, seen: _Seen) -> dict[float, str]:
        """Judge the ladder of shifts: every line from its own 0; the lines with their numbers."""
        zeros = [line.x for line in seen.row.lines if line.first == 0]
        zero = seen.nearest(zeros[0]) if zeros else None
        if zero is None:
            self._fail("ladder-missing", "shift 0", "no line for it on the ladder of shifts")
            return {}
        used = {}
        for line in seen.row.lines:
            subject = f"shift {line.first:g}"
            x = seen.nearest(zero + line.first)
            if x is None:
                self._fail("ladder-missing", subject, "no line for it on the ladder of shifts")
                continue
            used[x] = line.number
            off = abs(x - zero - line.first)
            self._expect(
                off <= limits.LADDER,
                "ladder-moved",
                subject,
                f"its line lies {off:.3f} mm off, from the line of 0",
                off,
                limits.LADDER,
            )
            if line.first % 5 == 0:
                self._judge_long(subject, x, seen)
        return used

    def _judge_extra(self, seen: _Seen, used: Mapping[float, str]) -> None:
        for x in seen.lines:
            self._expect(
                x in used,
                "ladder-extra",
                f"{seen.row.name} ladder",
                f"a line at x {x:.3f} that is for no boot length and no shift",
            )

    def _judge_numbers(self, seen: _Seen, used: Mapping[float, str]) -> None:
        """Every number must be beside its line, and say what the line is for."""
        name = f"{seen.row.name} ladder"
        beside: dict[float, Number] = {}
        for number in seen.numbers:
            line = _nearest(used, number.x)
            near = line is not None and abs(line - number.x) <= limits.NUMBER_CATCH
            if line is not None and near:
                beside[line] = number
            self._expect(
                near,
                "ladder-number",
                name,
                f"the number {number.text} at x {number.x:.2f} stands beside no line",
            )
        wrong = {
            x: (text, beside[x].text if x in beside else "nothing")
            for x, text in used.items()
            if text and (x not in beside or beside[x].text != text)
        }
        odd = [number for number in seen.numbers if number.mirrored]
        self._expect(
            2 * len(odd) <= len(seen.numbers) and not _turned(wrong),
            "ladder-mirrored",
            name,
            "it is mirrored: its numbers run the wrong way, or stand upside down",
        )
        for x, text in used.items():
            said = wrong.get(x, (text, text))[1]
            self._expect(
                x not in wrong,
                "ladder-number",
                name,
                f"beside the line at x {x:.3f} stands {said}, and it is the line for {text}",
            )

    def _expect(
        self,
        holds: bool,
        code: str,
        subject: str,
        message: str,
        value: float | None = None,
        limit: float | None = None,
    ) -> None:
        wanted = None if limit is None else 0.0
        unit = "" if limit is None else "mm"
        about = f"{self.ladder.part}, {subject}"
        fault = Fault(f"verify.{code}", self.source, about, message, value, wanted, limit, unit)
        self.ledger.expect(holds, fault)

    def _fail(self, code: str, subject: str, message: str) -> None:
        self._expect(False, code, subject, message)


def _nearest(lines: Iterable[float], x: float) -> float | None:
    return min(lines, key=lambda at: abs(at - x), default=None)


def _turned(wrong: Mapping[float, tuple[str, str]]) -> bool:
    """Whether wrong numbers are those wanted, told the other way round."""
    if len(wrong) < 2:
        return False
    texts = [wrong[x] for x in sorted(wrong)]
    return [text for text, _ in texts] == [said for _, said in texts][::-1]
