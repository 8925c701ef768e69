"""What a survey says that cannot be: unknown holes, sides that exclude one another, no origin."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping

from jiggen.inputs.faults import Fault, did_you_mean, quoted
from jiggen.inputs.places import KeyPath
from jiggen.measure.survey.model import OPPOSITE, Survey
from jiggen.measure.words import listed

_NAME = re.compile(r"[A-Za-z0-9_]{1,12}")
_ACROSS = {"left", "right"}


def bad_names(holes: Mapping[str, object]) -> Iterator[Fault]:
    """Faults of ``[holes]`` as a whole and of the holes' names."""
    if len(holes) < 2:
        said = "there are no holes" if not holes else "there is only one hole"
        hint = "Write a line for each hole under [holes], its name and diameter: a = 5.5"
        yield Fault(("holes",), "no-hole", said, hint)
    for name in holes:
        if name in OPPOSITE:
            hint = "front, rear, left and right mean the plate's edges: call the hole otherwise."
            yield Fault(("holes", name), "name", f"a hole cannot be called {quoted(name)}", hint)
        elif not _NAME.fullmatch(name):
            hint = "Up to 12 letters, digits and underscores: a, b2, toe_left."
            yield Fault(("holes", name), "name", f"a hole is called {quoted(name)}", hint)


def split(key: str, holes: Collection[str]) -> tuple[tuple[str, str] | None, list[Fault]]:
    """The two ends that a key such as ``a-b`` or ``front-a`` names, or what is wrong with it."""
    path: KeyPath = ("distances", key)
    ends = tuple(key.split("-"))
    if len(ends) != 2:
        hint = "Write the names of both holes with a hyphen between them: a-b"
        return None, [Fault(path, "value", f"{quoted(key)} does not name two holes", hint)]
    first, second = ends
    wrong = [fault for end in ends for fault in _unknown(end, holes, path, edges=True)]
    if not wrong and first == second:
        hint = "Write the names of two different holes."
        wrong = [Fault(path, "same-hole", f"{first} is measured to itself", hint)]
    if not wrong and first in OPPOSITE and second in OPPOSITE and OPPOSITE[first] != second:
        said = f"the {first} and the {second} edge meet in a corner and have no distance"
        wrong = [Fault(path, "edges", said, "Measure front to rear, or left to right.")]
    return (None if wrong else (first, second)), wrong


def bad_readings(survey: Survey) -> Iterator[Fault]:
    """Faults of ``[distances]`` as a whole."""
    if not survey.readings:
        hint = "Write a line for each pair measured under [distances]: a-b = { outside = 45.5 }"
        yield Fault(("distances",), "no-distance", "there are no distances", hint)


def bad_plate(survey: Survey) -> Iterator[Fault]:
    """Faults of ``[plate]``: names, and what it must say so that a place can be told."""
    named: dict[str, tuple[str, ...]] = {
        "front": survey.front,
        "rear": survey.rear,
        "left": survey.left,
        "right": survey.right,
        "pairs": tuple(name for pair in survey.pairs for name in pair),
        "centre_line": survey.on_centre_line,
        "origin": survey.origin,
        "middle": survey.middle,
        "along": survey.along or (),
    }
    sound = True
    for key, names in named.items():
        path: KeyPath = ("plate", key)
        edges = key in ("origin", "middle")
        for name in dict.fromkeys(names):
            for fault in _unknown(name, survey.holes, path, edges=edges):
                sound = False
                yield fault
    if sound:
        yield from _sides(survey)
        yield from _twins(survey)
        yield from _frame(survey)


def _sides(survey: Survey) -> Iterator[Fault]:
    for key, names, other, others in (
        ("rear", survey.rear, "front", survey.front),
        ("right", survey.right, "left", survey.left),
    ):
        if both := [name for name in names if name in others]:
            said = f"{listed(both)} cannot be {key} and {other} at once"
            yield Fault(("plate", key), "side", said, "Take it out of one of the lists.")
    if not (survey.front or survey.rear or survey.along):
        hint = (
            'Name the hole nearest the tip: front = ["a"]. The plate could as well lie turned '
            "round."
        )
        yield Fault(("plate", "front"), "side", "nothing says which end is the front", hint)
    if not (survey.left or survey.right or survey.pairs):
        hint = (
            'Name a hole on the left, seen from the tail: left = ["a"]. The plate could as well '
            "lie upside down."
        )
        yield Fault(("plate", "left"), "side", "nothing says which side is the left", hint)


