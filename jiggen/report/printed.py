"""A jig's folder as it was sent to the printer, to hold the finished print against."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jiggen.errors import Finding, InputError
from jiggen.files import MANIFEST
from jiggen.measure.printer.jig import Body, Notched, PrintedJig, Rigid
from jiggen.measure.printer.profile import LARGEST_OFFSET, LARGEST_STRETCH, Compensation, Fits
from jiggen.record import JigRecord, read_jig
from jiggen.record.entries import Part
from jiggen.record.ladders import LadderRow
from jiggen.report.check import jaws

LARGEST_SHEAR = 0.05  # twice what the largest skew makes of it


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
    path = str(folder / MANIFEST)
    inputs, entry = record.inputs, record.compensation
    sent = None
    if entry:
        (xx, xy), (yx, yy) = entry.matrix
        stretch = max(abs(math.log(factor)) for factor in (xx, yy, entry.height))
        if stretch > -math.log(1 - LARGEST_STRETCH) or max(abs(xy), abs(yx)) > LARGEST_SHEAR:
            raise _refusal(BEYOND, path, "compensation")
        sent = Compensation(entry.printer, np.array(entry.matrix), entry.height)
    fits = Fits(inputs.bush_fit, inputs.hole_fit, inputs.slide)
    if max(abs(fits.bush_fit), abs(fits.hole_fit), abs(fits.slide)) > LARGEST_OFFSET:
        raise _refusal(BEYOND, path, "inputs")
    bodies = sorted((part for part in record.parts if part.is_body), key=lambda p: p.half != "toe")
    holes = [hole for part in bodies for hole in record.holes_of(part.name)]
    guides = {guide.id: guide for guide in record.guides}
    jig = PrintedJig(
        name=folder.resolve().name,
        rigid=tuple(_rigid(bodies, record, path)),
        drills=tuple(hole.diameter for hole in holes),
        matrix=np.array(entry.matrix) if entry else np.eye(2),
        lengths=tuple(
            Notched(one.part, one.direction, one.nominal, (one.accept, one.reprint), jaws(one))
            for one in record.print_check
        ),
        bores=tuple(guides[hole.id].bore for hole in holes),
        throats=tuple(guides[hole.id].throat for hole in holes),
    )
    if not jig.pairs:
        message = "no two holes of it are in one piece: no distance between them is printed"
        hint = "Drill a scrap board with it, and measure that."
        raise InputError(Finding("printer.no-pairs", message, path, "holes", hint))
    return Printout(jig, sent, fits)


BEYOND = "its parts were changed by more than any printer needs"


def _refusal(message: str, where: str, key: str) -> InputError:
    hint = "Name a folder that jiggen build made: neither a trial plate nor a gauge."
    return InputError(Finding("printer.no-jig", message, where, key, hint))


def _rigid(bodies: Sequence[Part], record: JigRecord, where: str) -> Iterator[Rigid]:
    """The whole jig; or each half of one with ladders, by its own stations."""
    rows = {
        ladder.part: tuple(row for row in ladder.boot_rows if row.name != "bands-left")
        for ladder in record.ladders
    }
    for group in [[body] for body in bodies] if rows else [bodies]:
        name = group[0].name if rows else "jig"
        own = [station.x for station in record.stations if not rows or station.part == name]
        if len(own) != 2:
            raise _refusal(f"{len(own)} stations of the {name}, not two", where, "stations")
        own_bodies = []
        for part in group:
            holes = record.holes_of(part.name)
            at = np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2)
            turn = np.array(part.to_ski)[:2, :2]
            own_bodies.append(Body(part.name, tuple(hole.id for hole in holes), at, turn))
        yield Rigid(tuple(own_bodies), (own[0], own[1]), _sights(rows.get(name, ())))


def _sights(rows: Sequence[LadderRow]) -> tuple[tuple[float, float], ...]:
    """Where a ladder's lines may meet the mark: that of the longest boot, then the outermost."""
    if not rows:
        return Rigid.sights
    found = [max((line.last, (line.x, row.foot)) for row in rows for line in row.lines)[1]]
    for row in rows:
        xs = [line.x for line in row.lines]
        found += [(min(xs), row.foot), (max(xs), row.foot)]
    return tuple(dict.fromkeys(found))
