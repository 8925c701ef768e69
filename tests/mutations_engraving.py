"""Mutations of what is engraved: boot-centre line, arrow, words, scales, ladders."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import shapely
import trimesh
from faults import boolean, box_of, edit_manifest
from mutation import Kind, Mutation
from shapely import affinity

from jiggen.design.engraving import ARROW, Engraving
from jiggen.design.lettering import Drawn, letter, regions_of
from jiggen.marks import FORM
from jiggen.record.ladders import LadderLine, LineLength, RowName, length_of
from jiggen.solid import body, level, model, plates

MOVED, GONE, WRONG = "verify.engraving-moved", "verify.engraving-missing", "verify.engraving-wrong"
DEEP, EXTRA = "verify.engraving-deep", "verify.engraving-extra"
WORDS, MARK, SCALE = "verify.words", "verify.mark", "verify.scale-wrong"
JIG_MARK = "verify.jig-mark"
LINE, DOWN, AHEAD = "boot-centre line", "boot-centre line down the windows", "arrow to the tip"
BOOT = "BOOT 305"
TOP, FLOOR = 14.0, 13.4  # mm: a body's top, and the floors of its engravings

Items = tuple[Engraving, ...]
WITNESS = "verify.ladder-witness"
Plant = Callable[[], AbstractContextManager[object]]


# -- in the room that draws -----------------------------------------------------------------------


def engraved(change: Callable[[Items], Iterable[Engraving]]) -> Plant:
    """Draw the engravings of every body and plate as `change` has them."""

    def insets_of(items: Iterable[Engraving]) -> list[level.Inset]:
        return level.insets_of(change(tuple(items)))

    @contextmanager
    def plant() -> Any:
        with ExitStack() as stack:
            for room in (body, plates):
                stack.enter_context(patch.object(room, "insets_of", insets_of))
            yield

    return plant


def shape_of(item: Engraving) -> Any:
    """What an item looks like from above."""
    return shapely.union_all([region.polygon for region in item.regions])


def each(how: Callable[[Any], Any], *names: str, where: int = 0) -> Plant:
    """Items of these names drawn as `how` makes them; `where` is +1 for the toe's body alone."""

    def change(items: Items) -> Iterable[Engraving]:
        (arrow,) = [item for item in items if item.name == AHEAD] or [items[0]]
        mine = not where or where * shape_of(arrow).centroid.x > 0
        for item in items:
            changed = mine and item.name in names
            yield replace(item, regions=regions_of(how(shape_of(item)))) if changed else item

    return engraved(change)


def moved(dx: float, *names: str, where: int = 0) -> Plant:
    return each(lambda shape: affinity.translate(shape, dx), *names, where=where)


def without(*names: str) -> Plant:
    return engraved(lambda items: [item for item in items if item.name not in names])


def mirrored(shape: Any) -> Any:
    return affinity.scale(shape, -1, 1, origin=shapely.box(*shape.bounds).centroid)


def placed(shape: Any, on: Any) -> Any:
    """A shape with its middle on another's."""
    (x0, y0, x1, y1), (a0, b0, a1, b1) = on.bounds, shape.bounds
    return affinity.translate(shape, (x0 + x1 - a0 - a1) / 2, (y0 + y1 - b0 - b1) / 2)


def written(text: str, caps: float, name: str) -> Plant:
    """Another text in the place of `name`."""
    return each(lambda shape: placed(letter(text, caps), shape), name)


def letter_mirrored(shape: Any) -> Any:
    """A text with its last letter back to front."""
    *others, last = sorted(shapely.get_parts(shape), key=lambda part: part.bounds[0])
    return shapely.union_all([*others, mirrored(last)])


def exchanged(one: str, other: str) -> Plant:
    """Two items, each in the other's place."""

    def change(items: Items) -> Iterable[Engraving]:
        found = {item.name: shape_of(item) for item in items}
        for item in items:
            twin = {one: other, other: one}.get(item.name)
            if twin in found and item.name in found:
                shape = placed(found[item.name], found[twin])
                item = replace(item, regions=regions_of(shape))
            yield item

    return engraved(change)


def half_exchanged() -> Plant:
    def change(items: Items) -> Iterable[Engraving]:
        for item in items:
            if item.name in ("TOE HALF", "HEEL HALF"):
                text = "HEEL HALF" if item.name == "TOE HALF" else "TOE HALF"
                shape = placed(letter(text, item.signs[0].size), shape_of(item))
                item = replace(item, regions=regions_of(shape))
            yield item

    return engraved(change)


