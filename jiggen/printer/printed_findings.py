"""Why a finished jig is not to be used yet, in a technician's words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from jiggen.errors import Finding
from jiggen.printer.findings import contradiction
from jiggen.printer.printed import PrintedFit

_SHOWN = 6  # holes named in one line


def refusals(found: PrintedFit) -> tuple[Finding, ...]:
    """What stands against the jig: readings that contradict, or holes that may be off too far.

    Codes: ``printer.misread``, ``.disagree``; ``.off``, ``.unsure``.
    """
    source = found.readings.source
    return tuple(replace(finding, where=source) for finding in _refusals(found))


def _refusals(found: PrintedFit) -> Iterator[Finding]:
    if found.fit.contradicts:
        said = found.readings
        yield contradiction(found.fit, found.gross_error, said.distances, said.unit, said.caliper)
        return
    over = [hole for hole in found.expected if hole.off > found.limit]
    if over:
        named = ", ".join(f"{hole.hole} by {hole.off:.2f} mm" for hole in over[:_SHOWN])
        more = f" and {len(over) - _SHOWN} more" if len(over) > _SHOWN else ""
        yield Finding(
            "printer.off",
            f"holes are off by more than {found.limit:g} mm: {named}{more}",
            hint="Do not drill with it: print it again with the corrected profile.",
        )
        return
    unsure = [hole for hole in found.expected if hole.at_worst > found.limit]
    if unsure:
        named = ", ".join(f"{hole.hole} by {hole.at_worst:.2f} mm" for hole in unsure[:_SHOWN])
        more = f" and {len(unsure) - _SHOWN} more" if len(unsure) > _SHOWN else ""
        yield Finding(
            "printer.unsure",
            f"holes may be off by more than {found.limit:g} mm: {named}{more}",
            hint=f"Measure {found.telling[0]} to {found.telling[1]} as well, then look again.",
        )
