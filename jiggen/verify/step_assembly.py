"""The pieces of a STEP assembly: what is placed, under which names, where.

Follows ISO 10303-44 usages (NEXT_ASSEMBLY_USAGE_OCCURRENCE) from the roots down and
multiplies the placements on the way (ITEM_DEFINED_TRANSFORMATION of ISO 10303-43).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jiggen.verify.geometry import Array
from jiggen.verify.step_shapes import Shape, ShapeReader, millimetres
from jiggen.verify.step_text import Entity, StepError, StepFile, read_step_text

DEEPEST = 32  # assemblies within assemblies
MOST_PIECES = 10_000


@dataclass(frozen=True, eq=False)
class StepPiece:
    """One placed solid: instance names and products from the root down; `pose` to the root, mm."""

    names: tuple[str, ...]
    products: tuple[str, ...]
    pose: Array
    shape: Shape


@dataclass(frozen=True, eq=False)
class StepAssembly:
    """All placed solids of a file, and the unit of length it is written in (mm in one unit)."""

    pieces: tuple[StepPiece, ...]
    unit: float


def read_assembly(path: Path, *, flats: bool = False) -> StepAssembly:
    """Read a STEP file; its flat faces only when `flats` asks for them, since most are of no use.

    Raises StepError when it is not well formed, its units differ, or nothing solid is placed;
    OSError when it cannot be read.
    """
    file = read_step_text(path.read_bytes())
    tree = _Tree(file, flats)
    pieces = tuple(piece for root in tree.roots() for piece in tree.below(root))
    if not pieces:
        raise StepError("no solid is placed in it")
    return StepAssembly(pieces, tree.unit)


class _Tree:
    """The products of a file, the usages between them, and what each one's shape is."""

    def __init__(self, file: StepFile, flats: bool) -> None:
        self._file = file
        self._usages: dict[int, list[Entity]] = defaultdict(list)
        self._used: set[int] = set()
        for usage in file.all_of("NEXT_ASSEMBLY_USAGE_OCCURRENCE"):
            self._usages[usage.ref(3)].append(usage)
            self._used.add(usage.ref(4))
        definitions = {entity.id: entity for entity in file.all_of("PRODUCT_DEFINITION_SHAPE")}
        self._representations: dict[int, list[Entity]] = defaultdict(list)
        for link in file.all_of("SHAPE_DEFINITION_REPRESENTATION"):
            product = definitions.get(link.ref(0))
            if product:
                self._representations[product.ref(2)].append(file[link.ref(1)])
        self._placements: dict[int, Entity] = {}
        for link in file.all_of("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION"):
            self._placements[file[link.ref(1)].ref(2)] = file[link.ref(0)]
        self._same = self._joined()
        self.unit = self._unit()
        self._reader = ShapeReader(file, self.unit, flats)
        self._shapes: dict[int, Shape] = {}

    def roots(self) -> Iterator[int]:
        for product in self._file.all_of("PRODUCT_DEFINITION"):
            if product.id not in self._used:
                yield product.id

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
            shape = self._shape(product)
            if shape.solids:
                yield StepPiece(names, products, pose, shape)
            for usage in reversed(self._usages[product]):
                child = usage.ref(4)
                called = self._name(child)
                stack.append(
                    (
                        child,
                        (*names, usage.text(1) or called),
                        (*products, called),
                        pose @ self._placed(usage),
                    )
                )

    def _name(self, product: int) -> str:
        formation = self._file[self._file[product].ref(2)]
        return self._file[formation.ref(2)].text(0)

    def _shape(self, product: int) -> Shape:
        if product not in self._shapes:
            found = [
                self._reader.shape(representation)
                for representation in self._all_representations(product)
            ]
            self._shapes[product] = Shape(
                sum(shape.solids for shape in found),
                np.vstack([np.empty((0, 3)), *(shape.corners for shape in found)]),
                tuple(face for shape in found for face in shape.round_faces),
                tuple(flat for shape in found for flat in shape.flats),
            )
        return self._shapes[product]

    def _all_representations(self, product: int) -> list[Entity]:
        found = {entity.id: entity for entity in self._representations[product]}
        for own in list(found):
            found.update((other, self._file[other]) for other in self._same[own])
        return list(found.values())

    def _joined(self) -> dict[int, list[int]]:
        """Representations that are one shape without a placement, both ways."""
        same: dict[int, list[int]] = defaultdict(list)
        for link in self._file.all_of("SHAPE_REPRESENTATION_RELATIONSHIP"):
            first, second = link.ref(2), link.ref(3)
            same[first].append(second)
            same[second].append(first)
        return same

    def _placed(self, usage: Entity) -> Array:
        """The pose of a usage's child in its parent's frame."""
        relation = self._placements.get(usage.id)
        if relation is None:
            raise StepError(f"#{usage.id}: a piece without a place")
        transform = self._file[relation.ref(0, "REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION")]
        first, second = (self._reader.placement(transform.ref(i)) for i in (2, 3))
        ends = [relation.ref(i, "REPRESENTATION_RELATIONSHIP") for i in (2, 3)]
        child = {entity.id for entity in self._all_representations(usage.ref(4))}
        # The two frames are one place; writers differ in which representation they name first.
        if ends[0] in child:
            return np.asarray(second @ np.linalg.inv(first))
        if ends[1] in child:
            return np.asarray(first @ np.linalg.inv(second))
        raise StepError(f"#{relation.id}: places another shape than its usage names")

    def _unit(self) -> float:
        contexts = {
            entity.ref(2)
            for entities in self._representations.values()
            for entity in entities
            if entity.keyword.endswith("SHAPE_REPRESENTATION")
        }
        units = {millimetres(self._file, self._file[context]) for context in contexts}
        if len(units) != 1:
            raise StepError("shapes in different units of length" if units else "no shape in it")
        return units.pop()
