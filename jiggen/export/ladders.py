"""What the manifest says of a jig for many boots: its ladders, and every boot's layout."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from jiggen.design.engraving import DEPTH
from jiggen.design.jig import Design
from jiggen.design.ladder import LONG, LONG_SIGHT, NUMBER_GAP, SIGHT, Row
from jiggen.design.pieces import list_pieces
from jiggen.design.reusable import Half, Reusable
from jiggen.export.manifest import rounded

APART = 24.0  # mm between halves in pictures


def ladder_entries(jig: Reusable) -> dict[str, Any]:
    """The manifest's ``ladders``, ``boots`` and ``shown``; lengths in mm, ski frame.

    A ladder's `x` are places on its part as it lies for the longest boot; ``boots`` has where the
    layout of each boot length puts each hole; ``shown`` how far a piece is moved in pictures.
    """
    floor = jig.whole.settings.body - DEPTH
    return {
        "ladders": [
            {
                "part": half.body.name,
                "groups": list(half.motion.groups),
                "rows": [_row(row, floor) for row in _rows(half)],
            }
            for half in jig.halves
            if half.ladder
        ],
        "boots": [
            {
                "boot": boot,
                "x": {
                    hole: rounded(x)
                    for hole, x in zip(layout.ids, layout.positions[:, 0], strict=True)
                },
            }
            for boot, layout in sorted(jig.layouts.items())
        ],
        "shown": {name: dx for name, dx in apart(jig.whole).items() if dx},
    }


def _rows(half: Half) -> Iterator[Row]:
    if half.ladder:
        yield from half.ladder.rows
        yield half.ladder.shift


def _row(row: Row, floor: float) -> dict[str, Any]:
    return {
        "name": row.name,
        "floor": rounded(floor),
        "y": rounded(row.at(SIGHT)),
        "long_y": rounded(row.at(LONG_SIGHT)),
        "numbers": sorted(
            rounded(row.at(depth)) for depth in (LONG + NUMBER_GAP / 2, row.depth + NUMBER_GAP / 2)
        ),
        "lines": [
            {
                "x": rounded(line.x),
                "first": line.first,
                "last": line.last,
                "number": line.number,
            }
            for line in row.lines
        ],
    }


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
