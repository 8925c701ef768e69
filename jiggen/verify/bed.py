"""The 3MF package against the STL files: the same meshes, in millimetres, laid side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from itertools import combinations
from pathlib import Path

import numpy as np

from jiggen.verify import limits
from jiggen.verify.compensation import undone
from jiggen.verify.frames import Array, applied, unrigid
from jiggen.verify.manifest import Manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.parts import unreadable
from jiggen.verify.results import Fault, Ledger
from jiggen.verify.threemf import Item, ThreeMF, ThreeMFError, difference, read_3mf

FILE = "jig.3mf"
UNITS = {  # mm in one of 3MF's units, core specification
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
STRAIGHT = (np.eye(3), np.diag((-1.0, -1.0, 1.0)))  # turns that leave x and y in their lines
DECIMALS_LIMIT = 1e-6  # of a transform written in decimals


def judge_package(
    folder: Path, manifest: Manifest, meshes: Mapping[str, Mesh], ledger: Ledger
) -> None:
    """Every check of the folder's 3MF; `meshes` are the parts', undone."""
    path = folder / FILE
    try:
        package = read_3mf(path)
    except (OSError, ThreeMFError) as error:
        ledger.fail(unreadable(path, FILE, error))
        return
    _judge_unit(package, ledger)
    _judge_objects(package, manifest, meshes, ledger)
    _judge_items(package, ledger)
    if manifest.compensation:
        _judge_turns(package, ledger)


def _fault(
    code: str,
    subject: str,
    message: str,
    found: float | None = None,
    wanted: float | None = None,
    limit: float | None = None,
    unit: str = "",
) -> Fault:
    return Fault(code, FILE, subject, message, found, wanted, limit, unit)


def _judge_unit(package: ThreeMF, ledger: Ledger) -> None:
    unit = package.unit
    if unit not in UNITS:
        ledger.fail(_fault("proof.unit", FILE, f"its unit is {unit!r}, which 3MF does not know"))
        return
    size = UNITS[unit]
    message = f"its unit is {unit} instead of millimeter: it would print {size:g} times as large"
    ledger.expect(size == 1.0, _fault("proof.unit", FILE, message, size, 1.0, 0.0, unit="mm"))


def _judge_objects(
    package: ThreeMF, manifest: Manifest, meshes: Mapping[str, Mesh], ledger: Ledger
) -> None:
    counts = Counter(item.name for item in package.items)
    for name in package.meshes.keys() - {part.name for part in manifest.parts}:
        ledger.fail(_fault("proof.piece-extra", name, "an object that is not in the manifest"))
    for part in manifest.parts:
        mesh = package.meshes.get(part.name)
        if mesh is None:
            ledger.fail(_fault("proof.piece-missing", part.name, "no object of that name"))
            continue
        count = counts[part.name]
        ledger.expect(
            count == part.count,
            _fault(
                "proof.count",
                part.name,
                f"printed {count} times instead of {part.count}",
                count,
                part.count,
                0,
            ),
        )
        if part.name in meshes:
            how = difference(undone(mesh, manifest.done), meshes[part.name], limits.SAME_MESH)
            ledger.expect(
                not how,
                _fault("proof.other-mesh", part.name, f"not the mesh of {part.file}: {how}"),
            )


def _judge_items(package: ThreeMF, ledger: Ledger) -> None:
    boxes = []
    for number, item in enumerate(package.items, start=1):
        label = f"{item.name} (item {number})"
        why = unrigid(item.place, DECIMALS_LIMIT)
        ledger.expect(
            not why,
            _fault("proof.not-rigid", label, f"its transform is no rigid motion: {why}"),
        )
        box = _box(package, item)
        base = float(box[0, 2])
        ledger.expect(
            abs(base) <= limits.BASE,
            _fault(
                "proof.base",
                label,
                f"lowest at z {base:.3f}, not on the bed",
                base,
                0.0,
                limits.BASE,
                unit="mm",
            ),
        )
        boxes.append((label, box))
    for (one, box), (other, second) in combinations(boxes, 2):
        shared = float((np.minimum(box[1], second[1]) - np.maximum(box[0], second[0])).min())
        ledger.expect(
            shared <= limits.OVERLAP,
            _fault(
                "proof.overlap",
                one,
                f"its box and that of {other} overlap by {shared:.2f} mm",
                shared,
                0.0,
                limits.OVERLAP,
                unit="mm",
            ),
        )


def _judge_turns(package: ThreeMF, ledger: Ledger) -> None:
    """A compensated piece lies as its printer's axes do, or turned half round about z."""
    for number, item in enumerate(package.items, start=1):
        turn = float(np.degrees(np.arctan2(item.place[1, 0], item.place[0, 0])))
        straight = (np.abs(item.place[:3, :3] - axes).max() for axes in STRAIGHT)
        ledger.expect(
            min(straight) <= DECIMALS_LIMIT,
            _fault(
                "proof.turned",
                f"{item.name} (item {number})",
                f"turned by {turn:.1f}° on the bed, though compensated for the printer's own axes",
                turn,
                0.0,
                unit="degrees",
            ),
        )


def _box(package: ThreeMF, item: Item) -> Array:
    """(2, 3): least over greatest corner of a placed item."""
    points = applied(item.place, package.meshes[item.name].vertices)
    return np.vstack([points.min(axis=0), points.max(axis=0)])
