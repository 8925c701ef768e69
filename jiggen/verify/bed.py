"""The beds' 3MF packages against the STL files and the manifest.

The same meshes, in millimetres, every piece laid on one bed, once, unturned, clear of the others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from jiggen.files import MANIFEST, within
from jiggen.verify import limits
from jiggen.verify.compensation import undone
from jiggen.verify.geometry import Array, applied, unrigid
from jiggen.verify.manifest import (
    Bed,
    Compensation,
    Laid,
    Manifest,
    Part,
    PrintBed,
)
from jiggen.verify.mesh import Mesh
from jiggen.verify.parts import fail_unreadable
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.threemf import ThreeMF, ThreeMFError, difference, read_3mf

DECIMALS_LIMIT = 1e-6  # of a transform written in decimals


def judge_beds(
    folder: Path, manifest: Manifest, meshes: Mapping[str, Mesh], ledger: Ledger
) -> None:
    """Every check of the folder's beds; `meshes` are those of the STL files, undone, by name."""
    parts = {part.name: part for part in manifest.parts if part.printed}
    printed: Counter[str] = Counter()
    for bed in manifest.beds:
        try:
            package = read_3mf(within(folder, bed.file, limits.FILE))
        except (OSError, ThreeMFError) as error:
            fail_unreadable(ledger.about(bed.file, Path(bed.file).name), error)
            # What is in it is not known: that the file is bad has been reported.
            printed.update(piece.name for piece in bed.pieces)
            continue
        judge = _BedJudge(bed, package, ledger)
        judge.unit()
        judge.objects(parts, meshes, manifest.done)
        judge.items(parts)
        judge.places(manifest.inputs.bed)
        printed.update(item.piece for item in package.items)
    _judge_pieces(parts.values(), printed, ledger)


def _judge_pieces(parts: Iterable[Part], printed: Counter[str], ledger: Ledger) -> None:
    """Every piece in use must be printed, and once."""
    for placed in (placed for part in parts for placed in part.placed):
        count = printed[placed.name]
        message = f"is on the beds {count} times instead of once" if count else "is on no bed"
        code = "verify.count" if count else "verify.piece-missing"
        ledger.about(MANIFEST, placed.name).within(float(count), 1.0, 0.0, code, message, "")


@dataclass(frozen=True)
class _BedJudge:
    """One bed as the manifest has it, and as its file has it."""

    bed: Bed
    package: ThreeMF
    ledger: Ledger

    def _about(self, name: str) -> Subject:
        return self.ledger.about(self.bed.file, name)

    def unit(self) -> None:
        """Its unit must be the millimetre."""
        unit, size = self.package.unit, self.package.millimetres
        message = (
            f"its unit is {unit!r}, which 3MF does not know"
            if size is None
            else f"its unit is {unit} instead of millimeter: it would print {size:g} times as large"
        )
        about = self._about(self.bed.file)
        about.expect(size == 1.0, "verify.unit", message, size, 1.0, 0.0, "mm")

    def objects(
        self, parts: Mapping[str, Part], meshes: Mapping[str, Mesh], done: Compensation
    ) -> None:
        """It must hold the mesh of each part that is printed on it, as in the STL file."""
        wanted = dict.fromkeys(piece.part for piece in self.bed.pieces)
        for name in self.package.meshes:
            message = "an object that is not in the manifest"
            self._about(name).expect(name in wanted, "verify.piece-extra", message)
        for name in wanted:
            about, mesh = self._about(name), self.package.meshes.get(name)
            about.expect(mesh is not None, "verify.piece-missing", "no object of that name")
            if mesh is not None and name in meshes and name in parts:
                how = difference(undone(mesh, done), meshes[name], limits.SAME_MESH)
                message = f"not the mesh of {parts[name].file}: {how}"
                about.expect(not how, "verify.other-mesh", message)

    def items(self, parts: Mapping[str, Part]) -> None:
        """It must hold the pieces that the manifest lays on it, where it lays them."""
        laid = {piece.name: piece for piece in self.bed.pieces}
        owner = {placed.name: part.name for part in parts.values() for placed in part.placed}
        for item in self.package.items:
            about, wanted = self._about(item.piece), laid.get(item.piece)
            message = f"a piece (of {item.name}) that the manifest does not lay on this bed"
            about.expect(wanted is not None, "verify.piece-extra", message)
            of = owner.get(item.piece, item.name)
            message = f"is the part {item.name!r} instead of {of!r}"
            about.expect(item.name == of, "verify.swapped", message)
            why = unrigid(item.place, DECIMALS_LIMIT)
            message = f"its transform is not a rigid motion: {why}"
            if about.expect(not why, "verify.not-rigid", message) and wanted:
                _judge_place(item.place, wanted, about)

    def places(self, room: PrintBed) -> None:
        """Every item must stand on the bed, inside it, and SPACING from the others."""
        points = [
            applied(item.place, self.package.meshes[item.name].vertices)
            for item in self.package.items
        ]
        hulls = [_hull(cloud) for cloud in points]
        for item, cloud in zip(self.package.items, points, strict=True):
            _judge_stand(cloud, room, self._about(item.piece))
        placed = zip(self.package.items, hulls, strict=True)
        for (one, hull), (other, another) in combinations(placed, 2):
            apart = float(hull.distance(another))
            message = (
                f"stands {apart:.2f} mm from {other.piece}, {limits.SPACING:g} mm are needed"
                if apart
                else f"and {other.piece} overlap"
            )
            self._about(one.piece).expect(
                apart >= limits.SPACING - limits.ON_BED,
                "verify.overlap",
                message,
                apart,
                limits.SPACING,
                limits.ON_BED,
                "mm",
            )


def _judge_place(place: Array, wanted: Laid, about: Subject) -> None:
    turned = float(np.abs(place[:3, :3] - np.eye(3)).max())
    message = "is turned: what a printer does to x and y would no longer be undone"
    about.expect(turned <= DECIMALS_LIMIT, "verify.turned", message)
    off = float(np.hypot(place[0, 3] - wanted.x, place[1, 3] - wanted.y))
    message = f"lies {off:.2f} mm from where the manifest lays it"
    about.within(off, 0.0, limits.ON_BED, "verify.place", message)


def _judge_stand(points: Array, room: PrintBed, about: Subject) -> None:
    low, high = points.min(axis=0), points.max(axis=0)
    base = float(low[2])
    message = f"lowest at z {base:.3f}, not on the bed"
    about.within(base, 0.0, limits.BASE, "verify.base", message)
    size = np.array([room.x, room.y, room.z])
    past = float(np.concatenate([-low[:2], high - size]).max())
    message = f"reaches {past:.2f} mm past the bed of {room.x:g} x {room.y:g} x {room.z:g} mm"
    inside = past <= limits.ON_BED
    about.expect(inside, "verify.off-bed", message, past, 0.0, limits.ON_BED, "mm")


def _hull(points: Array) -> Any:
    """The convex outline of points seen from above."""
    import shapely

    return shapely.MultiPoint(points[:, :2]).convex_hull
