"""The profile to print a jig with again, from what the finished one says of its printer."""

from __future__ import annotations

import numpy as np

from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.printer.model import LARGEST_SKEW, LARGEST_STRETCH, Compensation, Profile
from jiggen.printer.printed import PrintedFit
from jiggen.printer.store import find_profile

_PLANE = ("scale_x", "scale_y", "skew")


def profile_then(sent: Compensation | None, bush_fit: float, slide: float) -> Profile:
    """The profile that a jig was printed with: the stored one where that is still the same.

    Else what can be told from what was done to the jig's meshes, `sent`; None for a jig printed
    as designed, and then the profile is that of a true print.  `bush_fit` and `slide` in mm are
    what the jig was designed for.
    """
    if sent is None:
        return Profile(name="as-designed")
    try:
        stored = find_profile(sent.printer)
        if _same(stored.compensation(bush_fit, slide), sent):
            return stored
    except InputError:  # forgotten, or spoilt since: the manifest still knows what matters
        pass
    return Profile(
        name="as-printed",
        scale_z=1.0 / sent.height,
        hole=-sent.hole,
        bush_fit=None if np.isclose(sent.pocket, sent.hole) else bush_fit + sent.pocket,
        slide=float(np.clip(slide + sent.moving, 0.05, 0.6)),
    )


def corrected(found: PrintedFit, before: Profile, name: str) -> Profile:
    """`before` with the scales and the skew that the finished jig shows, under `name`.

    Raises CheckFailed ``printer.beyond`` where they are more than what is compensated.
    """
    values, sure = found.printer
    told = dict(zip(_PLANE, (round(float(value), 6) for value in values), strict=True))
    if beyond := _beyond(told):
        raise CheckFailed(
            Finding(
                "printer.beyond",
                beyond,
                found.readings.source,
                hint="That wants mending, not compensating: was the slicer set to 100 %?",
            )
        )
    known = dict(zip(_PLANE, (round(float(one), 6) for one in sure), strict=True))
    uncertainty = before.uncertainty.model_copy(update=known)
    return before.model_copy(update={**told, "name": name, "uncertainty": uncertainty})


def _beyond(told: dict[str, float]) -> str:
    for axis in ("x", "y"):
        stretch = told[f"scale_{axis}"] - 1.0
        if abs(stretch) > LARGEST_STRETCH:
            word = "long" if stretch > 0 else "short"
            return f"along the bed's {axis} the print is {abs(stretch) * 100:.1f} % too {word}"
    skew = abs(told["skew"])
    return f"the printer's axes are {skew:.2f}° out of square" if skew > LARGEST_SKEW else ""


def _same(one: Compensation, other: Compensation) -> bool:
    return bool(np.allclose(_numbers(one), _numbers(other), rtol=0, atol=1e-6))


def _numbers(done: Compensation) -> list[float]:
    return [*done.matrix.ravel().tolist(), done.height, done.hole, done.pocket, done.moving]
