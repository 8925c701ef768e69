"""The picture of each product: its parts where they go, drawn by `jiggen.export.preview`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from jiggen.design.engraving import DEPTH
from jiggen.design.fit_ladder import DEPTH as LADDER_DEPTH
from jiggen.design.fit_ladder import STRIP_HEIGHT
from jiggen.design.gauge_frame import DEPTH as GAUGE_DEPTH
from jiggen.design.gauge_frame import THICKNESS as GAUGE_THICKNESS
from jiggen.design.jig import Design
from jiggen.design.trial import DEPTH as TRIAL_DEPTH
from jiggen.design.trial import THICKNESS as TRIAL_THICKNESS
from jiggen.export.ladders import apart
from jiggen.export.preview import Shown, draw_preview, inked, ski_piece
from jiggen.export.write import Meshes
from jiggen.solid import Model

GAUGE_ZOOM = 1.15
MORE_SKI = 60.0  # mm of ski beyond either end of the jig


def draw_jig(design: Design, model: Model, meshes: Meshes, path: Path) -> None:
    """Write the picture of a jig on a ski, halves apart; `meshes` by part, as they are printed."""
    moved = apart(design)
    ends = [(b.plate.start + moved[b.name], b.plate.stop + moved[b.name]) for b in design.bodies]
    start, stop = min(low for low, _ in ends), max(high for _, high in ends)
    ski = ski_piece((start - MORE_SKI, stop + MORE_SKI), design.settings.ski.middle)
    floors = {
        **dict.fromkeys(("body", "pinion", "knob"), design.settings.body - DEPTH),
        "rail": design.mechanism.rail.top_z - DEPTH,
    }
    draw_preview([ski, *_shown(model, meshes, floors, moved)], path)


def draw_trial(model: Model, meshes: Meshes, path: Path) -> None:
    """Write the picture of a trial plate."""
    draw_preview(list(_shown(model, meshes, {"plate": TRIAL_THICKNESS - TRIAL_DEPTH})), path)


def draw_gauge(model: Model, meshes: Meshes, path: Path) -> None:
    """Write the picture of a gauge."""
    floors = {"gauge": GAUGE_THICKNESS - GAUGE_DEPTH, "slots": STRIP_HEIGHT - LADDER_DEPTH}
    draw_preview(list(_shown(model, meshes, floors)), path, GAUGE_ZOOM)


def _shown(
    model: Model,
    meshes: Meshes,
    floors: Mapping[str, float],
    moved: Mapping[str, float] | None = None,
) -> Iterator[Shown]:
    """Every piece where it goes, `moved` along the ski by its name, mm.

    `floors` are the heights of engraved floors by kind of part; other kinds have none.
    """
    for part in model.parts:
        mesh, kind = meshes[part.name], part.piece.kind
        for placed in part.piece.placed:
            pose = part.piece.to_ski(placed)
            pose[0, 3] += (moved or {}).get(placed.name, 0.0)
            vertices = mesh.vertices @ pose[:3, :3].T + pose[:3, 3]
            whole = Shown(kind, vertices, mesh.triangles)
            yield from inked(whole, floors[kind]) if kind in floors else [whole]
