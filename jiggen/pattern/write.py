"""A pattern as the text of a pattern file, with the comments that a reader needs."""

from __future__ import annotations

import json
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator

from jiggen.errors import Finding, InputError
from jiggen.inputs.faults import UNITS, Unit
from jiggen.pattern.model import Area, Drill, Group, Hole, Pattern, Screw

WIDTH = 96  # characters of a comment's line
COLUMN = 34  # where the comment beside a value begins
HOW_TO_READ = (
    "How to read a pattern: the mounting mark of the ski is x = 0, and x grows towards the tip. "
    "The centre line is y = 0, and y grows to the left, seen from the tail. Lengths are in {unit}."
)
UNIT_NAMES = {"mm": "mm", "in": "inches"}
DATUMS = {
    "boot-toe": "half a boot sole in front of the mark",
    "boot-heel": "half a boot sole behind the mark",
    "boot-centre": "the mounting mark itself: the boot does not move these holes",
}
PAIRS = {
    "same": "both skis have the same holes",
    "mirrored": "the holes are the left ski's; the right ski's are mirrored",
}


def pattern_toml(pattern: Pattern, head: Iterable[str] = (), drill_note: str = "") -> str:
    """`pattern` as TOML that `read_pattern` reads back to the same values.

    `head` are paragraphs that come first, as comments; `drill_note` is one above ``[drill]``.
    Lengths (mm in `pattern`) are written in the pattern's unit, to a nanometre in mm.
    Raises InputError ``pattern.no-group`` for a pattern without any hole.
    """
    unit = UNITS[pattern.units]
    holes = [hole for group in pattern.groups for hole in group.holes]
    if not holes:
        raise InputError(Finding("pattern.no-group", "there is no hole to write"))
    drill = Counter(hole.drill for hole in holes).most_common(1)[0][0]
    screw = _usual_screw(holes)
    blocks = [
        _comments((*head, HOW_TO_READ.format(unit=UNIT_NAMES[unit.name]))),
        list(_opening(pattern, unit)),
        [*_comments((drill_note,) if drill_note else ()), *_drill_table(drill, unit)],
        list(_screw_table(screw, unit)),
        list(_area_table(pattern.area, unit)),
        *(list(_group(group, drill, screw, unit)) for group in pattern.groups),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _opening(pattern: Pattern, unit: Unit) -> Iterator[str]:
    yield "format = 1"
    yield _line(f"name = {_text(pattern.name)}", "engraved on the jig")
    if pattern.note:
        yield f"note = {_text(pattern.note)}"
    if pattern.units != "mm":
        yield _line(f"units = {_text(pattern.units)}", "of every length in this file")
    if pattern.boot:
        yield _line(f"boot = {_list(pattern.boot, unit)}", "boot sole lengths this pattern serves")
    yield _line(f"pair = {_text(pattern.pair)}", PAIRS[pattern.pair])


def _drill_table(drill: Drill, unit: Unit) -> Iterator[str]:
    plain, metal = _number(drill.plain, unit), _number(drill.metal, unit)
    yield _line("[drill]", "for every hole that gives nothing else")
    yield f"diameter = {{ plain = {plain}, metal = {metal} }}   # by what lies under the top sheet"
    depth = f"depth = {_number(drill.depth, unit)}"
    yield _line(depth, "of the full diameter below the top sheet; the drill's point goes deeper")


def _usual_screw(holes: Iterable[Hole]) -> Screw | None:
    """The most frequent screw, or None where a hole has none: [screw] applies to all."""
    usual = Counter(hole.screw for hole in holes)
    return None if None in usual else usual.most_common(1)[0][0]


def _screw_table(screw: Screw | None, unit: Unit) -> Iterator[str]:
    if screw:
        yield _line("[screw]", "for every hole that gives nothing else")
        plate = f"plate = {_number(screw.plate, unit)}"
        yield _line(plate, "thickness at the hole; a screw's length counts from its top")
        yield _line(f"lengths = {_list(screw.lengths, unit)}", "screws at hand")


def _area_table(area: Area | None, unit: Unit) -> Iterator[str]:
    if area:
        yield _line("[area]", "where on the ski holes are allowed")
        yield _line(f"x = {_list((area.x_from, area.x_to), unit)}", "from the mounting mark")
        yield _line(f"half_width = {_number(area.half_width, unit)}", "to either side")


def _group(group: Group, usual: Drill, screw: Screw | None, unit: Unit) -> Iterator[str]:
    yield "[[group]]"
    yield _line(f"name = {_text(group.name)}", "hole ids are made of it")
    yield _line(f"datum = {_text(group.datum)}", DATUMS[group.datum])
    if group.steps:
        yield _line("steps = [", "each holds from its boot length up to the next one's")
        for step in group.steps:
            start, shift = _number(step.start, unit), _number(step.shift, unit)
            yield f"  {{ from = {start}, shift = {shift} }},"
        yield "]"
    else:
        shift = f"shift = {_number(group.shift, unit)}"
        yield _line(shift, "of the group's own x = 0 from the datum, + towards the tip")
    for hole in group.holes:
        yield from _hole(hole, usual, screw, unit)


def _hole(hole: Hole, usual: Drill, screw: Screw | None, unit: Unit) -> Iterator[str]:
    yield ""
    yield "  [[group.hole]]"
    yield f"  at = {_list(hole.at, unit)}"
    if hole.both_sides:
        yield f"  {_line('both_sides = true', 'and at -y', COLUMN - 2)}"
    own = _own_drill(hole.drill, usual, unit)
    if own:
        yield f"  drill = {own}"
    if hole.screw and hole.screw != screw:
        yield f"  screw = {_own_screw(hole.screw, screw, unit)}"


def _own_drill(drill: Drill, usual: Drill, unit: Unit) -> str:
    """What of `drill` differs from the usual one, as an inline table; nothing when nothing does."""
    sizes = [
        f"{key} = {_number(getattr(drill, key), unit)}"
        for key in ("plain", "metal")
        if getattr(drill, key) != getattr(usual, key)
    ]
    keys = [f"diameter = {{ {', '.join(sizes)} }}"] if sizes else []
    if drill.depth != usual.depth:
        keys.append(f"depth = {_number(drill.depth, unit)}")
    return f"{{ {', '.join(keys)} }}" if keys else ""


def _own_screw(screw: Screw, usual: Screw | None, unit: Unit) -> str:
    """What of `screw` differs from the usual one, or all of it, as an inline table."""
    keys = []
    if not usual or screw.plate != usual.plate:
        keys.append(f"plate = {_number(screw.plate, unit)}")
    if not usual or screw.lengths != usual.lengths:
        keys.append(f"lengths = {_list(screw.lengths, unit)}")
    return f"{{ {', '.join(keys)} }}"


def _comments(paragraphs: Iterable[str]) -> list[str]:
    """The paragraphs as comment lines, an empty comment between two."""
    wrapped = [
        "\n".join(
            f"# {line}" for line in textwrap.wrap(_plain(words), WIDTH - 2, break_long_words=False)
        )
        for words in paragraphs
    ]
    return ["\n#\n".join(wrapped)] if wrapped else []


def _plain(words: str) -> str:
    """`words` on one line, with a mark for what cannot be printed: file names hold anything."""
    return "".join(c if c.isprintable() else "\ufffd" for c in " ".join(words.split()))


def _line(value: str, comment: str, column: int = COLUMN) -> str:
    return f"{value.ljust(column - 1)} # {comment}"


def _list(values: Iterable[float], unit: Unit) -> str:
    return f"[{', '.join(_number(value, unit) for value in values)}]"


def _number(value: float, unit: Unit) -> str:
    """Digits enough that reading gives `value` (mm) back to a nanometre."""
    return repr(round(value / unit.mm, 9 if unit.mm == 1.0 else 12) + 0.0)


def _text(words: str) -> str:
    # JSON's strings are TOML's, but for DEL, which no checked text holds.
    return json.dumps(words, ensure_ascii=False)