def long_only(shape: Any) -> Any:
    """The lines of a ladder that reach its numbers."""
    parts = shapely.get_parts(shape)
    return shapely.union_all([one for one in parts if one.bounds[3] - one.bounds[1] > 3.0])


def half_at_others(row: RowName, line: LadderLine) -> LineLength:
    """Of the lengths, those that end in 1 and 6 are half long."""
    if length_of(row, line) == "long":
        return "long"
    return "half-long" if line.first % 5 == 1 else "short"


def words_exchanged(one: str, other: str) -> Plant:
    """The words of the ladders of odd and even boots, however long they are."""

    def change(items: Items) -> Iterable[Engraving]:
        names = {key: next((i for i in items if i.name.startswith(key)), None) for key in WORDED}
        for item in items:
            for key in WORDED:
                twin = names[other if key == one else one]
                if item is names[key] and twin is not None:
                    shape = placed(shape_of(twin), shape_of(item))
                    item = replace(item, regions=regions_of(shape))
                    break
            yield item

    return engraved(change)


WORDED = ("ODD", "EVEN")


def deeper(by: float) -> Plant:
    return engraved(
        lambda items: [replace(i, depth=i.depth + by) if i.name == BOOT else i for i in items]
    )


def added(shape: Any, depth: float = 0.6) -> Plant:
    extra = Engraving("extra", regions_of(shape), depth)
    return engraved(lambda items: [*items, extra])


def rails(how: Callable[[Any], Any]) -> Plant:
    """Rails with another scale on top."""

    def make(rail: Any) -> Any:
        return body.make_rail(replace(rail, graduations=Drawn(how(rail.graduations.shape))))

    return lambda: patch.object(model, "make_rail", make)


def other_number(shape: Any) -> Any:
    """The scale with 60 where 50 stands."""
    parts = shapely.get_parts(shape)
    number = [part for part in parts if len(part.exterior.coords) > 6 and part.area < 4.0]
    there = shapely.union_all(number)
    turned = affinity.rotate(letter("60", 3.0), 90, origin=(0, 0))
    return shapely.union_all([*(p for p in parts if p not in number), placed(turned, there)])


def jig_marks(how: Callable[[Any], Any] | None, *, where: int = 0) -> Plant:
    """The jig mark drawn as `how` makes it, or not at all; `where` as in `each`."""

    def change(items: Items) -> Iterable[Engraving]:
        for item in items:
            shape = shape_of(item)
            if re.fullmatch(FORM, item.name) and (not where or where * shape.centroid.x > 0):
                if how:
                    yield replace(item, regions=regions_of(how(shape)))
            else:
                yield item

    return engraved(change)


def another_mark(shape: Any) -> Any:
    return placed(letter(OTHER_JIG, 3.0), shape)


def last_signs_exchanged(shape: Any) -> Any:
    """A text with its last two letters in one another's places."""
    *others, one, last = sorted(shapely.get_parts(shape), key=lambda part: part.bounds[0])
    return shapely.union_all([*others, placed(one, last), placed(last, one)])


def marked_as_another(*rooms: str) -> Plant:
    """The jig mark of another jig, in the rooms that ask for it."""

    @contextmanager
    def plant() -> Any:
        with ExitStack() as stack:
            for room in rooms:
                patched = patch(f"jiggen.pipeline.{room}.jig_mark", lambda texts: OTHER_JIG)
                stack.enter_context(patched)
            yield

    return plant


OTHER_JIG = "K7F3H"


def longer(by: float) -> Callable[[Any], Any]:
    return lambda shape: affinity.scale(shape, by, 1.0, origin=(shape.bounds[0], 0.0))


def _planted(name: str, plant: Plant, *codes: str, product: Kind = "jig") -> Mutation:
    return Mutation(name, "solid", plant, codes, product)


