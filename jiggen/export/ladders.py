"""What the record says of a jig for many boots: its ladders, and every boot's layout."""

from __future__ import annotations

from jiggen.design.jig import Design
from jiggen.design.pieces import list_pieces
from jiggen.design.reusable import Reusable
from jiggen.export.manifest import BootRange, rounded
from jiggen.record.model import BootLayout

APART = 24.0  # mm between halves in pictures


def range_entries(jig: Reusable) -> BootRange:
    """The ladders of a jig's halves, every boot's layout, and how pictures show the halves.

    Lengths in mm, ski frame; a ladder's lines are where they lie for the longest boot.
    """
    return BootRange(
        boots=(min(jig.layouts), max(jig.layouts)),
        ladders=tuple(half.ladder for half in jig.halves if half.ladder),
        layouts=tuple(
            BootLayout(
                boot=boot,
                x={
                    hole: rounded(x)
                    for hole, x in zip(layout.ids, layout.positions[:, 0], strict=True)
                },
            )
            for boot, layout in sorted(jig.layouts.items())
        ),
        shown={name: dx for name, dx in apart(jig.whole).items() if dx},
    )


def apart(design: Design) -> dict[str, float]:
    """By placed piece, how far along the ski a picture moves it so that no halves overlap, mm.

    Halves with a joint fit together as they are.
    """
    moved: dict[str, float] = {}
    reached = None
    for body in sorted(design.bodies, key=lambda body: body.plate.start):
        beyond = 0.0 if reached is None else reached + APART - body.plate.start
        dx = 0.0 if design.joint else max(0.0, beyond)
        reached = body.plate.stop + dx
        moved[body.name] = dx
    placed = [placed for piece in list_pieces(design) for placed in piece.placed if placed.body]
    return moved | {piece.name: moved[piece.body] for piece in placed}
