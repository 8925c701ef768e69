"""A pattern as a person enters it, step by step, and as the text of a pattern file."""

import json
import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal, get_args

from jiggen.errors import Finding, InputError
from jiggen.inputs.faults import UNITS, Unit, did_you_mean, quoted
from jiggen.pattern.model import Datum, Drill, Group, Hole, Pair, Pattern, Screw, Step
from jiggen.pattern.read import parse_pattern
from jiggen.units import length, lengths
from jiggen.wording import CENTRE

Units = Literal["mm", "in"]

# Drill diameters: common practice, no source; depth and the 4.1 mm of a metal sheet: the test
# hole of ISO 6005:1991.
USUAL_DRILL = Drill(plain=3.6, metal=4.1, depth=9.0)

GROUP_HINT = (
    "Write name, datum, shift: toe,boot-toe,-8; or boot:shift for each step: "
    "toe,boot-centre,255:112.6,290:126.3."
)
_PLAIN = re.compile(r"\s*[+−-]?[0-9.,]+\s*")
BOTH = "both"
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


@dataclass(frozen=True)
class Draft:
    """What is known of a pattern so far; lengths in mm, `units` is what they are written in.

    Every hole has the one `drill`, whatever its own says.
    """

    name: str = "Plate"
    units: Units = "mm"
    boot: tuple[float, float] | None = None
    pair: Pair = "same"
    drill: Drill = USUAL_DRILL
    groups: tuple[Group, ...] = ()
    mark: str = CENTRE
    points: tuple[tuple[str, float], ...] = ()

    def text(self, head: Iterable[str] = ()) -> str:
        """The draft as the text of a pattern file."""
        groups = tuple(
            replace(group, holes=tuple(replace(hole, drill=self.drill) for hole in group.holes))
            for group in self.groups
        )
        about = (self.name, "", self.units, self.boot, self.pair, groups, "")
        pattern = Pattern(*about, mark=self.mark, points=self.points)
        return pattern_toml(pattern, head)

    def faults(self, *, finished: bool = False) -> tuple[Finding, ...]:
        """All that the reader of patterns finds wrong with the draft.

        Until it is `finished`, nothing is wrong with a group or a hole that is missing yet: a
        hole on the mounting mark stands in for it.
        """
        whole = self
        if not finished:
            groups = self.groups or (Group("stand-in", "boot-centre", 0.0, (), ()),)
            hole = Hole((0.0, 0.0), False, self.drill)
            filled = tuple(replace(group, holes=group.holes or (hole,)) for group in groups)
            whole = replace(self, groups=filled)
        try:
            parse_pattern(whole.text(), "")
        except InputError as error:
            return tuple(replace(finding, where="") for finding in error.findings)
        return ()


def measure(words: str, units: Units) -> float:
    """A length in mm: a plain number is in `units`.  Raises InputError ``units.length``."""
    return length(f"{words}{units}" if _PLAIN.fullmatch(words) else words)


def read_point(words: str, units: Units) -> tuple[str, float]:
    """A point of the boot and how far it is from the toe, ``pin-line:-15``.

    Raises InputError ``draft.point`` or ``units.length``.
    """
    name, colon, at = (word.strip() for word in words.partition(":"))
    if not (name and colon):
        hint = "Write its name, and mm from the boot's toe, + towards the tip: pin-line:-15."
        raise InputError.of("draft.point", f"{quoted(words)} is not a valid point", hint=hint)
    return name, measure(at, units)


def read_group(words: str, units: Units, points: Iterable[str] = ()) -> Group:
    """The group without holes that ``name,datum,shift`` describes; a step is ``boot:shift``.

    The datum may be one of `points` too.

    Raises InputError ``draft.group``, ``draft.datum`` or ``units.length``.
    """
    parts = [word.strip() for word in words.split(",", 2)]
    if len(parts) < 3:
        raise InputError.of("draft.group", f"{quoted(words)} is not a valid group", hint=GROUP_HINT)
    shift, steps = read_shift(parts[2], units)
    return Group(parts[0], read_datum(parts[1], points), shift, steps, ())


def read_datum(word: str, points: Iterable[str] = ()) -> str:
    """What a group moves with, one of `points` too.  Raises InputError ``draft.datum``."""
    choices = (*get_args(Datum), *points)
    if word in choices:
        return word
    message = f"{quoted(word)} is not a valid datum; allowed: {', '.join(choices)}"
    raise InputError.of("draft.datum", message, hint=did_you_mean(word, choices).rstrip())


def read_shift(words: str, units: Units) -> tuple[float, tuple[Step, ...]]:
    """The one shift that the words give, or the steps, each ``boot:shift``; the other is empty.

    Raises InputError ``draft.group`` or ``units.length``.
    """
    if ":" not in words:
        return measure(words, units), ()
    steps = []
    for word in words.split(";" if ";" in words else ","):
        start, colon, shift = word.partition(":")
        if not colon:
            message = f"{quoted(word)} is not a valid step"
            raise InputError.of("draft.group", message, hint=GROUP_HINT)
        steps.append(Step(measure(start, units), measure(shift, units)))
    return 0.0, tuple(steps)