def _twins(survey: Survey) -> Iterator[Fault]:
    path: KeyPath = ("plate", "pairs")
    for left, right in survey.pairs:
        if left == right:
            hint = "A hole on the centre line stands under centre_line."
            yield Fault(path, "pairs", f"{left} is paired with itself", hint)
    count = Counter(name for pair in survey.pairs for name in set(pair))
    count.update(survey.on_centre_line)
    if twice := [name for name, times in count.items() if times > 1]:
        said = f"{listed(twice)} {'is' if len(twice) == 1 else 'are'} named more than once"
        yield Fault(path, "pairs", said, "A hole is in one pair, or on the centre line, once.")


def _frame(survey: Survey) -> Iterator[Fault]:
    """What must be said so that the places have an origin and a centre line."""
    measured = {end for reading in survey.readings for end in (reading.first, reading.second)}
    edges = [name for name in survey.origin if name in OPPOSITE]
    if not survey.origin:
        hint = 'Write origin = "a" (a hole), "front" (an edge), or ["a", "b"] (their middle).'
        yield Fault(("plate", "origin"), "origin", "nothing says where the origin is", hint)
    elif _ACROSS & set(edges) or (edges and len(survey.origin) > 1):
        hint = 'The origin is along the plate: one edge "front" or "rear", or holes.'
        yield Fault(("plate", "origin"), "origin", "an origin is not there", hint)
    elif edges and edges[0] not in measured:
        hint = f"Measure from that edge to a hole: {edges[0]}-{survey.holes[0]} = {{ inside = … }}"
        yield Fault(
            ("plate", "origin"), "origin", f"the {edges[0]} edge has no distance to a hole", hint
        )
    tells = survey.pairs or survey.on_centre_line
    across = [name for name in survey.middle if name in OPPOSITE]
    if tells and survey.middle:
        hint = "Take middle out: pairs and centre_line say it already."
        yield Fault(("plate", "middle"), "middle", "the centre line is given twice", hint)
    elif not tells and not survey.middle:
        hint = (
            'Name a left and right pair: pairs = [["a", "b"]], a hole on it: centre_line = ["e"], '
            'or what it lies in the middle of: middle = ["left", "right"].'
        )
        yield Fault(("plate", "middle"), "middle", "nothing says where the centre line is", hint)
    elif across and set(survey.middle) != _ACROSS:
        hint = 'Write middle = ["left", "right"] for the middle of the plate, or name holes only.'
        yield Fault(
            ("plate", "middle"),
            "middle",
            "the middle is not between the left and the right edge",
            hint,
        )
    elif across and not _ACROSS.issubset(measured):
        hint = "Measure from the left edge and from the right edge."
        yield Fault(
            ("plate", "middle"),
            "middle",
            "the left or the right edge has no distance to a hole",
            hint,
        )
    if survey.along and survey.along[0] == survey.along[1]:
        hint = 'Write the rear hole and the front hole: along = ["c", "a"].'
        yield Fault(("plate", "along"), "along", "one hole makes no line", hint)
    elif survey.along and survey.pairs:
        hint = "Take along out: the pairs say it already."
        yield Fault(("plate", "along"), "along", "the plate's direction is given twice", hint)


def _unknown(name: str, holes: Collection[str], path: KeyPath, *, edges: bool) -> Iterator[Fault]:
    if name in holes or (edges and name in OPPOSITE):
        return
    known = [*holes, *(OPPOSITE if edges else ())]
    meant = did_you_mean(name, known)
    hint = f"{meant}Known: {', '.join(known)}." if known else "Name it under [holes]."
    yield Fault(path, "unknown-hole", f"there is no hole {quoted(name)}", hint)
