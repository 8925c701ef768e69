"""A jig's folder as it was sent to the printer, to hold the finished print against."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jiggen.errors import Finding, InputError
from jiggen.files import MANIFEST
from jiggen.measure.printer.jig import ON_THE_LINE, Body, PrintedJig, Rigid
from jiggen.measure.printer.profile import LARGEST_OFFSET, LARGEST_STRETCH, Compensation, Fits
from jiggen.record import JigRecord, Part, read_jig
from jiggen.record.entries import Compensated, JigInputs
from jiggen.record.model import LadderRow

LARGEST_SHEAR = 0.05  # twice what the largest skew makes of it
NO_JIG = "Name a folder that jiggen build made: neither a trial plate nor a gauge."


@dataclass(frozen=True, eq=False)
class Printout:
    """What a jig's record says of its print: its fits, and what was done to its meshes, or None."""

    jig: PrintedJig
    sent: Compensation | None
    fits: Fits


def read_printout(folder: Path) -> Printout:
    """The jig of `folder`, by its record alone.

    Raises InputError as `read_jig`; ``printer.no-jig`` where it has not two stations or was changed
    beyond reason, ``.no-pairs`` where nothing on it can be measured.
    """
    record = read_jig(folder)
    path = folder / MANIFEST
    sent = record.compensation
    bodies = sorted((part for part in record.parts if part.is_body), key=_toe_first)
    jig = PrintedJig(
        name=folder.resolve().name,
        rigid=tuple(_rigid(bodies, record, str(path))),
        drills=tuple(hole.diameter for part in bodies for hole in record.holes_of(part.name)),
        matrix=np.eye(2) if sent is None else np.array(sent.matrix),
    )
    if not jig.pairs:
        message = "no two holes of it are in one piece: no distance between them is printed"
        hint = "Drill a scrap board with it, and measure that."
        raise InputError(Finding("printer.no-pairs", message, str(path), "holes", hint))
    return Printout(
        jig,
        None if sent is None else _compensation(sent, str(path)),
        _fits(record.inputs, str(path)),
    )


def _compensation(sent: Compensated, where: str) -> Compensation:
    """The same as the printer room has it.  Raises InputError for what no profile does."""
    (xx, xy), (yx, yy) = sent.matrix
    stretch = max(abs(math.log(factor)) for factor in (xx, yy, sent.height))
    if stretch > -math.log(1 - LARGEST_STRETCH) or max(abs(xy), abs(yx)) > LARGEST_SHEAR:
        raise _beyond("compensation", where)
    return Compensation(sent.printer, np.array(sent.matrix), sent.height)


def _fits(inputs: JigInputs, where: str) -> Fits:
    found = Fits(inputs.bush_fit, inputs.hole_fit, inputs.slide)
    if max(abs(found.bush_fit), abs(found.hole_fit), abs(found.slide)) > LARGEST_OFFSET:
        raise _beyond("inputs", where)
    return found


def _beyond(key: str, where: str) -> InputError:
    message = "its parts were changed by more than any printer needs"
    return InputError(Finding("printer.no-jig", message, where, key, NO_JIG))


def _rigid(parts: Sequence[Part], record: JigRecord, where: str) -> Iterator[Rigid]:
    """The whole jig; or each half of one with ladders, by its own stations."""
    bodies = [_body(part, record) for part in parts]
    if not record.ladders:
        yield Rigid(tuple(bodies), _two([station.x for station in record.stations], "jig", where))
        return
    rows = {ladder.part: ladder.boot_rows for ladder in record.ladders}
    for body in bodies:
        own = [station.x for station in record.stations if station.part == body.name]
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


def _body(part: Part, record: JigRecord) -> Body:
    holes = record.holes_of(part.name)
    return Body(
        part.name,
        tuple(hole.id for hole in holes),
        np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2),
        np.array(part.to_ski)[:2, :2],
    )
