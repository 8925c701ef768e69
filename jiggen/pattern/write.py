"""A pattern as the text of a pattern file, with the comments that a reader needs."""

from __future__ import annotations

import json
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator

from jiggen.errors import InputError
from jiggen.inputs.faults import UNITS, Unit
from jiggen.pattern.model import Drill, Group, Pattern, Screw

WIDTH = 96  # characters of a comment's line
COLUMN = 34  # where the comment beside a value begins
HOW_TO_READ = (
    "How to read a pattern: the mounting mark of the ski is x = 0, and x grows towards the tip. "
    "The centre line is y = 0, and y grows to the left, seen from the tail. Lengths are in {unit}."
)
DATUMS = {
    "boot-toe": "half a boot sole in front of the mark",
    "boot-heel": "half a boot sole behind the mark",
    "boot-centre": "the mounting mark itself: the boot does not move these holes",
}
PAIRS = {
    "same": "both skis have the same holes",
    "mirrored": "the holes are the left ski's; the right ski's are mirrored",
}
Values = dict[str, str]
"""Keys of a table, each with its value as TOML."""


def pattern_toml(pattern: Pattern, head: Iterable[str] = (), drill_note: str = "") -> str:
    """`pattern` as TOML that `read_pattern` reads back to the same values.

    `head` are paragraphs that come first, as comments; `drill_note` is one above ``[drill]``.
    Lengths (mm in `pattern`) are written in the pattern's unit, to a nanometre in mm.
    Raises InputError ``pattern.no-group`` for a pattern without any hole.
    """
    unit = UNITS[pattern.units]
    holes = [hole for group in pattern.groups for hole in group.holes]
    if not holes:
        raise InputError.of("pattern.no-group", "there is no hole to write")
    drill = _drill(Counter(hole.drill for hole in holes).most_common(1)[0][0], unit)
    # [screw] applies to all: there is none where a hole has none.
    screws = Counter(hole.screw for hole in holes)
    screw = {} if None in screws else _screw(screws.most_common(1)[0][0], unit)
    lines = [
        *_comments((*head, HOW_TO_READ.format(unit="mm" if unit.mm == 1.0 else "inches"))),
        "",
        *_opening(pattern, unit),
        "",
        *_comments((drill_note,) if drill_note else ()),
        *_defaults(pattern, drill, screw, unit),
    ]
    for group in pattern.groups:
        lines += ["", *_group(group, drill, screw, unit)]
    return "\n".join([*lines, ""])


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


def _defaults(pattern: Pattern, drill: Values, screw: Values, unit: Unit) -> Iterator[str]:
    yield _line("[drill]", "for every hole that gives nothing else")
    sizes = _inline({key: drill[key] for key in ("plain", "metal")})
    yield f"diameter = {sizes}   # by what lies under the top sheet"
    depth = "of the full diameter below the top sheet; the drill's point goes deeper"
    yield _line(f"depth = {drill['depth']}", depth)
    if screw:
        yield ""
        yield _line("[screw]", "for every hole that gives nothing else")
        plate = "thickness at the hole; a screw's length counts from its top"
        yield _line(f"plate = {screw['plate']}", plate)
        yield _line(f"lengths = {screw['lengths']}", "screws at hand")
    if area := pattern.area:
        yield ""
        yield _line("[area]", "where on the ski holes are allowed")
        yield _line(f"x = {_list((area.x_from, area.x_to), unit)}", "from the mounting mark")
        yield _line(f"half_width = {_number(area.half_width, unit)}", "to either side")


def _group(group: Group, drill: Values, screw: Values, unit: Unit) -> Iterator[str]:
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
        origin = "of the group's own x = 0 from the datum, + towards the tip"
        yield _line(f"shift = {_number(group.shift, unit)}", origin)
    for hole in group.holes:
        yield ""
        yield "  [[group.hole]]"
        yield f"  at = {_list(hole.at, unit)}"
        if hole.both_sides:
            yield f"  {_line('both_sides = true', 'and at -y', COLUMN - 2)}"
        own = _differing(_drill(hole.drill, unit), drill)
        sizes: Values = {key: own.pop(key) for key in ("plain", "metal") if key in own}
        if own or sizes:
            yield f"  drill = {_inline(({'diameter': _inline(sizes)} if sizes else {}) | own)}"
        if own := _differing(_screw(hole.screw, unit), screw):
            yield f"  screw = {_inline(own)}"


def _drill(drill: Drill, unit: Unit) -> Values:
    return {key: _number(getattr(drill, key), unit) for key in ("plain", "metal", "depth")}


def _screw(screw: Screw | None, unit: Unit) -> Values:
    if screw is None:
        return {}
    return {"plate": _number(screw.plate, unit), "lengths": _list(screw.lengths, unit)}


def _differing(own: Values, usual: Values) -> Values:
    return {key: value for key, value in own.items() if usual.get(key) != value}


def _inline(values: Values) -> str:
    return f"{{ {', '.join(f'{key} = {value}' for key, value in values.items())} }}"


def _comments(paragraphs: Iterable[str]) -> Iterator[str]:
    """The paragraphs as comment lines, an empty comment between two.

    What cannot be printed becomes a mark: file names hold anything.
    """
    for number, words in enumerate(paragraphs):
        if number:
            yield "#"
        plain = "".join(c if c.isprintable() else "\ufffd" for c in " ".join(words.split()))
        lines = textwrap.wrap(plain, WIDTH - 2, break_long_words=False)
        yield from (f"# {line}" for line in lines)


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
