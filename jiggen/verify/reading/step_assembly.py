"""The pieces of a STEP assembly: what is placed, under which names, where, and its shape.

Follows ISO 10303-44 usages (NEXT_ASSEMBLY_USAGE_OCCURRENCE) from the roots down and
multiplies the placements on the way (ITEM_DEFINED_TRANSFORMATION of ISO 10303-43).
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array, applied
from jiggen.verify.reading.memory import once
from jiggen.verify.reading.step_shape import Shape, ShapeReader
from jiggen.verify.reading.step_text import Entity, StepError, StepFile, read_step_text

DEEPEST = 32  # assemblies within assemblies
MOST_PIECES = 10_000
SI_PREFIX = {
    None: 1.0,
    "KILO": 1e3,
    "DECI": 1e-1,
    "CENTI": 1e-2,
    "MILLI": 1e-3,
    "MICRO": 1e-6,
    "NANO": 1e-9,
}


@dataclass(frozen=True, eq=False)
class StepPiece:
    """One placed solid: instance names and products from the root down; `pose` to the root, mm."""

    names: tuple[str, ...]
    products: tuple[str, ...]
    pose: Array
    shape: Shape

    @cached_property
    def flat_edges(self) -> tuple[Array, NDArray[np.int64]]:
        """The straight edges (n, 2, 3) of all flat faces, placed, and the number of each's face."""
        flats = self.shape.flats
        edges = np.concatenate([*flats, np.zeros((0, 2, 3))])
        placed = applied(self.pose, edges.reshape(-1, 3)).reshape(-1, 2, 3)
        return placed, np.repeat(np.arange(len(flats)), [len(flat) for flat in flats])


@dataclass(frozen=True, eq=False)
class StepAssembly:
    """All placed solids of a file, and the unit of length it is written in (mm in one unit)."""

    pieces: tuple[StepPiece, ...]
    unit: float


def read_assembly(path: Path) -> StepAssembly:
    """Read a STEP file.

    Raises StepError when it is not well formed, its units differ, or nothing solid is placed;
    OSError when it cannot be read.
    """
    return once(_assembly_of, path.read_bytes())


def _assembly_of(data: bytes) -> StepAssembly:
    file = read_step_text(data)
    tree = _Tree(file)
    products = (product.id for product in file.all_of("PRODUCT_DEFINITION"))
    pieces = tuple(
        piece for root in products if root not in tree.used for piece in tree.below(root)
    )
    if not pieces:
        raise StepError("no solid is placed in it")
    return StepAssembly(pieces, tree.unit)