def read_hole(words: str, units: Units) -> Hole:
    """A hole, or one on each side: ``12, 21`` or ``12, 21, both``.

    Raises InputError ``draft.hole``.
    """
    place = words.strip()
    both = place.lower().endswith(BOTH)
    place = (place[: -len(BOTH)] if both else place).rstrip(" \t,;/")
    try:
        x, y = lengths(f"{place}{units}" if place[-1:].isdigit() else place, 2)
    except InputError as error:
        message = f"{quoted(words)} is not a valid position of a hole"
        hint = "Write x, y, and both for one on each side: 12, 21, both; or 12,5/21/both."
        raise InputError.of("draft.hole", message, hint=hint) from error
    return Hole((x, y), both, USUAL_DRILL)


def add_holes(groups: Iterable[Group], holes: Iterable[str], units: Units) -> tuple[Group, ...]:
    """The groups with the holes that name them: ``toe,12,21,both``.

    Raises InputError, the faults of every hole at once.
    """
    found: dict[str, list[Hole]] = {group.name: [] for group in groups}
    faults: list[Finding] = []
    for words in holes:
        name, _, place = words.partition(",")
        try:
            if name.strip() not in found:
                message = f"{quoted(words)} is for a group that is not given"
                hint = "Write group, x, y, and both for one on each side: toe,12,21,both."
                raise InputError.of("draft.hole", message, hint=hint)
            found[name.strip()].append(read_hole(place, units))
        except InputError as error:
            faults += error.findings
    if faults:
        raise InputError(faults)
    return tuple(replace(group, holes=tuple(found[group.name])) for group in groups)


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
        datum = DATUMS.get(group.datum, "a point of the boot")
        if pattern.mark != CENTRE:
            datum = "on the mark" if group.datum == pattern.mark else "a point of the boot"
        lines += ["", *_group(group, datum, drill, screw, unit)]
    return "\n".join([*lines, ""])


def text_of(pattern: Pattern) -> str:
    """The words of the file that `pattern` was read from, or new ones if it was made otherwise.

    Raises InputError where it holds what no pattern file may.
    """
    if pattern.text and parse_pattern(pattern.text, pattern.source) == pattern:
        return pattern.text
    text = pattern_toml(pattern)
    parse_pattern(text, pattern.source)
    return text


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
    if pattern.points:
        points = _inline({name: _number(at, unit) for name, at in pattern.points})
        yield _line(f"points = {points}", "of the boot, from its toe, + to the tip")
    if pattern.mark != CENTRE:
        yield _line(f"mark = {_text(pattern.mark)}", "what lies on the ski's mounting mark")


def _defaults(pattern: Pattern, drill: Values, screw: Values, unit: Unit) -> Iterator[str]:
    yield _line("[drill]", "for every hole that gives nothing else")
    sizes = _inline({key: drill[key] for key in ("plain", "metal")})
    yield f"diameter = {sizes}   # by what lies under the top sheet"
    depth = "of the full diameter below the top sheet; the drill's point goes deeper"
    yield _line(f"depth = {drill['depth']}", depth)
    if drill["unusual"] == "true":
        yield _line("unusual = true", "these drills and depths are meant")
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


def _group(group: Group, datum: str, drill: Values, screw: Values, unit: Unit) -> Iterator[str]:
    yield "[[group]]"
    yield _line(f"name = {_text(group.name)}", "hole ids are made of it")
    yield _line(f"datum = {_text(group.datum)}", datum)
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
            yield _line("  both_sides = true", "and at -y")
        own = _differing(_drill(hole.drill, unit), drill)
        sizes: Values = {key: own.pop(key) for key in ("plain", "metal") if key in own}
        if own or sizes:
            yield f"  drill = {_inline(({'diameter': _inline(sizes)} if sizes else {}) | own)}"
        if own := _differing(_screw(hole.screw, unit), screw):
            yield f"  screw = {_inline(own)}"


def _drill(drill: Drill, unit: Unit) -> Values:
    sizes = {key: _number(getattr(drill, key), unit) for key in ("plain", "metal", "depth")}
    return sizes | {"unusual": str(drill.unusual).lower()}


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


def _line(value: str, comment: str) -> str:
    return f"{value.ljust(COLUMN - 1)} # {comment}"


def _list(values: Iterable[float], unit: Unit) -> str:
    return f"[{', '.join(_number(value, unit) for value in values)}]"


def _number(value: float, unit: Unit) -> str:
    """Digits enough that reading gives `value` (mm) back to a nanometre."""
    return repr(round(value / unit.mm, 9 if unit.mm == 1.0 else 12) + 0.0)


def _text(words: str) -> str:
    # JSON's strings are TOML's, but for DEL, which no checked text holds.
    return json.dumps(words, ensure_ascii=False)
