"""A pattern as a person enters it, step by step, before it is written to a file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

from jiggen.errors import Finding, InputError
from jiggen.inputs.faults import did_you_mean, quoted
from jiggen.pattern.model import Datum, Drill, Group, Hole, Pair, Pattern, Step
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import pattern_toml
from jiggen.units import length

Units = Literal["mm", "in"]

# Drill diameters: common practice, no source; depth and the 4.1 mm of a metal sheet: the test
# hole of ISO 6005:1991.
USUAL_DRILL = Drill(plain=3.6, metal=4.1, depth=9.0)

GROUP_HINT = (
    "Write name, datum, shift: toe,boot-toe,-8; or boot:shift for each step: "
    "toe,boot-centre,255:112.6,290:126.3."
)
_PLAIN = re.compile(r"\s*[+−-]?[0-9.]+\s*")
_SEPARATOR = re.compile(r"[\s,;]+")


@dataclass(frozen=True)
class Draft:
    """What is known of a pattern so far; lengths in mm, `units` is what they are written in.

    Every hole has the one `drill`.
    """

    name: str = "Plate"
    units: Units = "mm"
    boot: tuple[float, float] | None = None
    pair: Pair = "same"
    drill: Drill = USUAL_DRILL
    groups: tuple[Group, ...] = ()

    def with_hole(self, at: tuple[float, float], both_sides: bool) -> Draft:
        """The draft with one more hole in its last group."""
        *before, last = self.groups
        holes = (*last.holes, Hole(at, both_sides, self.drill))
        return replace(self, groups=(*before, replace(last, holes=holes)))

    def text(self, head: Iterable[str] = ()) -> str:
        """The draft as the text of a pattern file."""
        groups = tuple(
            replace(group, holes=tuple(replace(hole, drill=self.drill) for hole in group.holes))
            for group in self.groups
        )
        pattern = Pattern(self.name, "", self.units, self.boot, self.pair, groups, "")
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


def measure(words: str, units: Units, key: str = "") -> float:
    """A length in mm: a plain number is in `units`.  Raises InputError ``units.length``."""
    return length(f"{words}{units}" if _PLAIN.fullmatch(words) else words, key)


def read_group(words: str, units: Units, key: str = "") -> Group:
    """The group without holes that ``name,datum,shift`` describes; a step is ``boot:shift``.

    Raises InputError ``draft.group`` or ``units.length``.
    """
    parts = [word.strip() for word in words.split(",")]
    if len(parts) < 3:
        message = f"{quoted(words)} is not a valid group"
        raise InputError.of("draft.group", message, key=key, hint=GROUP_HINT)
    shift, steps = read_shift(parts[2:], units, key)
    return Group(parts[0], read_datum(parts[1], key), shift, steps, ())


def read_datum(word: str, key: str = "") -> Datum:
    """What a group moves with.  Raises InputError ``draft.datum``."""
    choices: tuple[Datum, ...] = get_args(Datum)
    for datum in choices:
        if word == datum:
            return datum
    message = f"{quoted(word)} is not a valid datum; allowed: {', '.join(choices)}"
    hint = did_you_mean(word, choices).rstrip()
    raise InputError.of("draft.datum", message, key=key, hint=hint)


def read_shift(words: Sequence[str], units: Units, key: str = "") -> tuple[float, tuple[Step, ...]]:
    """The one shift that the words give, or the steps, each ``boot:shift``; the other is empty.

    Raises InputError ``draft.group`` or ``units.length``.
    """
    if len(words) == 1 and ":" not in words[0]:
        return measure(words[0], units, key), ()
    steps = []
    for word in words:
        start, colon, shift = word.partition(":")
        if not colon:
            message = f"{quoted(word)} is not a valid step"
            raise InputError.of("draft.group", message, key=key, hint=GROUP_HINT)
        steps.append(Step(measure(start, units, key), measure(shift, units, key)))
    return 0.0, tuple(steps)


def read_place(words: str, units: Units, key: str = "") -> tuple[tuple[float, float], bool]:
    """Where a hole is, and whether there is one on each side: ``12, 21`` or ``12, 21, both``.

    Raises InputError ``draft.hole`` or ``units.length``.
    """
    x, y, *rest = [*_SEPARATOR.split(words.strip()), "", ""]
    both = [word.lower() for word in rest if word]
    if not (x and y) or both not in ([], ["both"]):
        hint = "Write x, y, and both for one on each side: 12, 21, both."
        message = f"{quoted(words)} is not a valid position of a hole"
        raise InputError.of("draft.hole", message, key=key, hint=hint)
    return (measure(x, units, key), measure(y, units, key)), bool(both)


def add_holes(
    groups: Iterable[Group], holes: Iterable[str], units: Units, drill: Drill, key: str
) -> tuple[Group, ...]:
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
                raise InputError.of("draft.hole", message, key=key, hint=hint)
            at, both = read_place(place, units, key)
        except InputError as error:
            faults += error.findings
        else:
            found[name.strip()].append(Hole(at, both, drill))
    if faults:
        raise InputError(faults)
    return tuple(replace(group, holes=tuple(found[group.name])) for group in groups)
