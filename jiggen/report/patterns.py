"""The known patterns, each read and told in few words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from jiggen.errors import InputError
from jiggen.pattern import Group, Pattern, read_pattern
from jiggen.pattern.find import Known, known_patterns

DATUMS = {
    "boot-toe": "the boot's toe",
    "boot-heel": "the boot's heel",
    "boot-centre": "the mounting mark",
}


@dataclass(frozen=True)
class Listed:
    """A known file: its pattern, or how many faults keep it from being read."""

    known: Known
    pattern: Pattern | None
    faults: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Plain values for ``--json``, lengths in mm; of a faulty file only where it is."""
        entry: dict[str, Any] = {
            "name": self.known.name,
            "origin": self.known.origin,
            "path": str(self.known.path),
            "hidden": self.known.hidden,
            "faults": self.faults,
        }
        if self.pattern:
            entry |= {
                "title": self.pattern.name,
                "note": self.pattern.note,
                "holes": hole_count(self.pattern.groups),
                "groups": [
                    {"name": group.name, "datum": group.datum, "holes": hole_count((group,))}
                    for group in self.pattern.groups
                ],
                "boot": list(self.pattern.boot) if self.pattern.boot else None,
                "pair": self.pattern.pair,
            }
        return entry


def list_patterns() -> tuple[Listed, ...]:
    """Every pattern that a name can find, read; a faulty one does not hide the others."""
    return tuple(_listed(known) for known in known_patterns())


def _listed(known: Known) -> Listed:
    try:
        return Listed(known, read_pattern(known.path))
    except InputError as error:
        return Listed(known, None, len(error.findings))


def hole_count(groups: tuple[Group, ...]) -> int:
    """How many holes are drilled, both sides counted."""
    return sum(1 + hole.both_sides for group in groups for hole in group.holes)


def described(pattern: Pattern) -> list[str]:
    """What a pattern is, a line for each thing; lengths in mm."""
    boots = f"{_span(pattern.boot)} mm" if pattern.boot else "any length"
    skis = (
        "left and right ski mirrored" if pattern.pair == "mirrored" else "left and right ski alike"
    )
    width = max(len(group.name) for group in pattern.groups)
    return [
        *([pattern.note] if pattern.note else []),
        f"For boots of {boots}; {skis}.",
        *(f"  {group.name.ljust(width)}  {_group(group)}" for group in pattern.groups),
    ]


def _group(group: Group) -> str:
    count = hole_count((group,))
    holes = f"{count} hole" if count == 1 else f"{count} holes"
    if group.steps:
        steps = ", ".join(f"{step.shift:+g} from {step.start:g}" for step in group.steps)
        return f"{holes} about {DATUMS[group.datum]}, in steps by boot: {steps} mm"
    way = "in front of" if group.shift > 0 else "behind"
    away = f"{abs(group.shift):g} mm {way}" if group.shift else "about"
    return f"{holes} {away} {DATUMS[group.datum]}"


def _span(boot: tuple[float, float]) -> str:
    return f"{boot[0]:g} to {boot[1]:g}"


def table(listed: tuple[Listed, ...]) -> str:
    """A row for each pattern, then the folders they lie in."""
    head = ("name", "holes", "measured from", "boots in mm", "whose")
    rows = [head, *(_row(entry) for entry in listed)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    folders = dict.fromkeys((entry.known.origin, entry.known.path.parent) for entry in listed)
    width = max((len(origin) for origin, _ in folders), default=0)
    return "\n".join(
        [*lines, "", *(f"{origin.ljust(width)}  {folder}" for origin, folder in folders)]
    )


def _row(entry: Listed) -> tuple[str, str, str, str, str]:
    whose = f"{entry.known.origin}, hidden" if entry.known.hidden else entry.known.origin
    if entry.pattern is None:
        faults = "1 fault" if entry.faults == 1 else f"{entry.faults} faults"
        return entry.known.name, "-", f"{faults}: jiggen show {entry.known.path}", "", whose
    datums = dict.fromkeys(group.datum for group in entry.pattern.groups)
    boots = _span(entry.pattern.boot) if entry.pattern.boot else "any"
    return (
        entry.known.name,
        str(hole_count(entry.pattern.groups)),
        ", ".join(datums),
        boots,
        whose,
    )
