"""From a pattern file to a checked pattern, or to everything that is wrong with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from functools import reduce
from itertools import pairwise
from typing import Any

from jiggen.inputs.document import Document, FileKind, parse_document, read_document
from jiggen.inputs.faults import Fault, Unit, key_text, quoted, unit_of
from jiggen.inputs.places import KeyPath
from jiggen.inputs.shape import validate
from jiggen.pattern.checks import conflicts
from jiggen.pattern.model import Area, Drill, Group, Hole, Pattern, Screw, Step
from jiggen.pattern.schema import FileShape, GroupShape, HoleShape, StepShape

KIND = FileKind("pattern", "A pattern file")

# What every hole needs, by its own table or the file's.
_NEEDED = {
    ("drill", "diameter", "plain"): "drill diameter for plain cores",
    ("drill", "diameter", "metal"): "drill diameter under metal",
    ("drill", "depth"): "drill depth",
    ("screw", "plate"): "plate thickness",
    ("screw", "lengths"): "screw length",
}


def read_pattern(path: str | os.PathLike[str]) -> Pattern:
    """Read the pattern file at `path`; every length of the result is in mm.

    Raises InputError with every fault at once, in the file's order: first those of single
    values; where there are none, those of groups and holes; at last those of holes that are too
    close to each other.  Each finding has `where` as ``file:line:column`` (counted from 1) and
    `key` as a path whose indexes are counted from 1 too: ``group[1].hole[3].at`` is the third
    hole of the first group.  Values in messages are in the file's own unit.  The codes, each
    after ``pattern.``:

    file      missing, folder, unreadable, too-big, not-utf8, syntax
    keys      missing-key, unknown-key, type, value, not-finite, format, name, note
    measures  length, diameter, depth, boot, screw, area
    holes     both-sides, same-hole, spacing, no-drill, no-screw, too-many-holes
    groups    no-group, empty-group, too-many-groups, same-name, shift, steps
    """
    return _checked(read_document(path, KIND))


def parse_pattern(text: str, source: str) -> Pattern:
    """`text` as `read_pattern` would read it from the file `source`.

    Raises InputError as `read_pattern` does.
    """
    return _checked(parse_document(text, source, KIND))


def _checked(document: Document) -> Pattern:
    unit = unit_of(document.data)
    file = validate(FileShape, document, document.data, unit)
    document.refuse(_inconsistent(file, unit))
    pattern = Pattern(
        name=file.name,
        note=file.note,
        units=file.units,
        boot=file.boot,
        pair=file.pair,
        groups=tuple(_group(group, file) for group in file.group),
        source=document.file,
        area=Area(*file.area.x, file.area.half_width) if file.area else None,
    )
    document.refuse(conflicts(pattern))
    return pattern


# -- values from shapes ---------------------------------------------------------------------------


def _group(group: GroupShape, file: FileShape) -> Group:
    steps = tuple(Step(step.start, step.shift) for step in group.steps or ())
    holes = tuple(_hole(hole, file) for hole in group.hole)
    return Group(group.name, group.datum, group.shift or 0.0, steps, holes)


def _hole(hole: HoleShape, file: FileShape) -> Hole:
    plain, metal, depth, plate, lengths = (_given(keys, hole, file) for keys in _NEEDED)
    screw = Screw(plate, lengths) if _is_screwed(hole, file) else None
    return Hole(hole.at, hole.both_sides, Drill(plain, metal, depth), screw)


def _given(keys: tuple[str, ...], hole: HoleShape, file: FileShape) -> Any:
    """What the hole says for `keys`, or else the file; None where neither does."""
    own = reduce(getattr, keys, hole)
    return own if own is not None else reduce(getattr, keys, file)


def _is_screwed(hole: HoleShape, file: FileShape) -> bool:
    return "screw" in file.model_fields_set | hole.model_fields_set


# -- what does not fit together -------------------------------------------------------------------


def _inconsistent(file: FileShape, unit: Unit) -> Iterator[Fault]:
    if not file.group:
        hint = "Write a table headed [[group]] for each set of holes that moves together."
        yield Fault(("group",), "no-group", "there is no group of holes", hint)
    names: dict[str, int] = {}
    for g, group in enumerate(file.group):
        path = ("group", g)
        first = names.setdefault(group.name, g)
        if first != g:
            message = f"group[{first + 1}] is called {quoted(group.name)} too"
            hint = "Hole ids are made of the name: each group needs its own."
            yield Fault((*path, "name"), "same-name", message, hint)
        yield from _misplaced(group, path)
        yield from _unordered(group.steps or [], (*path, "steps"), unit)
        if not group.hole:
            hint = "Write a table headed [[group.hole]] under the group for each of its holes."
            yield Fault((*path, "hole"), "empty-group", "the group has no hole", hint)
    for hole_path, hole in _holes(file):
        if hole.both_sides and hole.at[1] == 0:
            yield Fault(
                (*hole_path, "both_sides"),
                "both-sides",
                "the hole is on the centre line (y = 0) and has no other side",
                "Remove both_sides, or give y.",
            )
    yield from _lacking(file)


def _holes(file: FileShape) -> Iterator[tuple[KeyPath, HoleShape]]:
    for g, group in enumerate(file.group):
        for h, hole in enumerate(group.hole):
            yield ("group", g, "hole", h), hole


def _misplaced(group: GroupShape, path: KeyPath) -> Iterator[Fault]:
    """A group is placed by a shift or by steps: one of them, not both."""
    hint = "Write shift for a group with one place, steps for one that moves in steps."
    if group.shift is not None and group.steps is not None:
        yield Fault((*path, "steps"), "shift", "the group has both shift and steps", hint)
    elif group.shift is None and group.steps is None:
        yield Fault((*path, "shift"), "shift", "the group has no shift and no steps", hint)
    elif group.steps == []:
        yield Fault((*path, "steps"), "steps", "the list of steps is empty", hint)


def _unordered(steps: list[StepShape], path: KeyPath, unit: Unit) -> Iterator[Fault]:
    for s, (before, step) in enumerate(pairwise(steps), start=1):
        if step.start <= before.start:
            yield Fault(
                (*path, s, "from"),
                "steps",
                f"{unit.show(step.start)} comes after {unit.show(before.start)}",
                "Write steps from the shortest boot to the longest, each once.",
            )


def _lacking(file: FileShape) -> Iterator[Fault]:
    """What holes lack: one fault per key, not per hole, since one default would do for all."""
    for keys, name in _NEEDED.items():
        table = keys[0]
        lacking = [
            path
            for path, hole in _holes(file)
            if _given(keys, hole, file) is None and (table == "drill" or _is_screwed(hole, file))
        ]
        if lacking:
            # Without a [screw] table in the file, the hole is the place to look.
            in_hole = table == "screw" and table not in file.model_fields_set
            count = "1 hole" if len(lacking) == 1 else f"{len(lacking)} holes, the first"
            yield Fault(
                (*lacking[0], *keys) if in_hole else keys,
                f"no-{table}",
                f"no {name} is given for {count} {key_text(lacking[0])}",
                f"Give it in [{table}] for every hole, or in the hole's own {table}.",
            )
