"""What was asked for, as a folder's files have it: the job, its pattern, the printer's figures."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, ValidationError

from jiggen.drilling import DrillingLimits, SkiState
from jiggen.errors import key_path
from jiggen.files import JOB_FILE, PRINTER_FILE, parse_toml, within
from jiggen.inputs.faults import in_words
from jiggen.outcome import Length, Name
from jiggen.pattern.model import Core, Side
from jiggen.verify.geometry import Array
from jiggen.verify.reading.entries import Entry

LARGEST = 1_000_000  # bytes: what a pattern's reader takes, and far more than any of the three has
Figure = Annotated[float, Field(ge=-2.0, le=2.0)]
Scale = Annotated[float, Field(ge=0.5, le=2.0)]


class Job(Entry):
    """The options that were given, as far as a layout and its drilling need them; mm.

    `boots` are the shortest and the longest sole; the pattern and the printer stand in files.
    """

    job: Literal[1]
    kind: Literal["jig", "trial", "gauge"]
    pattern: Name | None = None
    printer: Name | None = None
    boots: tuple[Length, Length] | None = None
    shift: float = 0.0
    core: Core = "plain"
    side: Side = "left"
    plate_hole: Length | None = None
    ski_in_hand: SkiState = Field(default_factory=SkiState)
    drilling_limits: DrillingLimits = Field(default_factory=DrillingLimits)


class Printer(Entry):
    """What a printer makes of a part: printed over asked; skew in degrees, the others in mm."""

    profile: Literal[1]
    name: Name
    scale_x: Scale = 1.0
    scale_y: Scale = 1.0
    scale_z: Scale = 1.0
    skew: Annotated[float, Field(ge=-45.0, le=45.0)] = 0.0
    hole: Figure = 0.0
    wall: Figure = 0.0
    bush_fit: Figure | None = None
    slide: Figure | None = None

    @property
    def undone(self) -> Array:
        """(3, 3) that undoes what the printer does to points; its y axis leans by `skew` to +x."""
        lean = np.radians(self.skew)
        made = np.diag((self.scale_x, self.scale_y * np.cos(lean), self.scale_z))
        made[0, 1] = self.scale_y * np.sin(lean)
        return np.asarray(np.linalg.inv(made))


@dataclass(frozen=True, eq=False)
class Written:
    """A job, and all that its file says."""

    job: Job
    words: dict[str, Any]


def read_text(folder: Path, name: str) -> str:
    """The text of a file in the folder.  Raises OSError or ValueError."""
    return within(folder, name, LARGEST).read_bytes().decode()


def read_job(folder: Path) -> Written:
    """The job of a folder.  Raises OSError when there is none, ValueError when it is not one."""
    words = parse_toml(read_text(folder, JOB_FILE))
    try:
        return Written(Job.model_validate(words), words)
    except ValidationError as error:
        raise ValueError(_first(error)) from None


def read_printer(folder: Path) -> Printer:
    """The printer's figures.  Raises OSError when there are none, ValueError when they are not."""
    try:
        return Printer.model_validate(parse_toml(read_text(folder, PRINTER_FILE)))
    except ValidationError as error:
        raise ValueError(_first(error)) from None


def _first(error: ValidationError) -> str:
    fault = error.errors()[0]
    return f"{key_path(fault['loc'])} {in_words(fault['msg'])}"
