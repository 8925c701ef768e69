"""A jig's folder as it was sent to the printer, to hold the finished print against."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from jiggen.errors import InputError, findings_in
from jiggen.printer.jig import Body, PrintedJig
from jiggen.printer.model import LARGEST_OFFSET, LARGEST_STRETCH, Compensation
from jiggen.verify.manifest import MANIFEST, Manifest, Part, read_manifest

Factor = Annotated[float, Field(ge=1 / (1 + LARGEST_STRETCH), le=1 / (1 - LARGEST_STRETCH))]
Allowance = Annotated[float, Field(ge=-2 * LARGEST_OFFSET, le=2 * LARGEST_OFFSET)]
Shear = Annotated[float, Field(ge=-0.05, le=0.05)]  # twice what the largest skew makes of it


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class _Station(_Entry):
    x: FiniteFloat


class _Sent(_Entry):
    """The manifest's ``compensation``: what was done to the meshes."""

    printer: str
    matrix: tuple[tuple[Factor, Shear], tuple[Shear, Factor]]
    height: Factor
    hole: Allowance
    pocket: Allowance
    moving: Allowance

    def compensation(self) -> Compensation:
        """The same as the printer room has it."""
        return Compensation(
            printer=self.printer,
            matrix=np.array(self.matrix),
            height=self.height,
            hole=self.hole,
            pocket=self.pocket,
            moving=self.moving,
        )


class _Inputs(_Entry):
    bush_fit: FiniteFloat = 0.0
    slide: FiniteFloat = 0.2


class _Jig(_Entry):
    inputs: _Inputs
    stations: Annotated[tuple[_Station, ...], Field(min_length=2, max_length=2)]
    compensation: _Sent | None = None


@dataclass(frozen=True, eq=False)
class Printout:
    """What a jig's manifest says of its print; `bush_fit` and `slide` are what it was designed for.

    `sent` is what was done to its meshes, None for nothing; mm.
    """

    jig: PrintedJig
    sent: Compensation | None
    bush_fit: float
    slide: float


def read_printout(folder: Path) -> Printout:
    """The jig of `folder`, by its manifest alone.

    Raises InputError as `read_manifest`, and ``printer.no-jig`` where it is none.
    """
    manifest = read_manifest(folder)
    path = folder / MANIFEST
    try:
        own = _Jig.model_validate_json(path.read_bytes())
    except ValidationError as error:
        hint = "Name a folder that jiggen build made: a trial plate or a gauge is no jig."
        raise InputError(findings_in(error, "printer.no-jig", str(path), hint)) from error
    sent = own.compensation
    bodies = sorted((part for part in manifest.parts if part.is_body), key=_toe_first)
    jig = PrintedJig(
        name=folder.resolve().name,
        bodies=tuple(_body(part, manifest) for part in bodies),
        stations=(own.stations[0].x, own.stations[1].x),
        drills=tuple(
            manifest.hole_of[guide.id].diameter
            for part in bodies
            for guide in manifest.guides_of(part.name)
        ),
        matrix=np.eye(2) if sent is None else np.array(sent.matrix),
    )
    return Printout(
        jig,
        None if sent is None else sent.compensation(),
        own.inputs.bush_fit,
        own.inputs.slide,
    )


def _toe_first(part: Part) -> bool:
    return part.name != "body-toe"


def _body(part: Part, manifest: Manifest) -> Body:
    holes = [manifest.hole_of[guide.id] for guide in manifest.guides_of(part.name)]
    return Body(
        part.name,
        tuple(hole.id for hole in holes),
        np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2),
        part.matrix[:2, :2],
    )
