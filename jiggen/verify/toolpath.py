"""What a slicing program made of a folder's parts, against the parts: whether to print it.

Looks at G-code files and at the folder's own: the written meshes, and the holes of the manifest.
What a file lays is told by its outer walls alone: which part each piece is, how it was turned,
mirrored, scaled, made smaller; where every hole is, and how wide.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from jiggen.errors import Finding, InputError
from jiggen.files import within
from jiggen.outcome import Fault
from jiggen.progress import announce
from jiggen.verify import limits
from jiggen.verify.geometry import Array, applied
from jiggen.verify.matching import Known, Match, match
from jiggen.verify.reading.entries import Bed, Guide, Hole
from jiggen.verify.reading.gcode import GcodeError, Toolpath, read_gcode
from jiggen.verify.reading.manifest import Manifest, read_manifest
from jiggen.verify.reading.mesh import MeshError, read_stl
from jiggen.verify.reading.walls import Piece, pieces_of
from jiggen.verify.results import Ledger
from jiggen.verify.slicer import Stated, judge_settings, stated_in

PLACE = 0.01  # mm between a hole and its place
DIAMETER = 0.06  # mm, of a hole; where the file does not state its lines' width twice as much
SIZE = 2e-4  # of a length, that a scale may change it, and
LEAST_SIZE = 0.02  # mm of a short one
OFFSET = 0.03  # mm all round; likewise twice as much
TURNED = 0.05  # degrees
HEIGHT = 0.02  # mm beyond half a layer, of the part's height
# mm of a layer's walls that lie where the part has no outline: 0.0 in a slicing program's files of
# all parts, 12 where two digits of a label are others (tests/bench/toolpath.py).
ASTRAY = 2.0
CATCH = 1.0  # mm: a hole farther off than this is missing
AROUND = 0.7  # of a hole's circumference must be there: a seam leaves a gap
DUST = 1e-6  # mm: a layer's middle at the very end of a hole is not in it
LAYERS = 0.9  # of the layers through a hole must show it


@dataclass(frozen=True)
class FoundHole:
    """A hole as it will be printed; `x` and `y` in the ski frame, mm, None where there is none."""

    id: str
    part: str
    wanted: tuple[float, float]
    found: tuple[float, float] | None
    deviation: float | None
    wanted_diameter: float
    diameter: float | None
    layers: int


@dataclass(frozen=True)
class FoundPiece:
    """A piece in a file: its part, "" for none of the folder's; its middle in the printer, mm."""

    part: str
    at: tuple[float, float]
    scale: tuple[float, float] | None = None
    mirrored: bool = False
    turned: float = 0.0
    offset: float = 0.0


