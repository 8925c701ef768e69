"""The drilling check of a built jig done again, for the ski that is on the bench now."""

from dataclasses import asdict, replace

from jiggen.drilling import DrillingLimits, SkiState, check_all_boots
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.layout import recorded_layout
from jiggen.pattern.model import Screw
from jiggen.record import JigRecord, check_usable
from jiggen.record.entries import SkiInHand


def check_core(record: JigRecord, core: str) -> None:
    """Raise InputError ``sheet.core`` when the jig was built for another drill than `core`'s."""
    built = record.inputs.core
    if core != built:
        message = f"this jig guides the drill for a {built} core, not {core}"
        hint = f"Build another for a {core} core: drill and bushes differ."
        raise InputError(Finding("sheet.core", message, key="core", hint=hint))


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
    chucks = {guide.id: guide.chuck_z for guide in record.guides}
    layouts = [recorded_layout(record)]  # then those of the other boots that the jig serves
    for entry in record.boots:
        if entry.boot != layouts[0].boot:
            positions = layouts[0].positions.copy()
            positions[:, 0] = [entry.x[hole] for hole in layouts[0].ids]
            layouts.append(replace(layouts[0], boot=entry.boot, positions=positions))
    too_deep = record.accuracy.depth.too_deep
    found = check_all_boots(tuple(layouts), tops, state, limits, screws, chucks, too_deep)
    if found.errors:
        raise CheckFailed(found.errors)
    ski = SkiInHand.model_validate(asdict(state))
    asked = {"ski_in_hand": ski, "drilling_limits": asdict(limits)}
    inputs = record.inputs.model_copy(update=asked)
    return record.model_copy(update={"drilling": found, "inputs": inputs})
