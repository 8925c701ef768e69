"""What was done to the printed parts for one printer, in words."""

from __future__ import annotations

import math

from jiggen.record.model import Compensated

LAY = (
    "Print them on this printer alone, as the files lie, at 100 %: do not turn a part on the bed "
    "(half a turn does no harm), and switch off the slicing program's own correction of size and "
    "holes."
)


def compensated(entry: Compensated) -> str:
    """One sentence for a record's `compensation`: what STL and 3MF have that STEP has not."""
    (along_x, lean), (_, along_y) = entry.matrix
    angle = math.degrees(math.atan2(lean, along_y))
    sizes = (
        _size(along_x, "longer", "shorter", " in x"),
        _size(along_y, "longer", "shorter", " in y"),
        _size(entry.height, "higher", "lower", ""),
    )
    said = [words for words in sizes if words]
    if abs(angle) >= 0.005:
        said.append(f"their y axis leant {abs(angle):.2f}° towards {'+x' if angle > 0 else '-x'}")
    return (
        f"parts made {', '.join(said) or 'as designed'}; jig.step is as designed, with the "
        "fits of this printer"
    )


def _size(factor: float, more: str, less: str, where: str) -> str:
    change = 100 * (factor - 1)
    if abs(change) < 0.005:
        return ""
    return f"{abs(change):.2f} % {more if change > 0 else less}{where}"
