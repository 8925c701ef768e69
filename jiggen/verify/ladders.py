"""Every line of every ladder, found in the files: with it on the mark, the holes must be right.

A half lies right for a boot length when its line for that length is on the ski's mark.  So with
the line found at x, a hole found at h is drilled at h - x from the mark, and that is compared
with where the layout of that boot length puts it.  What a line is for is read from the engraved
numbers.  Nothing here trusts the manifest for where a line is.

A line is looked for near the ski, where it is read, and farther up the same groove; in the STL,
also how high above the ski its lower end is.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from jiggen.outcome import BootCheck, FoundBore
from jiggen.verify import engraved, limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array
from jiggen.verify.limits import Source
from jiggen.verify.reading.entries import Hole, LadderEntry, LadderLine, LadderRow, is_half, is_long
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger, Subject

HALF_BACK = 2.3  # mm from where long lines alone are crossed, back to where half-long ones are too

_Line = tuple[float | None, float | None, float | None]
"""Of a boot: the x of its line, how far its holes are off, and how high its lower end is, mm."""
NOTHING: _Line = (None, None, None)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What one format shows of one row: x of `lines` near the ski, farther up, and on the top.

    There, `long` ones reach the numbers, `half` ones do not.

    `ends` are the heights of the lower ends of `lines`, where the format shows them.
    """

    row: LadderRow
    lines: tuple[float, ...]
    above: tuple[float, ...]
    long: tuple[float, ...]
    half: tuple[float, ...]
    numbers: tuple[engraved.Number, ...]
    ends: Mapping[float, float | None]

    def nearest(self, x: float) -> float | None:
        """The line nearest to `x`, None when none is within LINE_CATCH."""
        return _nearest(self.lines, x, limits.LINE_CATCH)


def judge_ladders(
    evidence: Evidence, found: Mapping[str, Mapping[str, FoundBore]], ledger: Ledger
) -> tuple[BootCheck, ...]:
    """Judge every ladder in both formats; `found` are the holes found, by format and id."""
    manifest, meshes, pieces = evidence.manifest, evidence.meshes, evidence.pieces
    checks: list[BootCheck] = []
    part_of = {part.name: part for part in manifest.parts}
    for ladder in manifest.ladders:
        part = part_of[ladder.part]
        files: dict[Source, _File] = {}
        if piece := pieces.get(part.placed[0].name):
            floors = partial(engraved.floors_of_step, piece)
            files["STEP"] = _File(floors, partial(engraved.outline_of_step, piece))
        if mesh := meshes.get(part.name):
            mine = mesh.moved(part.matrix)
            floors = partial(engraved.floors_of_mesh, mine)
            files["STL"] = _File(floors, partial(engraved.outline_of_mesh, mine), mine)
        lines = {
            source: _Judge(manifest, ladder, source, file, found[source], ledger).judged()
            for source, file in files.items()
        }
        for entry in manifest.boots:
            (step, off, _), (stl, other, end) = (
                lines.get(source, {}).get(entry.boot, NOTHING) for source in ("STEP", "STL")
            )
            worst = None if off is None or other is None else max(off, other)
            checks.append(BootCheck(part.name, entry.boot, step, stl, worst, end))
    return tuple(checks)


@dataclass(frozen=True, eq=False)
class _File:
    """A part in one format: outlines of floors at a height, and of a cut there; its mesh if any."""

    floors: Callable[[float], Array]
    outline: Callable[[float], Array]
    mesh: Mesh | None = None


