"""What stands against readings, and which to take next, in a technician's words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from jiggen.errors import Finding
from jiggen.measure.adjustment import NOTICED, A, GrossError

SHOWN = 6  # readings or holes named in one line


def listed(names: Sequence[str], word: str = "and") -> str:
    """``a, b and c``."""
    *most, last = names
    return f"{', '.join(most)} {word} {last}" if most else last


def the_first(names: Sequence[str], separator: str = "; ") -> str:
    """``a; b; and 3 more``."""
    more = f"{separator}and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return separator.join(names[:SHOWN]) + more


def measure_as_well(names: Sequence[str]) -> str:
    """``Measure a as well. Then b and c.``, of one reading or more."""
    first, *more = names
    return f"Measure {first} as well." + (f" Then {listed(more)}." if more else "")


def describe_contradiction(
    what: str,
    fit: A,
    wrong: GrossError[A] | None,
    labels: Sequence[str],
    shown: Callable[[int, float], str],
    *,
    explained: Sequence[str],
    coarse: str,
) -> Finding:
    """Which of the readings that contradict is a gross error, or that no single one is.

    `what` the readings are called; `shown` puts a row into words, less so many mm; `explained` is
    said of the one that is wrong, `coarse` where all could be coarser than stated.  Code
    ``gross-error`` or ``disagree``.
    """
    if wrong is None or not wrong.likely:
        sizes = np.abs(fit.normalised[: fit.equations.readings])
        worst = [labels[row] for row in np.argsort(-sizes, kind="stable")[:3]]
        return Finding(
            "disagree",
            f"the {what} contradict one another, and no single gross error explains it",
            hint=f"Measure these again first: {'; '.join(worst)}. {coarse}",
        )
    rivals = [labels[row] for row in wrong.rivals[:SHOWN]]
    return Finding(
        "gross-error",
        f"{labels[wrong.row]}: you wrote {shown(wrong.row, 0.0)}, the other {what} say "
        f"{shown(wrong.row, wrong.off)}",
        hint=" ".join(
            [*explained, *([f"As likely wrong instead: {'; '.join(rivals)}."] if rivals else [])]
        ),
    )


def describe_unchecked(labels: Sequence[str], hint: str = "Measure them twice.") -> Finding:
    """Readings that no other checks well enough."""
    message = f"a gross error of {NOTICED:g} mm would not show in: {the_first(labels)}"
    return Finding("unchecked", message, hint=hint)


def describe_coarse(spread: float, stated: float) -> Finding:
    """Readings that agree `spread` times less well than the `stated` uncertainty in mm."""
    return Finding(
        "coarse",
        f"your readings agree within {spread * stated:.2f} mm, not {stated:g} mm as stated",
        hint="The result is given as that much less certain.",
    )
