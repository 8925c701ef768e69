"""What is engraved on each part, for its record, in the ski frame."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, replace

import numpy as np
from numpy.typing import NDArray

from jiggen.design import gauge as gauges
from jiggen.design import trial as trials
from jiggen.design.engraving import DEPTH, Engraving
from jiggen.design.fit_ladder import SLOTS, STRIP_HEIGHT
from jiggen.design.gauge import Gauge
from jiggen.design.jig import Design
from jiggen.design.lettering import Bounds, Drawn
from jiggen.design.pieces import list_pieces
from jiggen.design.trial import Trial
from jiggen.record import entries

RAIL, INDEX = "rail scale", "index line"


def on_jig(design: Design) -> Iterator[entries.Engraved]:
    """What is engraved on a jig's bodies, and on its rails."""
    top = design.settings.body
    for body in design.bodies:
        yield face(body.name, body.engravings, top, DEPTH)
    rail = design.mechanism.rail
    for part in list_pieces(design):
        if part.name == "rail":
            pose = part.placed[0].pose
            scale = replace(rail.graduations, lines=rail.graduations.lines[:-1])
            index = Drawn(rail.graduations.shape, lines=rail.graduations.lines[-1:])
            above, below = rail.top_z, rail.bottom_rack_z
            faces = ((above, {RAIL: scale, INDEX: index}), (below, {INDEX: rail.underside}))
            for z, drawn in faces:
                items = (
                    Engraving(name, (), DEPTH, one.signs, one.lines) for name, one in drawn.items()
                )
                found = face(part.name, items, z, DEPTH, pose, down=z == below)
                yield found


def on_trial(trial: Trial) -> Iterator[entries.Engraved]:
    """What is engraved on a trial plate's pieces."""
    for plate in trial.plates:
        yield face(plate.name, plate.engravings, trials.THICKNESS, trials.DEPTH)


def on_gauge(gauge: Gauge) -> Iterator[entries.Engraved]:
    """What is engraved on a gauge's frame, and on its slots."""
    yield face(gauges.NAME, gauge.engravings, gauges.THICKNESS, gauges.DEPTH)
    slots = gauge.pieces[1]
    pose = slots.placed[0].pose
    yield face(SLOTS, gauge.ladder.engravings, STRIP_HEIGHT, gauges.DEPTH, pose)


def face(
    part: str,
    items: Iterable[Engraving],
    top: float,
    depth: float,
    pose: NDArray[np.float64] | None = None,
    *,
    down: bool = False,
) -> entries.Engraved:
    """What is engraved `depth` deep in the face at height `top`; `pose` shifts it to the ski."""
    dx, dy, dz = (0.0, 0.0, 0.0) if pose is None else pose[:3, 3].tolist()
    signs, lines, grooves = [], [], []
    for item in items:
        signs += [asdict(sign) | {"x": sign.x + dx, "y": sign.y + dy} for sign in item.signs]
        if item.lines:
            boxes = [_shifted(box, dx, dy) for box in item.lines]
            if item.depth > depth:
                low, high = max(top - item.depth, 0.0) + dz, top + dz
                grooves.append({"name": item.name, "boxes": boxes, "z": (low, high)})
            else:
                lines.append({"name": item.name, "boxes": boxes})
    floor = top + dz + (depth if down else -depth)
    return entries.Engraved.model_validate(
        {
            "part": part,
            "floor": floor,
            "depth": depth,
            "down": down,
            "signs": signs,
            "lines": lines,
            "grooves": grooves,
        }
    )


def _shifted(box: Bounds, dx: float, dy: float) -> Bounds:
    return box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy
