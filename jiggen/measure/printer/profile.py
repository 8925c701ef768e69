"""A printer's distortion as plain numbers, and the change to a part that undoes it."""

import math
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from platformdirs import user_config_path
from pydantic import Field

from jiggen.errors import Finding, InputError
from jiggen.files import make_folder, write_whole
from jiggen.inputs.document import FileKind, read_document, toml_text
from jiggen.inputs.shape import Number, Shape, validate
from jiggen.measure.adjustment import COVERED, Array
from jiggen.measure.printer.jig import distortion

LARGEST_STRETCH = 0.02  # beyond this a printer is to be repaired, not compensated
LARGEST_GROWTH = 0.0125  # likewise of prints too long: no plastic grows; common practice, no source
LARGEST_OFFSET = 0.6  # mm, of a hole's diameter or a wall
LARGEST_SKEW = 1.0  # degrees
LONGEST_MATERIAL = 40

Scale = Annotated[Number, Field(ge=1 - LARGEST_STRETCH, le=1 + LARGEST_GROWTH)]
Offset = Annotated[Number, Field(ge=-LARGEST_OFFSET, le=LARGEST_OFFSET)]
Uncertainty = Annotated[Number, Field(ge=0.0, le=1.0)] | None
_NAME = r"^[a-z0-9][a-z0-9-]{0,39}$"


@dataclass(frozen=True, eq=False)
class Compensation:
    """What is done to a mesh before its print: x, y times `matrix` (2×2), z times `height`."""

    printer: str
    matrix: Array
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


class Uncertainties(Shape):
    """Standard uncertainties of a profile's numbers; None: not measured, taken for true."""

    scale_x: Uncertainty = None
    scale_y: Uncertainty = None
    scale_z: Uncertainty = None
    skew: Uncertainty = None
    hole: Uncertainty = None
    wall: Uncertainty = None


class Profile(Shape):
    """What a printer makes of a part: printed length over asked length, and so on.

    `scale_x`, `scale_y`, `scale_z` along the printer's own axes, 1.0 when true; `skew` in degrees,
    by which its y axis leans towards +x; `hole` in mm, by which a printed hole is larger than asked
    once scale is taken off; `wall` in mm, by which a printed outside is larger (both walls
    together). `bush_fit` and `slide` in mm are the allowance of the pocket and the clearance per
    side that were best on the gauge, None where not tried.
    """

    profile: Literal[1] = 1
    name: str = Field(pattern=_NAME, description="small letters, digits and hyphens, up to 40")
    material: str = Field(
        default="", max_length=LONGEST_MATERIAL, description="up to 40 characters"
    )
    scale_x: Scale = 1.0
    scale_y: Scale = 1.0
    scale_z: Scale = 1.0
    skew: Annotated[Number, Field(ge=-LARGEST_SKEW, le=LARGEST_SKEW)] = 0.0
    hole: Offset = 0.0
    wall: Offset = 0.0
    bush_fit: Annotated[Number, Field(ge=-0.2, le=0.6)] | None = None
    slide: Annotated[Number, Field(ge=0.05, le=0.6)] | None = None
    uncertainty: Uncertainties = Uncertainties()

    @property
    def text(self) -> str:
        """The profile as the text of its file."""
        return toml_text(self.model_dump(exclude_none=True))

    @property
    def compensation(self) -> Compensation:
        """The change to a mesh that makes it come out as designed.

        The x axis keeps its direction: how a part lies on the bed says nothing of the printer.
        """
        return Compensation(
            printer=self.name,
            matrix=np.asarray(np.linalg.inv(distortion(self.scale_x, self.scale_y, self.skew))),
            height=1.0 / self.scale_z,
        )

    def fits(self, bush_fit: float, slide: float) -> Fits:
        """The fits that come out as `bush_fit` and `slide` in mm would on a true printer.

        What was tried by hand outranks what the caliper says.  Where walls grow, a sliding pair
        loses all of `wall` per side, half to either part.
        """
        return Fits(
            bush_fit=bush_fit - self.hole if self.bush_fit is None else self.bush_fit,
            hole_fit=-self.hole,
            slide=slide + self.wall if self.slide is None else self.slide,
        )


def check_name(name: str, material: str = "") -> None:
    """Raise InputError ``printer.name`` or ``.material`` for what no profile can be called."""
    faults = []
    if not re.fullmatch(_NAME, name):
        hint = "Small letters, digits and hyphens, up to 40: club-hall-petg."
        message = f"{name[:60]!r} is not a valid name"
        faults.append(Finding("printer.name", message, key="name", hint=hint))
    if len(material) > LONGEST_MATERIAL or not material.isprintable():
        hint = f"Up to {LONGEST_MATERIAL} printable characters: PETG, grey."
        faults.append(Finding("printer.material", "not a valid text", key="material", hint=hint))
    if faults:
        raise InputError(faults)


LONG, HIGH = 190.0, 14.0  # mm, that the words tell of: half a jig's length, and its height
_LEAST = 0.005  # mm; less would show as 0.00


def lines(profile: Profile) -> Iterator[tuple[str, str, str, str]]:
    """Each number that a caliper can tell: its name, the number, its 95 %, what it means."""
    lean = math.tan(math.radians(profile.skew)) * LONG
    towards = f"{LONG:g} mm along y lean {abs(lean):.2f} mm towards {'+' if lean > 0 else '-'}x"
    numbers = {
        "scale x": ("scale_x", f"{LONG:g} mm along x comes out", LONG, "long/short"),
        "scale y": ("scale_y", f"{LONG:g} mm along y comes out", LONG, "long/short"),
        "skew": ("skew", towards if abs(lean) >= _LEAST else "the axes are perpendicular", 0, "°"),
        "holes": ("hole", "a hole comes out", 0, " mm"),
        "outsides": ("wall", "an outside comes out", 0, " mm"),
        "scale z": ("scale_z", f"{HIGH:g} mm of height comes out", HIGH, "high/low"),
    }
    for what, (key, means, length, unit) in numbers.items():
        value, known = getattr(profile, key), getattr(profile.uncertainty, key)
        within = COVERED * (known or 0.0)
        if known is None:
            yield what, "-", "", "not measured: assumed to be true"
        elif length:
            means += f" {off_by((value - 1.0) * length, unit)} (± {within * length:.2f})"
            yield what, f"{value:.5f}", f"± {within:.5f}", means
        else:
            means += f" {off_by(value, 'too large/too small')}" if unit == " mm" else ""
            yield what, f"{value:+.3f}{unit}", f"± {within:.3f}", means


def off_by(off: float, words: str = "long/short") -> str:
    """``0.57 mm short``, or ``true``; of `words` the first is for too much."""
    more, less = words.split("/")
    return f"{abs(off):.2f} mm {more if off > 0 else less}" if abs(off) >= _LEAST else "true"


KIND = FileKind("printer", "A printer profile", 64 * 1024)


def folder() -> Path:
    """Where profiles are kept; JIGGEN_PRINTERS names another folder."""
    chosen = os.environ.get("JIGGEN_PRINTERS")
    return Path(chosen) if chosen else user_config_path("jiggen") / "printers"


def profile_names() -> tuple[str, ...]:
    """Names of the stored profiles, in order."""
    return tuple(sorted(path.stem for path in folder().glob("*.toml")))


def stored_profiles() -> tuple[Profile, ...]:
    """All stored profiles, in the order of their names.  Raises InputError for one that is none."""
    return tuple(map(find_profile, profile_names()))


def find_profile(asked: str) -> Profile:
    """The profile of that name, or in the file at that path.

    Raises InputError ``printer.unknown`` with the names there are, and every fault of the file.
    """
    by_path = "/" in asked or "\\" in asked or asked.endswith(".toml")
    if not by_path and asked not in profile_names():
        names = ", ".join(profile_names()) or "none yet; `jiggen profile fit` makes one"
        hint = f"Known: {names}.  A path to a profile file serves too."
        message = f"there is no printer called {asked!r}"
        raise InputError.of("printer.unknown", message, key="printer", hint=hint)
    document = read_document(asked if by_path else folder() / f"{asked}.toml", KIND)
    return validate(Profile, document, document.data)


def save_profile(profile: Profile) -> Path:
    """Write `profile` under its name, replacing one of that name; where it went."""
    target = folder() / f"{profile.name}.toml"
    make_folder(target.parent, key="name")
    write_whole(target, profile.text, key="name")
    return target
