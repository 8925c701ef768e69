"""Which jig to take, and why the others are not: words for people, plain values for machines."""

from collections.abc import Iterator
from typing import Any

from jiggen.cautions import CAUTIONS
from jiggen.evening.families import slot_error
from jiggen.record.ladders import tell_lines
from jiggen.report.mark import slot_words
from jiggen.report.sides import rail_readings
from jiggen.report.summary import WRONG_LINE, stop_lines
from jiggen.shelf.which import Answer, Fit

NONE = "no jig on the shelf serves this pair"


def as_text(answer: Answer, command: str) -> str:
    """What to take and how to set it; or why nothing fits and the `command` that builds one."""
    lines: list[str] = []
    if best := answer.best:
        lines += [*_lines(best)]
        if others := [fit.mark for fit in answer.fits if fit is not best and fit.may_drill]:
            lines.append(f"Or:       {', '.join(others)}")
    else:
        lines.append(f"None:     {NONE}")
    for fit in answer.fits:
        if not fit.may_drill:
            lines.append(f"NOT:      {fit.mark}: {'; '.join(_forbids(fit))}")
    if not answer.best:
        lines += [f"Not:      {jig.mark}: {reason.message}" for jig, reason in answer.others]
        lines.append(f"Build:    {command}")
    return "\n".join([*lines, "", *CAUTIONS])


def _forbids(fit: Fit) -> Iterator[str]:
    return (warning.message for warning in fit.warnings)


def _lines(fit: Fit) -> Iterator[str]:
    """The jig, its line, its rails, drill and depth stop."""
    jig, record = fit.shelved.jig, fit.record
    yield f"Take:     the jig marked {fit.mark}: {jig.serves}"
    yield f"Folder:   {jig.folder}"
    lines, opposite, slot = set_words(fit)
    if slot:
        yield f"Slot:     {slot}"
    if lines:
        yield f"Line:     {lines}"
        yield f"Opposite: {opposite}"
        yield f"{'':<10}{WRONG_LINE}"
    rails = (f"{name} {reading:.1f}" for name, reading in rail_readings(record).items())
    yield f"Rails:    left and right both read about {', '.join(rails)}"
    yield from stop_lines(record)


def set_words(fit: Fit) -> tuple[str, str, str]:
    """The line of each half on the ski's mark, what is opposite, and the slot, if it is set."""
    lines, opposite = "", ""
    for setting in fit.record.boot_settings:
        lines, opposite = tell_lines(dict(setting.readings))
    error = slot_error(fit.shelved.record.inputs.relief)
    return lines, opposite, slot_words(fit.by_slot, error) if fit.by_slot else ""


def as_dict(answer: Answer, command: str, values: dict[str, list[str]]) -> dict[str, Any]:
    """The answer as plain values; lengths in mm.  What to build is there where none is to take."""
    return {
        "take": answer.best.mark if answer.best else None,
        "fits": [_fit(fit) for fit in answer.fits],
        "others": [
            {"mark": jig.mark, "folder": str(jig.folder), "reason": reason.as_dict()}
            for jig, reason in answer.others
        ],
        "build": None if answer.best else {"command": command, "values": values},
    }


def _fit(fit: Fit) -> dict[str, Any]:
    lines, opposite, slot = set_words(fit)
    readings = (setting.readings for setting in fit.record.boot_settings)
    return {
        **fit.shelved.jig.as_dict(),
        "may_drill": fit.may_drill,
        "lines": {half: str(one) for each in readings for half, one in each.items()},
        "on_the_mark": lines,
        "opposite": opposite,
        "by_slot": fit.by_slot,
        "slot": slot,
        "rails": {name: round(mm, 2) for name, mm in rail_readings(fit.record).items()},
        "stops": [stop.model_dump(mode="json") for stop in fit.record.drilling.stops],
        "warnings": [warning.as_dict() for warning in fit.warnings],
    }
