"""From a pattern file to a checked pattern, or to everything that is wrong with it."""

from __future__ import annotations

import os
from collections.abc import Callable, Container, Iterator
from itertools import pairwise
from operator import attrgetter
from pathlib import Path
from typing import Any

from jiggen.errors import InputError
from jiggen.pattern.checks import conflicts
from jiggen.pattern.document import Document, read_document
from jiggen.pattern.faults import UNITS, Fault, Faults, Unit, key_text, nearest, quoted, word
from jiggen.pattern.limits import MAX_GROUPS, MAX_STEPS
from jiggen.pattern.model import Area, Drill, Group, Hole, Pattern, Screw, Step
from jiggen.pattern.parts import read_part
from jiggen.pattern.positions import KeyPath
from jiggen.pattern.schema import (
    AreaShape,
    DrillShape,
    FileShape,
    GroupShape,
    HoleShape,
    ScrewShape,
    StepShape,
)

_UNSAID = -1.0  # stands for a plate that neither [screw] nor the hole gives: 0 is a thickness

_DRILL_KEYS = (
    ("drill diameter for plain cores", attrgetter("plain"), "diameter", "plain"),
    ("drill diameter under metal", attrgetter("metal"), "diameter", "metal"),
    ("drill depth", attrgetter("depth"), "depth"),
)
_SCREW_KEYS: tuple[tuple[str, Callable[[Screw], object], str], ...] = (
    ("plate thickness", lambda screw: screw.plate != _UNSAID, "plate"),
    ("screw length", attrgetter("lengths"), "lengths"),
)


def read_pattern(path: str | os.PathLike[str]) -> Pattern:
    """Read the pattern file at `path`; every length of the result is in mm.

    Raises InputError with every fault of the file at once, in the file's order. Each finding
    has `where` as ``file:line:column`` (counted from 1) and `key` as a path whose indexes
    are counted from 1 too: ``group[1].hole[3].at`` is the third hole of the first group.
    Values in messages stand in the file's own unit.  The codes, each after ``pattern.``:

    file      missing, folder, unreadable, too-big, not-utf8, syntax
    keys      missing-key, unknown-key, type, value, not-finite, format, name, note
    measures  length, diameter, depth, boot, screw, area
    holes     both-sides, same-hole, spacing, no-drill, no-screw, too-many-holes
    groups    no-group, empty-group, too-many-groups, same-name, shift, steps
    """
    document = read_document(Path(path))
    pattern, faults = assemble(document)
    if faults:
        raise InputError(document.findings(faults))
    return pattern


def assemble(document: Document) -> tuple[Pattern, Faults]:
    """The pattern and its faults; with any fault the pattern only serves to find more."""
    faults = Faults()
    unit = _unit(document.data)
    file = read_part(FileShape, document.data, (), unit, faults)
    if not file.group and ("group",) not in faults:
        hint = "Write a table headed [[group]] for each set of holes that moves together."
        faults += [Fault(("group",), "no-group", "there is no group of holes", hint)]
    if len(file.group) > MAX_GROUPS:
        hint = f"At most {MAX_GROUPS} are allowed; only these were looked at."
        faults += [Fault(("group",), "too-many-groups", f"{len(file.group)} groups", hint)]
    pattern = Pattern(
        name=file.name,
        note=file.note,
        units="in" if unit.name == "in" else "mm",
        boot=file.boot,
        pair=file.pair,
        groups=tuple(
            _group(raw, ("group", g), file, unit, faults)
            for g, raw in enumerate(file.group[:MAX_GROUPS])
        ),
        source=document.file,
        area=_area(file.area, unit, faults),
    )
    faults += _undrilled(pattern, faults)
    faults += _unscrewed(pattern, "screw" in document.data, faults)
    faults += _same_names(pattern, faults)
    faults += conflicts(pattern, faults)
    return pattern, faults


def _unit(data: dict[str, Any]) -> Unit:
    """The file's unit; where it is misspelt, the one most likely meant."""
    said = data.get("units", "mm")
    return UNITS[nearest(word(said).lower(), UNITS, cutoff=0.3) or "mm"]


def _area(raw: object, unit: Unit, faults: Faults) -> Area | None:
    if raw is None:
        return None
    area = read_part(AreaShape, raw, ("area",), unit, faults)
    return Area(*area.x, area.half_width)


def _group(raw: object, path: KeyPath, file: FileShape, unit: Unit, faults: Faults) -> Group:
    group = read_part(GroupShape, raw, path, unit, faults)
    steps = tuple(
        Step(step.start, step.shift)
        for s, item in enumerate(group.steps)
        for step in [read_part(StepShape, item, (*path, "steps", s), unit, faults)]
    )
    holes = tuple(
        _hole(item, (*path, "hole", h), file, unit, faults) for h, item in enumerate(group.hole)
    )
    if isinstance(raw, dict):
        faults += _placing(raw, path)
        if not holes and (*path, "hole") not in faults:
            hint = "Write a table headed [[group.hole]] under the group for each of its holes."
            faults += [Fault((*path, "hole"), "empty-group", "the group has no hole", hint)]
    faults += _unordered(steps, path, unit, faults)
    return Group(group.name, group.datum, group.shift or 0.0, steps, holes)


