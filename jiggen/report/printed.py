"""A jig's folder as it was sent to the printer, to hold the finished print against."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from jiggen.errors import Finding, InputError, findings_in
from jiggen.printer.jig import ON_THE_LINE, Body, PrintedJig, Rigid
from jiggen.printer.model import LARGEST_OFFSET, LARGEST_STRETCH, Compensation, Fits
from jiggen.verify.manifest import MANIFEST, LadderRow, Manifest, Part, read_manifest

Factor = Annotated[float, Field(ge=1 / (1 + LARGEST_STRETCH), le=1 / (1 - LARGEST_STRETCH))]
Allowance = Annotated[float, Field(ge=-LARGEST_OFFSET, le=LARGEST_OFFSET)]
Shear = Annotated[float, Field(ge=-0.05, le=0.05)]  # twice what the largest skew makes of it


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class _Station(_Entry):
    part: str
    x: FiniteFloat


class _Sent(_Entry):
    """The manifest's ``compensation``: what was done to the meshes."""

    printer: str
    matrix: tuple[tuple[Factor, Shear], tuple[Shear, Factor]]
    height: Factor

    def compensation(self) -> Compensation:
        """The same as the printer room has it."""
        return Compensation(
            printer=self.printer,
            matrix=np.array(self.matrix),
            height=self.height,
        )


class _Inputs(_Entry):
    bush_fit: Allowance = 0.0
    hole_fit: Allowance = 0.0
    slide: Allowance = 0.2


class _Jig(_Entry):
    inputs: _Inputs
    stations: Annotated[tuple[_Station, ...], Field(min_length=2)]
    compensation: _Sent | None = None


NO_JIG = "Name a folder that jiggen build made: a trial plate or a gauge is no jig."


@dataclass(frozen=True, eq=False)
class Printout:
    """What a jig's record says of its print: its fits, and what was done to its meshes, or None."""

    jig: PrintedJig
    sent: Compensation | None
    fits: Fits


def read_printout(folder: Path) -> Printout:
    """The jig of `folder`, by its manifest alone.

    Raises InputError as `read_manifest`; ``printer.no-jig`` where it is none, ``.no-pairs`` where
    nothing on it can be measured.
    """
    manifest = read_manifest(folder)
    path = folder / MANIFEST
    try:
        own = _Jig.model_validate_json(path.read_bytes())
    except ValidationError as error:
        raise InputError(findings_in(error, "printer.no-jig", str(path), NO_JIG)) from error
    sent = own.compensation
    bodies = sorted((part for part in manifest.parts if part.is_body), key=_toe_first)
    jig = PrintedJig(
        name=folder.resolve().name,
        rigid=tuple(_rigid(bodies, own.stations, manifest, str(path))),
        drills=tuple(
            manifest.hole_of[guide.id].diameter
            for part in bodies
            for guide in manifest.guides_of(part.name)
        ),
        matrix=np.eye(2) if sent is None else np.array(sent.matrix),
    )
    if not jig.pairs:
        message = "no two holes of it are in one piece: no distance between them is printed"
        hint = "Drill a scrap board with it, and measure that."
        raise InputError(Finding("printer.no-pairs", message, str(path), "holes", hint))
    return Printout(
        jig,
        None if sent is None else sent.compensation(),
        Fits(own.inputs.bush_fit, own.inputs.hole_fit, own.inputs.slide),
    )


def _rigid(
    parts: Sequence[Part], stations: Sequence[_Station], manifest: Manifest, where: str
) -> Iterator[Rigid]:
    """The whole jig; or each half of one with ladders, by the names of its stations."""
    bodies = [_body(part, manifest) for part in parts]
    if not manifest.ladders:
        yield Rigid(tuple(bodies), _two([station.x for station in stations], "jig", where))
        return
    rows = {ladder.part: ladder.boot_rows for ladder in manifest.ladders}
    for body in bodies:
        own = [s.x for s in stations if s.part == body.name]
        sights = dict.fromkeys(_sights(rows.get(body.name, ())))
        yield Rigid((body,), _two(own, body.name, where), tuple(sights) or ON_THE_LINE)


def _sights(rows: Sequence[LadderRow]) -> Iterator[tuple[float, float]]:
    """Where a ladder's lines may meet the mark: that of the longest boot, then the outermost."""
    if rows:
        yield max((line.last, (line.x, row.y)) for row in rows for line in row.lines)[1]
    for row in rows:
        for x in (min(line.x for line in row.lines), max(line.x for line in row.lines)):
            yield x, row.y


def _two(stations: Sequence[float], what: str, where: str) -> tuple[float, float]:
    if len(stations) != 2:
        message = f"{len(stations)} stations of the {what}, not two"
        raise InputError(Finding("printer.no-jig", message, where, "stations", NO_JIG))
    return stations[0], stations[1]


def _toe_first(part: Part) -> bool:
    return part.half != "toe"


def _body(part: Part, manifest: Manifest) -> Body:
    holes = [manifest.hole_of[guide.id] for guide in manifest.guides_of(part.name)]
    return Body(
        part.name,
        tuple(hole.id for hole in holes),
        np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2),
        part.matrix[:2, :2],
    )