@dataclass(frozen=True, eq=False)
class _Judge:
    """One part's ladders in one format."""

    manifest: Manifest
    ladder: LadderEntry
    source: Source
    file: _File
    found: Mapping[str, FoundBore]
    ledger: Ledger

    def judged(self) -> dict[float, _Line]:
        """What was found of each boot's line."""
        cuts = [self.file.outline(z) for z in limits.LINE_CUT]
        rows = {row.name: self._seen(row, cuts) for row in self.ladder.rows}
        # Holes that are off by themselves have been reported.
        limit = limits.POSITION[self.source]
        near = {name for name, hole in self.found.items() if hole.deviation <= limit}
        guided = self.manifest.guided
        part = self.ladder.part
        holes = [hole for hole, at in guided if at.part == part and hole.id in near]
        result: dict[float, _Line] = {}
        used: dict[str, dict[float, str]] = {name: {} for name in rows}
        for entry in self.manifest.boots:
            boot, about = entry.boot, self._about(f"boot {entry.boot:g}")
            serving = [
                (rows[row.name], line)
                for row in self.ladder.rows
                for line in row.lines
                if row.name != "shift" and line.first <= boot <= line.last
            ]
            if not serving:
                about.fail("verify.ladder-missing", "the manifest has no line for it")
            found: list[_Line] = []
            for seen, line in serving:  # of bands there is one on either side
                found.append(self._boot(about, entry.x, holes, seen))
                x = found[-1][0]
                if x is not None:
                    used[seen.row.name][x] = line.number
                    self._judge_line(about, x, seen, line)
            result[boot] = max(found, key=_badness, default=NOTHING)
        if "shift" in rows:
            used["shift"] = self._shifts(rows["shift"])
        for name, seen in rows.items():
            _judge_used(seen, used[name], self._about(f"{name} ladder"))
        return result

    def _seen(self, row: LadderRow, cuts: Sequence[Array]) -> _Seen:
        floors = _about(self.file.floors(row.floor), row)
        lines, above = (_grooves(_about(cut, row), row) for cut in cuts)
        long = engraved.cut_by(floors, row.y, limits.WIDEST_LINE)
        between = engraved.within(floors, *row.numbers)
        numbers = tuple(engraved.find_numbers(between))
        ends = self._ends(row, lines)
        near = engraved.cut_by(floors, row.y - _inwards(row) * HALF_BACK, limits.WIDEST_LINE)
        xs, top = (tuple((a + b) / 2 for a, b in found) for found in (long, near))
        half = tuple(x for x in top if _nearest(xs, x, limits.LADDER) is None)
        return _Seen(row, lines, above, xs, half, numbers, ends)

    def _ends(self, row: LadderRow, lines: Sequence[float]) -> dict[float, float | None]:
        """How high above the ski the lower end of each of `lines` (x) is, None where unknown.

        That is where the plastic beside it ends, and whatever else stands in it.
        """
        if self.file.mesh is None or not lines:
            return dict.fromkeys(lines)
        y = row.foot + _inwards(row) * limits.LINE_SIGHT
        places = [(x + dx, y) for x in lines for dx in (-limits.BESIDE, 0.0, limits.BESIDE)]
        met = engraved.heights_at(self.file.mesh, np.array(places), limits.LINE_CUT[0])
        found: dict[float, float | None] = {}
        for x, left, inside, right in zip(lines, met[::3], met[1::3], met[2::3], strict=True):
            beside = [side[0] for side in (left, right) if side]
            found[x] = max((*beside, *inside[-1:])) if len(beside) == 2 else None
        return found

    def _judge_line(self, about: Subject, x: float, seen: _Seen, line: LadderLine) -> None:
        """What a line needs beside its place: it goes up, and over the top as far as it should.

        Down to the ski, too, as far as the format shows it.
        """
        straight = _nearest(seen.above, x, limits.LADDER) is not None
        message = f"its line is not there {limits.LINE_CUT[1]:g} mm up"
        about.expect(straight, "verify.ladder-missing", message)
        if self.file.mesh is not None:
            end, limit = seen.ends[x], limits.LINE_END
            message = f"its line ends {'nowhere' if end is None else f'{end:.2f} mm'} above the ski"
            reached = end is not None and end <= limit + engraved.LEVEL
            about.expect(reached, "verify.ladder-high", message, end, 0.0, limit, "mm")
        if is_long(line):
            there = _nearest(seen.long, x, limits.LADDER) is not None
            about.expect(there, "verify.ladder-short", "its line does not go on over the top")
        half, wanted = _nearest(seen.half, x, limits.LADDER), is_half(seen.row.name, line)
        message = f"its line is {'no' if wanted else 'a'} half-long one on the top"
        about.expect((half is not None) == wanted, "verify.ladder-witness", message)

    def _boot(
        self, about: Subject, wanted: Mapping[str, float], holes: Sequence[Hole], seen: _Seen
    ) -> _Line:
        if not holes:
            about.fail("verify.ladder-missing", "no hole to measure its line from")
            return NOTHING
        at = float(np.median([self.found[hole.id].x - wanted[hole.id] for hole in holes]))
        x = seen.nearest(at)
        if x is None:
            _lost(about, at, seen, f"no line at x {at:.3f} on the {seen.row.name} ladder")
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
        return x, off[worst], seen.ends[x]

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
                _lost(about, zero + line.first, seen, missing)
                continue
            used[x] = line.number
            off = abs(x - zero - line.first)
            message = f"its line lies {off:.3f} mm off, from the line of 0"
            about.within(off, 0.0, limits.LADDER, "verify.ladder-moved", message)
            self._judge_line(about, x, seen, line)
        return used

    def _about(self, subject: str) -> Subject:
        return self.ledger.about(self.source, f"{self.ladder.part}, {subject}")


