"""The drilling check of a built jig done again, for the ski that is on the bench now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace

from jiggen.drilling import DrillingLimits, Screw, SkiState, check_all_boots
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.layout import Layout, recorded_layout
from jiggen.record import JigRecord, check_usable
from jiggen.record.entries import SkiInHand


def check_core(record: JigRecord, core: str) -> None:
    """Raise InputError ``sheet.core`` when the jig was built for another drill than `core`'s."""
    built = record.inputs.core
    if core != built:
        raise InputError(
            Finding(
                "sheet.core",
                f"this jig guides the drill for a {built} core, not {core}",
                key="core",
                hint=f"Build another for a {core} core: drill and bushes differ.",
            )
        )


def redrilled(record: JigRecord, state: SkiState, limits: DrillingLimits) -> JigRecord:
    """`record` with its drilling check done for `state`.

    Raises CheckFailed where the ski must not be drilled so, and as `check_usable`.
    """
    check_usable(record)
    screws = {
        hole: Screw(plate=fixing.plate, lengths=fixing.lengths)
        for hole, fixing in record.inputs.screws.items()
    }
    tops = {hole: stop.bush_top for stop in record.drilling.stops for hole in stop.holes}
    found = check_all_boots(tuple(_layouts(record)), tops, state, limits, screws)
    if found.errors:
        raise CheckFailed(found.errors)
    ski = SkiInHand.model_validate(asdict(state))
    inputs = record.inputs.model_copy(
        update={"ski_in_hand": ski, "drilling_limits": asdict(limits)}
    )
    return record.model_copy(update={"drilling": found, "inputs": inputs})


def _layouts(record: JigRecord) -> Iterator[Layout]:
    """The layout that a built jig drills, then those of the other boots that it serves."""
    layout = recorded_layout(record)
    yield layout
    for entry in record.boots:
        if entry.boot != layout.boot:
            positions = layout.positions.copy()
            positions[:, 0] = [entry.x[hole] for hole in layout.ids]
            yield replace(layout, boot=entry.boot, positions=positions)
