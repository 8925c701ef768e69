"""A profile made of what a gauge's readings say."""

from __future__ import annotations

import numpy as np

from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.measure.printer.findings import refusals, undetermined
from jiggen.measure.printer.gauge_fit import (
    NEEDED,
    PARAMETERS,
    GaugeFit,
    fit_gauge,
    loose_parameters,
)
from jiggen.measure.printer.measured import Measurements
from jiggen.measure.printer.printed import PrintedFit
from jiggen.measure.printer.profile import (
    LARGEST_SKEW,
    LARGEST_STRETCH,
    Compensation,
    Fits,
    Profile,
    check_name,
    find_profile,
)


def examine_gauge(measurements: Measurements) -> GaugeFit:
    """What `measurements` say of the printer.

    Raises CheckFailed ``printer.loose`` where they do not say how long it makes things.
    """
    loose = loose_parameters(measurements)
    if missing := tuple(name for name in NEEDED if name in loose):
        raise CheckFailed(undetermined(measurements, missing))
    return fit_gauge(measurements)


def profile_of(found: GaugeFit, name: str, material: str = "") -> Profile:
    """The profile that `found` makes, under `name`.

    Raises CheckFailed ``printer.gross-error``, ``.disagree`` or ``.beyond``, and InputError as
    `check_name`.
    """
    check_name(name, material)
    if against := refusals(found):
        raise CheckFailed(against)
    known = [parameter for parameter in PARAMETERS if found.determined(parameter)]
    return Profile.model_validate(
        {
            "name": name,
            "material": material,
            "bush_fit": found.measurements.bush_fit,
            "slide": found.measurements.slide,
            "uncertainty": {key: round(found.uncertainty(key), 6) for key in known},
            **{key: round(found.value(key), 6) for key in known},
        }
    )


_PLANE = ("scale_x", "scale_y", "skew")


def profile_then(sent: Compensation | None, fits: Fits) -> Profile:
    """The profile that a jig was printed with: the stored one where that is still the same.

    Otherwise what follows from what was done to the jig's meshes, `sent`, and from the `fits`
    that it was designed with.  A jig printed as designed has the profile of a true print.
    """
    if sent is None:
        return Profile(name="as-designed")
    try:
        stored = find_profile(sent.printer)
        if _same(stored, sent, fits):
            return stored
    except InputError:  # deleted, or damaged since: the record still holds what matters
        pass
    return Profile(
        name="as-printed",
        scale_z=1.0 / sent.height,
        hole=-fits.hole_fit,
        bush_fit=float(np.clip(fits.bush_fit, -0.2, 0.6)),
        slide=float(np.clip(fits.slide, 0.05, 0.6)),
    )


def corrected(found: PrintedFit, before: Profile, name: str) -> Profile:
    """`before` with the scales and the skew that the finished jig shows, under `name`.

    Raises CheckFailed ``printer.beyond`` where they are more than what is compensated.
    """
    values, sure = found.printer
    plane = dict(zip(_PLANE, (round(float(value), 6) for value in values), strict=True))
    if beyond := _beyond(plane):
        raise CheckFailed(
            Finding(
                "printer.beyond",
                beyond,
                found.readings.source,
                hint="Too much to compensate; calibrate the printer: was the slicer set to 100 %?",
            )
        )
    known = dict(zip(_PLANE, (round(float(one), 6) for one in sure), strict=True))
    uncertainty = before.uncertainty.model_copy(update=known)
    return before.model_copy(update={**plane, "name": name, "uncertainty": uncertainty})


def _beyond(plane: dict[str, float]) -> str:
    for axis in ("x", "y"):
        stretch = plane[f"scale_{axis}"] - 1.0
        if abs(stretch) > LARGEST_STRETCH:
            word = "long" if stretch > 0 else "short"
            return f"along the bed's {axis} the print is {abs(stretch) * 100:.1f} % too {word}"
    skew = abs(plane["skew"])
    return (
        f"the printer's axes have a perpendicularity error of {skew:.2f}°"
        if skew > LARGEST_SKEW
        else ""
    )


def _same(stored: Profile, sent: Compensation, fits: Fits) -> bool:
    """Whether `stored` would do to a mesh what was done, and allow for the same holes."""
    now = stored.compensation
    tried = [
        (stored.bush_fit, fits.bush_fit),
        (stored.slide, fits.slide),
        (-stored.hole, fits.hole_fit),
    ]
    return (
        np.allclose(now.matrix, sent.matrix, rtol=0, atol=1e-6)
        and bool(np.isclose(now.height, sent.height, rtol=0, atol=1e-6))
        and all(one is None or abs(one - other) < 1e-6 for one, other in tried)
    )