def _badness(line: _Line) -> tuple[bool, float]:
    """Lines rise by it: one that is not there is worst, then the one that is farthest off."""
    return line[1] is None, line[1] or 0.0


def _inwards(row: LadderRow) -> float:
    """The way in y, + or -, from where lines end into the plastic."""
    return 1.0 if row.y > row.foot else -1.0


def _about(segments: Array, row: LadderRow) -> Array:
    """The segments about a row's lines, along the ski."""
    xs = [line.x for line in row.lines]
    middle = segments.mean(axis=1)[:, 0]
    return np.asarray(
        segments[(middle > min(xs) - limits.LADDER_END) & (middle < max(xs) + limits.LADDER_END)]
    )


def _grooves(outline: Array, row: LadderRow) -> tuple[float, ...]:
    """The x of the grooves that a cut shows in the row's wall, its face found in the cut itself."""
    way = _inwards(row)
    x, y = outline.reshape(-1, 2).T
    xs = [line.x for line in row.lines]
    depth = (y - row.foot) * way
    near = (x > min(xs) - limits.BESIDE) & (x < max(xs) + limits.BESIDE)
    depth = depth[near & (depth > -engraved.LEVEL) & (depth < (row.y - row.foot) * way)]
    if not len(depth):
        return ()
    face = row.foot + way * float(depth.min())
    found = engraved.gaps(outline, face, face + way * limits.LINE_SIGHT, limits.WIDEST_LINE)
    return tuple((a + b) / 2 for a, b in found)


def _judge_used(seen: _Seen, used: Mapping[float, str], about: Subject) -> None:
    """Every line must be for something, with its number, if any, beside it."""
    for x in seen.lines:
        message = f"a line at x {x:.3f} that is for no boot length and no shift"
        about.expect(x in used, "verify.ladder-extra", message)
    for x in (*seen.long, *seen.half):
        message = f"a line on the top at x {x:.3f} that goes on down no wall"
        straight = _nearest(seen.lines, x, limits.LADDER) is not None
        about.expect(straight, "verify.ladder-extra", message)
    texts = [text for text in used.values() if text]
    beside: dict[float, str] = {}
    mirrored = 0
    for number in seen.numbers:
        line = _nearest(used, number.x, limits.NUMBER_CATCH)
        # What it should say is tried first: it nearly always does.
        text, odd = number.read(("" if line is None else used[line], *texts))
        mirrored += odd
        if line is not None:
            beside[line] = text
        message = f"the number {text} at x {number.x:.2f} stands beside no line"
        about.expect(line is not None, "verify.ladder-number", message)
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


def _lost(about: Subject, x: float, seen: _Seen, message: str) -> None:
    """A line that is not where it is read: nowhere, or only farther up."""
    if _nearest(seen.above, x, limits.LINE_CATCH) is None:
        about.fail("verify.ladder-missing", message)
    else:
        height = f"{limits.LINE_CUT[0]:g} mm above the ski"
        about.fail("verify.ladder-high", f"its line ends more than {height}")


def _nearest(lines: Iterable[float], x: float, within: float) -> float | None:
    """The line nearest to `x`, None when none is within so much of it."""
    line = min(lines, key=lambda at: abs(at - x), default=None)
    return line if line is not None and abs(line - x) <= within else None
