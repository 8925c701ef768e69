"""Every word on the run sheet but the cautions, in one place: translate here, and only here.

A value in braces is filled in by the sheet and must stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

WORDS: Mapping[str, str] = MappingProxyType(
    {
        "title": "Run sheet: {pairs} pairs",
        "kind": "Run sheet",
        "heading": "{pairs} on {jigs}",
        "pairs.one": "1 pair",
        "pairs.many": "{count} pairs",
        "jigs.one": "1 jig",
        "jigs.many": "{count} jigs",
        "skis.one": "1 ski",
        "skis.many": "{count} skis",
        "head.skis": "Skis to clamp",
        "head.drills": "Drills, each with a stop",
        "head.date": "Date",
        "head.by": "Drilled by",
        # what must not be drilled
        "stop.heading": "DO NOT DRILL: no verified jig",
        "stop.line": "{ticket}",
        "stop.reason": "jig {jig}, {pattern}, boot {boot}: {reason}",
        "stop.row": "DO NOT DRILL: the other ski has no verified jig",
        # how to work
        "steps.heading": "For each ski",
        "steps.order": "Keep to the order of this sheet: it changes jig, drill and stop the fewest "
        "times. The second ski starts with the setting that the first one ended with.",
        "steps.ticket": "Compare ticket, boot, shift and core with the ski and with what is "
        "engraved on the jig.",
        "steps.mark": "Fix the ski. Lay the jig on, arrow to the tip, turn the knobs until all "
        "four rails touch, and slide its line onto the mounting mark. Lock, and look again.",
        "steps.readings": "Read all four rails: left and right must agree at each station, and be "
        "near the numbers given (half the ski's width where it was measured).",
        "steps.drill": "Set drill and stop by the number, drill all holes of that setting, and "
        "tick its box. Then the next number. Only then take the jig off.",
        "steps.test": "Drill a scrap board first with every new setting, and measure its depth.",
        # the list of jigs
        "list.heading": "Jigs in the order they are used",
        "list.number": "jig",
        "list.what": "what it is",
        "list.folder": "folder with its files",
        "list.work": "for",
        "list.ready": "ready",
        # one jig
        "jig.heading": "Jig {number}: {pattern}",
        "jig.engraved": "engraved: {words}",
        "jig.facts": "{boots} · skis {ski} mm wide",
        "jig.folder": "{folder}",
        "jig.boot": "boot {boot} mm",
        "jig.boots": "any boot from {least} to {most} mm",
        "jig.ladder": "boots from {least} to {most} mm, by the line on the mark",
        "jig.lines": "Set each half by itself: slide it until its line, given with each pair, lies "
        "on the ski's mark, seen straight down at that edge of its tongue. + and − count lines on "
        "from the number, + towards longer boots. Read the line twice: on a wrong one every hole "
        "is in the wrong place.",
        "jig.bands": "Two numbers, {band}, are one line for all boots between them.",
        "jig.side": "{side} skis only",
        "shift.tip": "shift {shift} mm to the tip",
        "shift.tail": "shift {shift} mm to the tail",
        "set.drill": "drill {drill}",
        "set.tip": "stop {length} to the tip",
        "set.corners": "({length} to the corners)",
        "set.depth": "{depth} deep",
        "set.every": "every hole",
        "row.ticket": "ticket",
        "row.set": "set to",
        "row.rails": "rails read about",
        "row.ends": "toe / heel",
        "row.left": "left ski",
        "row.right": "right ski",
        "row.screws": "screws",
        "row.boot": "boot {boot}",
        "row.lines": "On the mark: {lines}",
        "row.half": "{half} half {line}",
        "row.every": "each half {line}",
        "row.one": "its one line",
        "row.line": "line {line}, {edge} edge",
        "row.any": "any boot",
        "row.shift": "shift {shift}",
        "row.rail": "{toe} / {heel}",
        "row.elsewhere": "on jig {jig}",
        "row.screw": "{count} × {length}",
        "row.unknown": "not given",
        "mind.all": "Mind, every pair: {words}",
        "mind": "Mind: {words}",
        "mind.between": "boot {boot} lies between two lines: holes come up to {off} mm from the "
        "pattern's place.",
        "mind.warning": "{holes}: {message}. {hint}",
        "mind.clear": "old holes are clear of these.",
        "mind.reuse": "{new} takes the place of an old hole ({distance} mm off): see that the "
        "drill does not wander.",
    }
)


def say(key: str, **values: object) -> str:
    """The words of `key` with `values` filled in.  Raises KeyError for an unknown key."""
    return WORDS[key].format(**values)


def counted(what: str, count: int) -> str:
    """A number of pairs, skis or jigs in words."""
    return say(f"{what}.one") if count == 1 else say(f"{what}.many", count=count)