@dataclass(frozen=True)
class SlicedFile:
    """One G-code file: the bed or part that it `holds`, and what is in it."""

    file: str
    holds: str
    pieces: tuple[FoundPiece, ...]
    holes: tuple[FoundHole, ...]
    stated: Stated
    notes: tuple[str, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class ToolpathCheck:
    """All files: `passed` when every check held; `unchecked` are pieces that no file has."""

    passed: bool
    checks: int
    files: tuple[SlicedFile, ...]
    unchecked: tuple[str, ...]
    faults: tuple[Fault, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)


def check_toolpaths(folder: Path, files: Iterable[Path]) -> ToolpathCheck:
    """Check G-code `files` that were made of the parts or beds in `folder`.

    Raises InputError for a folder without a manifest, and for files that cannot be read.
    """
    manifest, ledger, unreadable = read_manifest(folder), Ledger(), []
    parts = _parts(folder, manifest)
    found, printed = [], Counter[str]()
    for path in files:
        announce(f"reading {path.name}")
        try:
            toolpath = read_gcode(path)
        except (OSError, GcodeError) as error:
            reason = error.strerror if isinstance(error, OSError) else error
            hint = "Name files that the slicing program exported as plain G-code."
            unreadable.append(Finding("verify.gcode-unreadable", f"{reason}", str(path), "", hint))
            continue
        announce(f"looking for holes in {path.name}")
        found.append(_judge(path.name, toolpath, manifest, parts, ledger))
        printed.update(piece.part for piece in found[-1].pieces if piece.part)
    if unreadable:
        raise InputError(unreadable)
    unchecked = []
    for part in (part for part in manifest.parts if part.printed):
        count, wanted = printed[part.name], part.count
        message = f"is in the files {count} times, {wanted} are needed: one file is given twice?"
        ledger.about("G-code", part.name).expect(
            count <= wanted, "verify.gcode-count", message, count, wanted
        )
        if count < wanted:
            unchecked.append(f"{wanted - count} x {part.name}" if wanted > 1 else part.name)
    faults = tuple(ledger.faults)
    return ToolpathCheck(not faults, ledger.checks, tuple(found), tuple(unchecked), faults)


def _parts(folder: Path, manifest: Manifest) -> list[Known]:
    """The parts with their meshes as written.  Raises InputError for one that cannot be read."""
    found = []
    for part in (part for part in manifest.parts if part.printed):
        try:
            mesh = read_stl(within(folder, part.file, limits.FILE))
        except (OSError, MeshError) as error:
            message, hint = f"cannot be read: {error}", "Build the folder again."
            where = str(folder / part.file)
            raise InputError.of("verify.unreadable", message, where=where, hint=hint) from error
        found.append(Known(part, mesh))
    return found


def _judge(
    name: str, toolpath: Toolpath, manifest: Manifest, parts: Sequence[Known], ledger: Ledger
) -> SlicedFile:
    """One file's pieces, holes and settings."""
    before = len(ledger.faults)
    pieces, holes, matches = [], [], []
    notes: list[str] = []
    found = pieces_of(toolpath)
    for piece in found:
        low, high = piece.box
        at = (round(float(low[0] + high[0]) / 2, 2), round(float(low[1] + high[1]) / 2, 2))
        matched = match(piece, parts)
        if matched is None:
            x, y = high - low
            about = ledger.about(name, f"piece at {at[0]:g}, {at[1]:g}")
            message = f"{x:.1f} x {y:.1f} x {piece.tops[-1]:.1f} mm: no part of this folder; it is "
            message += "of another jig, lies on another side, or was changed"
            about.fail("verify.gcode-part", message)
            pieces.append(FoundPiece("", at))
            continue
        matches.append(matched)
        pieces.append(_judge_piece(name, matched, at, manifest, notes, ledger))
        holes += _judge_holes(name, matched, manifest, ledger)
    counts = Counter(piece.part for piece in pieces)
    bed = _bed(counts, manifest.beds)
    holds = (
        bed.file if bed and sum(counts.values()) > 1 else ", ".join(sorted(counts - Counter("")))
    )
    _judge_name(name, bed, manifest.beds, ledger)
    _judge_room(name, found, toolpath, manifest, ledger)
    advised = bed or next((b for b in manifest.beds if counts.keys() & _counts(b).keys()), None)
    stated = stated_in(toolpath, found)
    if advised and advised.advice:
        notes += judge_settings(stated, advised.advice, toolpath, ledger.about(name, "settings"))
    faults = tuple(ledger.faults[before:])
    notes = list(dict.fromkeys(notes))
    return SlicedFile(name, holds, tuple(pieces), tuple(holes), stated, tuple(notes), faults)


def _counts(bed: Bed) -> Counter[str]:
    return Counter(piece.part for piece in bed.pieces)


def _bed(counts: Counter[str], beds: Iterable[Bed]) -> Bed | None:
    """The bed with just these pieces."""
    return next((bed for bed in beds if _counts(bed) == counts), None)


def _judge_name(name: str, bed: Bed | None, beds: Iterable[Bed], ledger: Ledger) -> None:
    """A file that is named after one bed must not hold another."""
    for other in (other for other in beds if Path(other.file).stem in Path(name).stem):
        holds = Path(bed.file).stem if bed else "other pieces"
        message = f"it is named after {Path(other.file).stem}, but holds {holds}"
        about = ledger.about(name, Path(other.file).stem)
        about.expect(other is bed, "verify.gcode-other-bed", message)


def _judge_room(
    name: str, pieces: Iterable[Piece], toolpath: Toolpath, manifest: Manifest, ledger: Ledger
) -> None:
    """All pieces must lie on the bed: as the file states it, or from 0, 0 as the folder does."""
    bed, about = manifest.inputs.bed, ledger.about(name, "place")
    low, high = np.zeros(2), np.array([bed.x, bed.y])
    shape = toolpath.settings.get("bed_shape") or toolpath.settings.get("printable_area") or ""
    corners = [tuple(corner.split("x")) for corner in shape.split(",")]
    try:
        found = np.array([(float(x), float(y)) for x, y in corners])
        low, high = found.min(axis=0), found.max(axis=0)
    except ValueError:
        pass
    for piece in pieces:
        least, most = piece.box
        past = float(np.concatenate([low - least, most - high]).max())
        message = f"a piece reaches {past:.1f} mm past the bed, {low[0]:g}, {low[1]:g} to "
        message += f"{high[0]:g}, {high[1]:g}"
        about.expect(past <= 0.0, "verify.gcode-off-bed", message, past, 0.0, 0.0, "mm")


def _judge_piece(
    name: str,
    matched: Match,
    at: tuple[float, float],
    manifest: Manifest,
    notes: list[str],
    ledger: Ledger,
) -> FoundPiece:
    """How a piece differs from its part."""
    part, piece, fit = matched.part, matched.piece, matched.fit
    about = ledger.about(name, part.name)
    looser = 1.0 if piece.stated else 2.0
    _, stretch = fit.parts
    scale = (float(stretch[0, 0]), float(stretch[1, 1]))
    long = np.ptp(matched.mesh.vertices[:, :2], axis=0)
    for word, factor, length in (("x", scale[0], long[0]), ("y", scale[1], long[1])):
        off = (factor - 1) * float(length)
        message = f"scaled in {word} to {100 * factor:.2f} %: {off:+.2f} mm over {length:.0f} mm"
        limit = max(SIZE, LEAST_SIZE / float(length))
        about.within(factor, 1.0, limit, "verify.gcode-scale", message, "")
    skew = float(np.degrees(2 * stretch[0, 1]))
    message = f"leans by {skew:.3f}°"
    about.within(skew, 0.0, TURNED, "verify.gcode-scale", message, "°")
    message = "mirrored: its holes would lie on the wrong side. Slice it unmirrored"
    about.expect(not fit.mirrored, "verify.gcode-mirrored", message)
    turned = fit.turned
    if abs(turned) > TURNED and not fit.mirrored:
        message = f"turned by {turned:.1f}° on the bed"
        matters = manifest.compensation is not None or part.kind == "gauge"
        why = "what makes up for the printer's errors no longer does: slice it unturned"
        about.expect(
            not matters, "verify.gcode-turned", f"{message}; {why}", turned, 0.0, TURNED, "°"
        )
        if not matters:
            notes.append(f"{part.name}: {message}; it may be, for nothing was done for a printer")
    offset = -fit.narrower
    message = f"all its walls are moved {'out' if offset > 0 else 'in'} by {abs(offset):.3f} mm: a "
    message += "size compensation (XY) is on, holes come out wrong by twice that; set it to 0"
    about.within(offset, 0.0, looser * OFFSET, "verify.gcode-offset", message)
    high = float(matched.mesh.vertices[:, 2].max())
    limit = piece.thickness / 2 + HEIGHT
    message = f"{piece.tops[-1]:.2f} mm high instead of {high:.2f} mm"
    about.within(float(piece.tops[-1]), high, limit, "verify.gcode-height", message)
    length, x, y, z = matched.astray
    message = f"walls of {length:.0f} mm lie where the part has no outline, at {x:.0f}, {y:.0f} of "
    message += f"its file, {z:.1f} mm high: other words or another shape, of another jig?"
    about.within(length, 0.0, ASTRAY, "verify.gcode-outline", message)
    rounded = (round(scale[0], 6), round(scale[1], 6))
    return FoundPiece(part.name, at, rounded, fit.mirrored, round(turned, 3), round(offset, 4))


def _judge_holes(name: str, matched: Match, manifest: Manifest, ledger: Ledger) -> list[FoundHole]:
    """Every hole of a body: where the toolpath puts it, once the part lies where it was meant."""
    back = np.linalg.inv(manifest.done.linear)[:2, :2]
    points = matched.rigid(matched.vertices) @ back.T
    return [
        _judge_hole(name, matched, points, hole, guide, ledger)
        for hole, guide in manifest.guided
        if guide.part == matched.part.name
    ]


def _judge_hole(
    name: str, matched: Match, points: Array, hole: Hole, guide: Guide, ledger: Ledger
) -> FoundHole:
    part, piece = matched.part, matched.piece
    about = ledger.about(name, hole.id)
    from_ski = np.asarray(np.linalg.pinv(part.matrix), np.float64)
    ends = [applied(from_ski, np.array([[hole.x, hole.y, z]]))[0] for z in guide.bore_z]
    middle, (low, high) = ends[0][:2], sorted(float(end[2]) for end in ends)
    inside = (piece.middles > low + DUST) & (piece.middles < high - DUST)
    inside[0] = False  # laid wider, and smaller for the foot that it leaves
    centres, diameters = [], []
    for layer in np.flatnonzero(inside):
        chosen = matched.layers == layer
        found = round_wall(points[chosen], middle, guide.bore, matched.halves[chosen])
        if found:
            centres.append(found[:2])
            diameters.append(found[2])
    wanted, count = (hole.x, hole.y), len(centres)
    message = (
        f"its wall is in {count} of {int(inside.sum())} layers: not there, or {CATCH:g} mm off"
    )
    enough = count > 0 and count >= LAYERS * inside.sum()
    if not about.expect(enough, "verify.gcode-hole-missing", message):
        return FoundHole(hole.id, part.name, wanted, None, None, guide.bore, None, count)
    centre: Array = np.median(np.array(centres), axis=0)
    diameter = float(np.median(diameters))
    place = applied(part.matrix, np.array([[*centre, float(ends[0][2])]]))[0]
    off = float(np.hypot(place[0] - hole.x, place[1] - hole.y))
    message = f"{off:.3f} mm from its place"
    about.within(off, 0.0, PLACE, "verify.gcode-hole", message)
    message = f"its wall is {diameter:.3f} mm wide instead of {guide.bore:.3f} mm"
    limit = DIAMETER if piece.stated else 2 * DIAMETER
    about.within(diameter, guide.bore, limit, "verify.gcode-diameter", message)
    x, y = round(float(place[0]), 4), round(float(place[1]), 4)
    return FoundHole(
        hole.id, part.name, wanted, (x, y), round(off, 4), guide.bore, round(diameter, 3), count
    )


def round_wall(
    points: Array, middle: Array, bore: float, halves: Array
) -> tuple[float, float, float] | None:
    """Centre and diameter of the hole whose wall runs near `middle`; in one layer, or None.

    Of points (n, 2), corners of walls, those are taken that lie near the circle; pieces of a wall,
    and its gap, do not matter as long as most of the way round is there.
    """
    x, y, half = float(middle[0]), float(middle[1]), float(np.median(halves)) if len(halves) else 0
    radius = bore / 2 + half
    used = np.zeros(len(points), bool)
    for catch in (CATCH, 0.4, 0.15):
        away = np.hypot(points[:, 0] - x, points[:, 1] - y)
        used = np.abs(away - radius) < catch
        if used.sum() < 8:
            return None
        x, y, diameter = fit_circle(points[used])
        radius = diameter / 2
    angles = np.arctan2(points[used, 1] - y, points[used, 0] - x)
    # The widest way round without a point: corners of a fine circle stand closer than this.
    gap = np.diff(np.sort(angles), append=angles.min() + 2 * np.pi).max() / (2 * np.pi)
    if gap > 1 - AROUND:
        return None
    return x, y, 2 * (radius - float(np.median(halves[used])))


def fit_circle(points: Array) -> tuple[float, float, float]:
    """Middle and diameter of the circle nearest to points: linear in x, y and r² (Kåsa 1976).

    I. Kåsa, "A circle fitting procedure and its error analysis", IEEE Transactions on
    Instrumentation and Measurement 25 (1976), from memory.
    """
    middle = points.mean(axis=0)
    around = points - middle
    matrix = np.column_stack([2 * around, np.ones(len(around))])
    x, y, rest = np.linalg.lstsq(matrix, (around**2).sum(axis=1), rcond=None)[0]
    return (
        float(x + middle[0]),
        float(y + middle[1]),
        2 * float(np.sqrt(max(rest + x * x + y * y, 0.0))),
    )
