"""A printer's distortion as plain numbers, and the change to a part that undoes it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from jiggen.errors import Finding, InputError
from jiggen.measure.printer.affine import distortion

LARGEST_STRETCH = 0.02  # beyond this a printer wants mending, not compensating
LARGEST_OFFSET = 0.6  # mm, of a hole's diameter or a wall
LARGEST_SKEW = 1.0  # degrees
LONGEST_MATERIAL = 40

Scale = Annotated[float, Field(ge=1 - LARGEST_STRETCH, le=1 + LARGEST_STRETCH)]
Offset = Annotated[float, Field(ge=-LARGEST_OFFSET, le=LARGEST_OFFSET)]
Uncertainty = Annotated[float, Field(ge=0.0, le=1.0)] | None
_NAME = r"^[a-z0-9][a-z0-9-]{0,39}$"


class Uncertainties(BaseModel):
    """Standard uncertainties of a profile's numbers, each in its own unit.

    None: that number was not measured, and stands for a print that comes out true.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    scale_x: Uncertainty = None
    scale_y: Uncertainty = None
    scale_z: Uncertainty = None
    skew: Uncertainty = None
    hole: Uncertainty = None
    wall: Uncertainty = None


class Profile(BaseModel):
    """What a printer makes of a part: printed length over asked length, and so on.

    `scale_x`, `scale_y`, `scale_z` along the printer's own axes, 1.0 when true; `skew` in
    degrees, by which its y axis leans towards +x; `hole` in mm, by which a printed hole's
    diameter is larger than asked once scale is taken off (negative: holes come out small);
    `wall` in mm, by which a printed outside measure is larger (both walls together).
    `bush_fit` and `slide` in mm are the allowance of the pocket that held the bush best and the
    clearance a side at which the rail ran best on the gauge, None where not tried.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    profile: Literal[1] = 1
    name: Annotated[str, Field(pattern=_NAME)]
    material: Annotated[str, Field(max_length=LONGEST_MATERIAL)] = ""
    scale_x: Scale = 1.0
    scale_y: Scale = 1.0
    scale_z: Scale = 1.0
    skew: Annotated[float, Field(ge=-LARGEST_SKEW, le=LARGEST_SKEW)] = 0.0
    hole: Offset = 0.0
    wall: Offset = 0.0
    bush_fit: Annotated[float, Field(ge=-0.2, le=0.6)] | None = None
    slide: Annotated[float, Field(ge=0.05, le=0.6)] | None = None
    uncertainty: Uncertainties = Uncertainties()

    @property
    def distortion(self) -> NDArray[np.float64]:
        """What becomes of asked bed coordinates: printed (x, y) = distortion (2×2) · asked.

        The x axis keeps its direction: how a part lies on the bed says nothing of the printer.
        """
        return distortion(self.scale_x, self.scale_y, self.skew)

    @property
    def compensation(self) -> Compensation:
        """The change to a mesh that makes it come out as designed."""
        return Compensation(
            printer=self.name,
            matrix=np.asarray(np.linalg.inv(self.distortion), dtype=np.float64),
            height=1.0 / self.scale_z,
        )

    def fits(self, bush_fit: float, slide: float) -> Fits:
        """The fits that come out as `bush_fit` and `slide` in mm would on a true printer.

        What was tried by hand on the gauge outranks what the caliper says of the same thing.
        Where walls grow, a sliding pair loses all of `wall` per side, half to either part.
        """
        return Fits(
            bush_fit=bush_fit - self.hole if self.bush_fit is None else self.bush_fit,
            hole_fit=-self.hole,
            slide=slide + self.wall if self.slide is None else self.slide,
        )


@dataclass(frozen=True, eq=False)
class Compensation:
    """What is done to a part's mesh before the printer gets it.

    Bed coordinates become `matrix` (2×2) times themselves and heights `height` times themselves.
    """

    printer: str
    matrix: NDArray[np.float64]
    height: float


@dataclass(frozen=True)
class Fits:
    """What a design allows for, in mm, named as in its settings.

    `bush_fit` is added to a bush's outside diameter, `hole_fit` to the diameter of holes that a
    drill passes without a bush, and `slide` is the clearance of sliding faces per side.
    """

    bush_fit: float
    hole_fit: float
    slide: float


def check_name(name: str, material: str = "") -> None:
    """Raise InputError ``printer.name`` or ``.material`` for what no profile can be called."""
    faults = []
    if not re.fullmatch(_NAME, name):
        hint = "Small letters, digits and hyphens, up to 40: club-hall-petg."
        faults.append(Finding("printer.name", f"{name[:60]!r} is no name", key="--name", hint=hint))
    if len(material) > LONGEST_MATERIAL or not material.isprintable():
        hint = f"Up to {LONGEST_MATERIAL} printable characters: PETG, grey."
        faults.append(Finding("printer.material", "not to be used", key="--material", hint=hint))
    if faults:
        raise InputError(faults)