SOLID = [
    _planted("boot-centre line 0.2 mm to the tip", moved(0.2, LINE, DOWN), MOVED, WRONG),
    _planted("boot-centre line 2 mm to the tip", moved(2.0, LINE, DOWN), MOVED, GONE),
    _planted("top line 0.03 mm off", moved(0.03, LINE), MOVED, WRONG),
    _planted(
        "boot-centre line 0.2 mm off on the toe's body", moved(0.2, LINE, DOWN, where=1), MOVED
    ),
    _planted("grooves down the windows 0.2 mm off", moved(0.2, DOWN), MOVED),
    _planted("no grooves down the windows", without(DOWN), GONE, MOVED),
    _planted(
        "the groove down one window 0.2 mm off",
        each(
            lambda shape: shapely.union_all(
                [
                    affinity.translate(part, 0.2 if part.centroid.y > 0 else 0.0)
                    for part in shapely.get_parts(shape)
                ]
            ),
            DOWN,
        ),
        MOVED,
    ),
    _planted("arrow to the tail", each(mirrored, AHEAD), WRONG),
    _planted("BOOT 295 on a jig for 305", written("BOOT 295", 6.0, BOOT), WRONG),
    _planted("BOOT 306 on a jig for 305", written("BOOT 306", 6.0, BOOT), WRONG, EXTRA),
    _planted("no label", without(BOOT), GONE),
    _planted("nothing engraved on the bodies", engraved(lambda items: ()), GONE),
    _planted("label back to front", each(mirrored, BOOT), WRONG, GONE),
    _planted("a letter back to front", each(letter_mirrored, "DRILL 3.6 PLAIN"), WRONG),
    *(
        _planted(f"{what}, {product}", plant, *codes, product=product)
        for product in ("jig", "boots", "trial", "gauge")
        for what, plant, codes in (
            ("no jig mark", jig_marks(None), (GONE,)),
            ("another jig's mark", jig_marks(another_mark), (WRONG, GONE)),
        )
    ),
    _planted("no jig mark on the toe's body", jig_marks(None, where=1), GONE),
    _planted("jig mark back to front", jig_marks(mirrored), WRONG),
    _planted("two signs of the jig mark exchanged", jig_marks(last_signs_exchanged), WRONG, MOVED),
    _planted("jig mark 0.3 mm off", jig_marks(lambda s: affinity.translate(s, 0.3)), MOVED),
    _planted("designed with another jig's mark", marked_as_another("products"), WORDS),
    _planted("recorded with another jig's mark", marked_as_another("build"), JIG_MARK, WORDS),
    _planted("another jig's mark throughout", marked_as_another("products", "build"), JIG_MARK),
    _planted("label 0.3 mm deeper", deeper(0.3), DEEP),
    _planted("label 0.3 mm shallower", deeper(-0.3), DEEP),
    _planted("a second label", added(affinity.translate(letter("BOOT 295", 4.0), 60, 0)), EXTRA),
    _planted("rails' scale 0.5 mm off", rails(lambda s: affinity.translate(s, 0, 0.5)), MOVED),
    _planted("rails' scale 1 % long", rails(lambda s: affinity.scale(s, 1, 1.01)), MOVED, WRONG),
    _planted("another number on the rails' scale", rails(other_number), WRONG),
    _planted(
        "boot-centre line 0.2 mm off", moved(0.2, LINE, DOWN), MOVED, WRONG, product="printer"
    ),
    _planted("check scale 1 % long", each(longer(1.01), "check scale"), MOVED, product="trial"),
    _planted("check scale 1 % short", each(longer(0.99), "check scale"), MOVED, product="trial"),
    _planted("no check scale", without("check scale"), GONE, product="trial"),
    _planted(
        "names of two holes exchanged", exchanged("toe-1", "toe-2"), WRONG, MOVED, product="trial"
    ),
    _planted("arrow of a trial plate to the tail", each(mirrored, AHEAD), WRONG, product="trial"),
    _planted(
        "mark and centre line 0.2 mm off",
        moved(0.2, "mounting mark and centre line"),
        MOVED,
        WRONG,
        product="trial",
    ),
    _planted("allowances exchanged", exchanged("0.05", "0.10"), WRONG, MOVED, product="gauge"),
    _planted("names of pegs exchanged", exchanged("A", "B"), MOVED, product="gauge"),
    _planted("names of two more pegs exchanged", exchanged("C", "D"), MOVED, product="gauge"),
    _planted("clearances exchanged", exchanged("0.15", "0.20"), WRONG, MOVED, product="gauge"),
    *(
        _planted(f"{row} ladder's grooves {what}", plant, code, GONE, product="boots")
        for row in ("odd", "even", "shift")
        for name in [f"{row} ladder down the wall"]
        for what, plant, code in (
            ("down the wall 0.4 mm off", moved(0.4, name), MOVED),
            ("down the wall missing", without(name), GONE),
        )
    ),
    _planted(
        "half-long lines of a ladder missing",
        each(long_only, "odd ladder"),
        WITNESS,
        product="boots",
    ),
    _planted(
        "half-long lines at other lengths, in drawing and record",
        lambda: patch("jiggen.design.ladder.length_of", half_at_others),
        WITNESS,
        product="boots",
    ),
    _planted(
        "even ladder's lines on the top missing",
        without("even ladder"),
        "verify.ladder-short",
        GONE,
        product="boots",
    ),
    _planted(
        "TIP and TAIL exchanged",
        exchanged("TIP SHIFT", "TAIL SHIFT"),
        GONE,
        WRONG,
        MOVED,
        product="boots",
    ),
    _planted(
        "ODD and EVEN exchanged", words_exchanged(*WORDED), GONE, WRONG, MOVED, product="boots"
    ),
    _planted("TOE HALF and HEEL HALF exchanged", half_exchanged(), WRONG, MOVED, product="boots"),
]


