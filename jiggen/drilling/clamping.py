"""Whether a jig's rails hold the ski that was measured: how wide it is where they stand.

A ski in hand is measured across its top sheet; the rails touch it lower, where it may be wider.
"""

from collections.abc import Iterable, Mapping

import numpy as np

from jiggen.drilling import ROUNDING, SkiState, width_at
from jiggen.errors import Finding

Stations = Mapping[str, float]
"""The x of each station in mm, by its name."""


def widths_at(stations: Stations, ski: SkiState, wider: float) -> dict[str, float]:
    """How wide the ski is where the noses touch it, mm, by station; nothing where not measured.

    There it is `wider` mm wider than its top sheet.
    """
    found = width_at(np.array(list(stations.values()), dtype=np.float64), ski.widths)
    return {} if found is None else dict(zip(stations, (found + wider).tolist(), strict=True))


def unheld(
    places: Iterable[Stations], ski: SkiState, wider: float, served: tuple[float, float]
) -> tuple[Finding, ...]:
    """``drilling.ski-range``: the ski is not one of those from and to `served`, mm, at a station.

    `places` are where the stations stand, once for each boot that the jig is used for.
    """
    least, most = served
    found = [widths_at(stations, ski, wider) for stations in places]
    findings = []
    for name in dict.fromkeys(name for widths in found for name in widths):
        width = max((each[name] for each in found), key=lambda mm: max(least - mm, mm - most))
        if not least - ROUNDING <= width <= most + ROUNDING:
            message = (
                f"the ski is {width:.1f} mm wide where the rails touch it at the {name} station; "
                f"the jig is for skis of {least:g} to {most:g} mm"
            )
            hint = "Measure it again at the stations; if it is so, build a jig for this ski."
            findings.append(Finding("drilling.ski-range", message, key="width-at", hint=hint))
    return tuple(findings)
