"""What is expected of a design before it is drawn: that it runs free, how true it drills, and
that the ski in hand takes the holes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from jiggen.accuracy.budget import jig_budget, over_limit, sheet_budget, summary
from jiggen.accuracy.centring import centring, hole_shift_per_division
from jiggen.accuracy.sweep import sweep
from jiggen.accuracy.terms import default_terms
from jiggen.design import Design
from jiggen.drilling import Drilling, DrillingLimits, Screw, SkiState, drilling
from jiggen.errors import CheckFailed, Finding


def expect(design: Design) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """The accuracy part of the manifest, and warnings of holes expected over the limit.

    Raises CheckFailed where moving parts touch or lose mesh, or where the centring cannot be
    held, naming ski width and parts.
    """
    motion = sweep(design)
    centred = centring(design)
    if faults := motion.findings + centred.findings:
        raise CheckFailed(faults)
    terms = default_terms()
    jig = jig_budget(design, terms, centred.loaded.sideways)
    sheet = sheet_budget(design.layout, terms)
    gaps = [pair for station in motion.stations for pair in station.pairs] + list(motion.between)
    least = min(gaps, key=lambda pair: pair.gap)
    expected = {
        "jig": summary(jig),
        "sheet": summary(sheet),
        "centring": {
            "loaded": round(float(centred.loaded.sideways.max()), 4),
            "loose": round(float(centred.loose.sideways.max()), 4),
            "free": round(float(centred.free.sideways.max()), 4),
        },
        "division": division_of(design),
        "moving": {
            "widths": [float(motion.widths[0]), float(motion.widths[-1]), len(motion.widths)],
            "teeth": round(min(float(station.teeth.min()) for station in motion.stations), 2),
            "least_gap": {
                "parts": [least.one, least.other],
                "gap": round(least.gap, 3),
                "ski": least.width,
            },
        },
    }
    return expected, over_limit(jig)


def division_of(design: Design) -> dict[str, dict[str, float]]:
    """By hole and station, how far sideways the hole lies, in mm, when that station's left and
    right readings differ by one line of the rails' scale.
    """
    shifts = np.abs(hole_shift_per_division(design)).T
    names = [station.name for station in design.stations]
    return {
        hole: {name: round(float(shift), 4) for name, shift in zip(names, row, strict=True)}
        for hole, row in zip(design.layout.ids, shifts, strict=True)
    }


def drill(
    design: Design, state: SkiState, limits: DrillingLimits, screws: Mapping[str, Screw]
) -> Drilling:
    """Drill and stop settings of a design, checked against what is known of ski and screws.

    Raises CheckFailed where a hole would come too near the base, lie off the ski or outside the
    allowed area, with the numbers.
    """
    tops = {guide.id: guide.bush_top_z for guide in design.guides}
    found = drilling(design.layout, tops, state, limits, screws)
    if found.errors:
        raise CheckFailed(found.errors)
    return found