# -- in written meshes ----------------------------------------------------------------------------


def raised(shape: Any, low: float, high: float) -> trimesh.Trimesh:
    """A flat shape from one height to another; ski frame, mm."""
    solids = [
        trimesh.creation.extrude_polygon(part, high - low) for part in shapely.get_parts(shape)
    ]
    made = trimesh.util.concatenate(solids)
    made.apply_translation((0.0, 0.0, low))
    return made


def cut(shape: Any, depth: float = 0.6, part: str = "body-toe") -> Callable[[Path], object]:
    """Engrave a shape in a body's top."""
    return lambda folder: boolean(folder, part, raised(shape, TOP - depth, TOP + 1), "drill", True)


def rewritten(folder: Path, text: str) -> None:
    """Fill the label of the toe's body, and engrave another in its place."""
    x, y = LABEL
    spans = (x - 22, x + 22), (y - 3.6, y + 3.6), (FLOOR - 0.2, TOP)
    boolean(folder, "body-toe", box_of(*spans), "fill", True)
    shape = placed(letter(text, 6.0), shapely.Point(x, y))
    boolean(folder, "body-toe", raised(shape, FLOOR, TOP + 1), "drill", True)


LABEL = 141.159612, 28.712525  # the middle of BOOT 305 on the toe's body
STRIKE = shapely.box(LABEL[0] - 21, LABEL[1] - 0.4, LABEL[0] + 21, LABEL[1] + 0.4)
TAIL = affinity.translate(affinity.scale(ARROW, -1, 1, origin=(8, 4)), 60.0, 8.0)


def written_mesh(name: str, apply: Callable[[Path], object], *codes: str) -> Mutation:
    return Mutation(name, "STL", apply, codes)


STL = [
    written_mesh("a second mark line at x = 2", cut(shapely.box(1.7, -20, 2.3, 20)), EXTRA),
    written_mesh("a shallow mark line at x = 2", cut(shapely.box(1.7, -20, 2.3, 20), 0.2), EXTRA),
    written_mesh(
        "a deep mark line at x = 3", cut(shapely.box(2.7, 17, 3.3, 24), 1.5), "verify.extra"
    ),
    written_mesh("a second arrow, to the tail", cut(TAIL), EXTRA),
    written_mesh("the label struck out", cut(STRIKE), WRONG, EXTRA),
    written_mesh("BOOT 385 for BOOT 305", lambda folder: rewritten(folder, "BOOT 385"), WRONG),
    written_mesh("BOOT 350 for BOOT 305", lambda folder: rewritten(folder, "BOOT 350"), WRONG),
    written_mesh("a second groove down a window", cut(shapely.box(2.0, 24, 2.6, 26), 15.0), EXTRA),
]


# -- in the record --------------------------------------------------------------------------------


def _faces(data: dict[str, Any], part: str) -> list[dict[str, Any]]:
    return [face for face in data["engraved"] if face["part"] == part]


def resign(old: str, new: str) -> Callable[[Path], object]:
    """Say of every sign with the text `old` that it has another."""

    def edit(data: dict[str, Any]) -> None:
        for sign in (sign for face in data["engraved"] for sign in face["signs"]):
            if sign["text"] == old:
                sign["text"] = new

    return lambda folder: edit_manifest(folder, edit)


def forget(data: dict[str, Any]) -> None:
    data["engraved"] = []


def shift_mark(data: dict[str, Any]) -> None:
    for face in _faces(data, "body-toe"):
        for box in (box for ruled in (*face["lines"], *face["grooves"]) for box in ruled["boxes"]):
            box[0] += 1.0
            box[2] += 1.0


RECORD = [
    Mutation("another boot is said to be engraved", "record", resign(BOOT, "BOOT 295"), (WORDS,)),
    Mutation(
        "nothing is said to be engraved", "record", lambda f: edit_manifest(f, forget), (GONE,)
    ),
    Mutation(
        "the mark is said to be at x = 1", "record", lambda f: edit_manifest(f, shift_mark), (MARK,)
    ),
]

MUTATIONS = [*SOLID, *STL, *RECORD]