class _Tree:
    """The products of a file, the usages between them, and what each one's shape is."""

    def __init__(self, file: StepFile) -> None:
        self._file = file
        self._usages: dict[int, list[Entity]] = defaultdict(list)
        self.used: set[int] = set()
        for usage in file.all_of("NEXT_ASSEMBLY_USAGE_OCCURRENCE"):
            self._usages[usage.ref(3)].append(usage)
            self.used.add(usage.ref(4))
        definitions = {entity.id: entity for entity in file.all_of("PRODUCT_DEFINITION_SHAPE")}
        self._representations: dict[int, list[int]] = defaultdict(list)
        for link in file.all_of("SHAPE_DEFINITION_REPRESENTATION"):
            product = definitions.get(link.ref(0))
            if product:
                self._representations[product.ref(2)].append(link.ref(1))
        self._placements: dict[int, Entity] = {}
        for link in file.all_of("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION"):
            self._placements[file[link.ref(1)].ref(2)] = file[link.ref(0)]
        self._same: dict[int, list[int]] = defaultdict(list)
        for link in file.all_of("SHAPE_REPRESENTATION_RELATIONSHIP"):
            first, second = link.ref(2), link.ref(3)
            self._same[first].append(second)
            self._same[second].append(first)
        every = {number for own in self._representations.values() for number in own}
        entities = (file[number] for number in every)
        contexts = {one.ref(2) for one in entities if one.keyword.endswith("SHAPE_REPRESENTATION")}
        units = {_millimetres(file, file[context]) for context in contexts}
        if len(units) != 1:
            raise StepError("shapes in different units of length" if units else "no shape in it")
        (self.unit,) = units
        for context in contexts:
            _refuse_degrees(file, file[context])
        self._reader = ShapeReader(file, self.unit)
        self._shapes: dict[int, Shape] = {}

    def below(self, root: int) -> Iterator[StepPiece]:
        """Every solid placed under a root product, depth first."""
        count = 0
        name = self._name(root)
        stack: list[tuple[int, tuple[str, ...], tuple[str, ...], Array]]
        stack = [(root, (name,), (name,), np.eye(4))]
        while stack:
            product, names, products, pose = stack.pop()
            count += 1
            if len(names) > DEEPEST or count > MOST_PIECES:
                raise StepError("assemblies hold one another without end")
            if product not in self._shapes:
                numbers = self._all_representations(product)
                refs = (ref for number in numbers for ref in self._file[number].refs(1))
                self._shapes[product] = self._reader.shape([self._file[ref] for ref in refs])
            shape = self._shapes[product]
            if shape.solids:
                yield StepPiece(names, products, pose, shape)
            for usage in reversed(self._usages[product]):
                child = usage.ref(4)
                called, placed = self._name(child), pose @ self._placed(usage)
                deeper = (*names, usage.text(1) or called), (*products, called)
                stack.append((child, *deeper, placed))

    def _name(self, product: int) -> str:
        formation = self._file[self._file[product].ref(2)]
        return self._file[formation.ref(2)].text(0)

    def _all_representations(self, product: int) -> dict[int, None]:
        """The product's own, and those that are one shape with them without a placement."""
        own = self._representations[product]
        return dict.fromkeys((*own, *(other for one in own for other in self._same[one])))

    def _placed(self, usage: Entity) -> Array:
        """The pose of a usage's child in its parent's frame."""
        relation = self._placements.get(usage.id)
        if relation is None:
            raise StepError(f"#{usage.id}: a piece without a place")
        transform = self._file[relation.ref(0, "REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION")]
        first, second = (self._reader.placement(transform.ref(i)) for i in (2, 3))
        ends = [relation.ref(i, "REPRESENTATION_RELATIONSHIP") for i in (2, 3)]
        child = self._all_representations(usage.ref(4))
        # The two frames are one place; writers differ in which representation they name first.
        if ends[0] in child:
            return np.asarray(second @ np.linalg.inv(first))
        if ends[1] in child:
            return np.asarray(first @ np.linalg.inv(second))
        raise StepError(f"#{relation.id}: places another shape than its usage names")


def _millimetres(file: StepFile, context: Entity) -> float:
    """How many mm the unit of length of a representation's `context` is."""
    keyword = "GLOBAL_UNIT_ASSIGNED_CONTEXT"
    if keyword in context.record:
        for ref in context.refs(0, keyword):
            if "LENGTH_UNIT" in file[ref].record:
                return _in_millimetres(file, file[ref])
    raise StepError(f"#{context.id}: no unit of length")


def _refuse_degrees(file: StepFile, context: Entity) -> None:
    """A cone's half angle is in the context's unit of plane angle: only radians are understood."""
    keyword = "GLOBAL_UNIT_ASSIGNED_CONTEXT"
    for unit in (file[ref] for ref in context.refs(0, keyword)):
        record = unit.record
        if "PLANE_ANGLE_UNIT" in record and (
            "SI_UNIT" not in record
            or unit.word(0, "SI_UNIT")
            or unit.word(1, "SI_UNIT") != "RADIAN"
        ):
            raise StepError(f"#{unit.id}: angles in another unit than radians")


def _in_millimetres(file: StepFile, unit: Entity, depth: int = 0) -> float:
    if "SI_UNIT" in unit.record:
        prefix, name = unit.word(0, "SI_UNIT"), unit.word(1, "SI_UNIT")
        if name == "METRE" and prefix in SI_PREFIX:
            return 1000.0 * SI_PREFIX[prefix]
    elif "CONVERSION_BASED_UNIT" in unit.record and depth < 3:
        measure = file[unit.ref(1, "CONVERSION_BASED_UNIT")]
        return measure.number(0) * _in_millimetres(file, file[measure.ref(1)], depth + 1)
    raise StepError(f"#{unit.id}: a unit of length that is not understood")
