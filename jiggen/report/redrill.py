"""The drilling check of a built jig done again, for the ski that is on the bench now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from jiggen.drilling import DrillingLimits, Screw, SkiState
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.layout import Layout
from jiggen.report.expect import drill_over
from jiggen.report.sheet.job import Job, read_job


def check_core(manifest: Mapping[str, Any], core: str) -> None:
    """Raise InputError ``sheet.core`` when the jig was built for another drill than `core`'s.

    And what `read_job` raises.
    """
    built = read_job({**manifest, "drilling": None}).inputs.core
    if core != built:
        raise InputError(
            Finding(
                "sheet.core",
                f"this jig guides the drill for a {built} core, not {core}",
                key="--core",
                hint=f"Build another with --core {core}: drill and bushes differ.",
            )
        )


def redrilled(
    manifest: Mapping[str, Any], state: SkiState, limits: DrillingLimits
) -> dict[str, Any]:
    """`manifest` with its drilling check done for `state`.

    Raises CheckFailed where the ski must not be drilled so, and what `read_job` raises.
    """
    job = read_job({**manifest, "drilling": None})
    screws = {
        hole: Screw(plate=said.plate, lengths=said.lengths)
        for hole, said in job.inputs.screws.items()
    }
    layout = _layout(job)
    found = drill_over((layout, *_others(job, layout)), job.guide_top, state, limits, screws)
    if found.errors:
        raise CheckFailed(found.errors)
    return {**manifest, "drilling": found.as_dict()}


def _others(job: Job, layout: Layout) -> Iterator[Layout]:
    """The layouts of the other boots that a jig with ladders serves."""
    for entry in job.boots:
        if entry.boot != layout.boot:
            places = np.array([(entry.x[hole.id], hole.y) for hole in job.holes])
            yield replace(layout, boot=entry.boot, positions=places)


def _layout(job: Job) -> Layout:
    """The layout that a built jig drills."""
    said = job.inputs
    return Layout(
        pattern=said.pattern,
        boot=said.boot,
        mount_shift=said.shift,
        core=said.core,
        side=said.side,
        pair=said.pair,
        ids=tuple(hole.id for hole in job.holes),
        groups=tuple(hole.group for hole in job.holes),
        positions=np.array([(hole.x, hole.y) for hole in job.holes]),
        diameters=np.array([hole.diameter for hole in job.holes]),
        depths=np.array([hole.depth for hole in job.holes]),
    )
