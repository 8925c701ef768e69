"""A profile made of what a gauge's readings say."""

from __future__ import annotations

from jiggen.errors import CheckFailed
from jiggen.measure.printer.findings import refusals, undetermined
from jiggen.measure.printer.gauge_fit import (
    NEEDED,
    PARAMETERS,
    GaugeFit,
    fit_gauge,
    loose_parameters,
)
from jiggen.measure.printer.measured import Measurements
from jiggen.measure.printer.model import Profile, check_name


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

    Raises CheckFailed ``printer.misread``, ``.disagree`` or ``.beyond``, and InputError as
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