def _hole(raw: object, path: KeyPath, file: FileShape, unit: Unit, faults: Faults) -> Hole:
    hole = read_part(HoleShape, raw, path, unit, faults)
    if hole.both_sides and hole.at[1] == 0 and (*path, "at") not in faults:
        faults += [
            Fault(
                (*path, "both_sides"),
                "both-sides",
                "the hole lies on the centre line (y = 0) and has no other side",
                "Take both_sides out, or give y.",
            )
        ]
    given = "screw" in file.model_fields_set | hole.model_fields_set
    screw = _screw(hole.screw, file.screw) if given else None
    return Hole(hole.at, hole.both_sides, _drill(hole.drill, file.drill), screw)


def _drill(own: DrillShape, default: DrillShape) -> Drill:
    """`own` filled up from `default`; 0 stands for what neither says."""
    return Drill(
        plain=own.diameter.plain or default.diameter.plain or 0.0,
        metal=own.diameter.metal or default.diameter.metal or 0.0,
        depth=own.depth or default.depth or 0.0,
    )


def _screw(own: ScrewShape, default: ScrewShape) -> Screw:
    """`own` filled up from `default`; `_UNSAID` and no length stand for what neither says."""
    plates = (plate for plate in (own.plate, default.plate) if plate is not None)
    return Screw(next(plates, _UNSAID), own.lengths or default.lengths or ())


def _placing(raw: dict[str, Any], path: KeyPath) -> Iterator[Fault]:
    """A group is placed by a shift or by steps: one of them, not both."""
    hint = "Write shift for a group with one place, steps for one that moves in steps."
    if "shift" in raw and "steps" in raw:
        yield Fault((*path, "steps"), "shift", "the group has both shift and steps", hint)
    elif "shift" not in raw and "steps" not in raw:
        guess = nearest("shift", raw) or nearest("steps", raw)
        meant = f" Is {quoted(guess)} meant for it?" if guess else ""
        yield Fault((*path, "shift"), "shift", "the group has no shift and no steps", hint + meant)
    elif raw.get("steps") == []:
        yield Fault((*path, "steps"), "steps", "the list of steps is empty", hint)


def _unordered(
    steps: tuple[Step, ...], path: KeyPath, unit: Unit, doubts: Container[KeyPath]
) -> Iterator[Fault]:
    if len(steps) > MAX_STEPS:
        hint = f"At most {MAX_STEPS} are allowed."
        yield Fault((*path, "steps"), "steps", f"{len(steps)} steps", hint)
    for s, (before, step) in enumerate(pairwise(steps), start=1):
        pair = (*path, "steps", s - 1, "from"), (*path, "steps", s, "from")
        if step.start <= before.start and not any(start in doubts for start in pair):
            yield Fault(
                pair[1],
                "steps",
                f"{unit.show(step.start)} comes after {unit.show(before.start)}",
                "Steps are written from the shortest boot to the longest, each once.",
            )


def _undrilled(pattern: Pattern, doubts: Container[KeyPath]) -> Iterator[Fault]:
    for words, said, *keys in _DRILL_KEYS:
        lacking = [path for path, hole in _holes(pattern) if not said(hole.drill)]
        yield from _lack("no-drill", words, ("drill", *keys), lacking, doubts)


def _unscrewed(pattern: Pattern, table: bool, doubts: Container[KeyPath]) -> Iterator[Fault]:
    """What screws lack; without a [screw] `table` in the file, the hole is the place to look."""
    for words, said, key in _SCREW_KEYS:
        lacking = [path for path, hole in _holes(pattern) if hole.screw and not said(hole.screw)]
        yield from _lack("no-screw", words, ("screw", key), lacking, doubts, table=table)


def _holes(pattern: Pattern) -> Iterator[tuple[KeyPath, Hole]]:
    for g, group in enumerate(pattern.groups):
        for h, hole in enumerate(group.holes):
            yield ("group", g, "hole", h), hole


def _lack(
    code: str,
    words: str,
    keys: tuple[str, ...],
    lacking: list[KeyPath],
    doubts: Container[KeyPath],
    *,
    table: bool = True,
) -> Iterator[Fault]:
    """What holes lack: one fault a key, not one a hole, since the default would mend them all."""
    lacking = [path for path in lacking if (*path, *keys) not in doubts]
    if lacking and keys not in doubts:
        count = "1 hole" if len(lacking) == 1 else f"{len(lacking)} holes, the first"
        yield Fault(
            keys if table else (*lacking[0], *keys),
            code,
            f"no {words} is given for {count} {key_text(lacking[0])}",
            f"Give it in [{keys[0]}] for every hole, or in the hole's own {keys[0]}.",
        )


def _same_names(pattern: Pattern, doubts: Container[KeyPath]) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for g, group in enumerate(pattern.groups):
        path = ("group", g, "name")
        if path in doubts:
            continue
        first = seen.setdefault(group.name, g)
        if first != g:
            yield Fault(
                path,
                "same-name",
                f"group[{first + 1}] is called {quoted(group.name)} too",
                "Hole ids are made of the name: each group needs its own.",
            )
