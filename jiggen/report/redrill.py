"""The drilling check of a built jig done again, for the ski that is on the bench now."""

from dataclasses import asdict

from pydantic import TypeAdapter

from jiggen.design.sidewall import run_out
from jiggen.drilling import DrillingLimits, SkiState, check_all_boots
from jiggen.drilling.clamping import unheld
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.layout import recorded_layout
from jiggen.pattern.model import SHOE_SIZES, SOLE_HINT, Screw
from jiggen.record import JigRecord, check_usable
from jiggen.record.entries import SkiInHand
from jiggen.record.model import BootLayout


def check_core(record: JigRecord, core: str) -> None:
    """Raise InputError ``sheet.core`` when the jig was built for another drill than `core`'s."""
    if core != record.inputs.core:
        raise InputError(other_core(record.inputs.core, core))


def other_core(built: str, core: str) -> Finding:
    """That a jig was `built` for another core."""
    message = f"this jig guides the drill for a {built} core, not {core}"
    hint = f"Build another for a {core} core: drill and bushes differ."
    return Finding("sheet.core", message, key="core", hint=hint)


def other_boot(boots: tuple[float, float], boot: float) -> Finding:
    """That a jig is for other `boots`, from and to, mm."""
    least, most = boots
    made = f"{least:g}" if least == most else f"{least:g} to {most:g}"
    message = f"the jig is for a boot sole of {made} mm, not {boot:g} mm"
    hint = "Read the length on the shell again, or build a jig for this boot."
    if SHOE_SIZES[0] <= boot <= SHOE_SIZES[1]:
        message, hint = f"{boot:g} looks like a shoe size", SOLE_HINT
    return Finding("sheet.boot", message, key="boot", hint=hint)


def only_boot(record: JigRecord) -> float:
    """The one boot that a jig is for, mm.  Raises InputError ``sheet.short`` of one for many."""
    if record.inputs.boots is None:
        return record.inputs.boot
    least, most = record.inputs.boots
    message = f"the jig is for boots from {least:g} to {most:g} mm, and one page for one of them"
    raise InputError.of("sheet.short", message, key="boot", hint="Say which boot is in hand.")


def for_boot(record: JigRecord, boot: float) -> JigRecord:
    """`record` as it is used for one of its boots, mm: holes, stations and drilling of that one.

    Raises InputError ``sheet.boot`` for a boot that the jig does not serve, and as `redrilled`.
    """
    measured = record.inputs.ski_in_hand.model_dump()
    state = TypeAdapter(SkiState).validate_python(measured)
    limits = DrillingLimits(**record.inputs.drilling_limits)
    return _narrowed(redrilled(record, state, limits, boot), boot)


def set_for(record: JigRecord, boot: float, by_slot: float = 0.0) -> JigRecord:
    """As `for_boot`, but for a drilling check; `by_slot` its slot moves the mount, mm.

    Raises CheckFailed as `check_usable`.
    """
    check_usable(record)
    return _narrowed(_moved(record, by_slot), boot)


def _moved(record: JigRecord, by: float) -> JigRecord:
    """`record` with the holes and the stations of all boots `by` so much along the ski."""
    if not by:
        return record
    boots = (
        entry.model_copy(update={"x": {hole: x + by for hole, x in entry.x.items()}})
        for entry in record.boots
    )
    changed = {
        "holes": tuple(one.model_copy(update={"x": one.x + by}) for one in record.holes),
        "stations": tuple(one.model_copy(update={"x": one.x + by}) for one in record.stations),
        "boots": tuple(boots),
        "inputs": record.inputs.model_copy(update={"shift": record.inputs.shift + by}),
    }
    return record.model_copy(update=changed)


def _narrowed(record: JigRecord, boot: float) -> JigRecord:
    """`record` with the holes and the stations of one boot, and no other boot."""
    inputs = record.inputs
    least, most = inputs.boots or (inputs.boot, inputs.boot)
    if not least <= boot <= most:
        raise InputError(other_boot((least, most), boot))
    entries = tuple(entry for entry in record.boots if entry.boot == boot)
    if record.ladders and not entries:
        message = f"no line is for {boot:g} mm: there is one for each whole millimetre"
        hint = "Round to the nearer one: half a millimetre of boot moves a hole by a quarter."
        raise InputError.of("sheet.boot", message, key="boot", hint=hint)
    here = _at(record, entries[0]) if entries else record
    inputs = inputs.model_copy(update={"boot": boot, "boots": None})
    return here.model_copy(update={"inputs": inputs, "boots": entries})


def _at(record: JigRecord, entry: BootLayout) -> JigRecord:
    """`record` with holes and stations where they are for a boot."""
    along = {hole.id: entry.x[hole.id] - hole.x for hole in record.holes}
    moved = {guide.part: along[guide.id] for guide in record.guides}
    holes = (hole.model_copy(update={"x": entry.x[hole.id]}) for hole in record.holes)
    stations = (
        station.model_copy(update={"x": station.x + moved.get(station.part, 0.0)})
        for station in record.stations
    )
    inputs = record.inputs.model_copy(update={"boot": entry.boot})
    changed = {"holes": tuple(holes), "stations": tuple(stations), "inputs": inputs}
    return record.model_copy(update=changed)


def redrilled(
    record: JigRecord, state: SkiState, limits: DrillingLimits, boot: float | None = None
) -> JigRecord:
    """`record` with its drilling check done for `state`: for all its boots, or for that `boot`.

    Raises CheckFailed where the ski must not be drilled so or the rails do not hold it, and as
    `check_usable`; InputError as `for_boot`.
    """
    check_usable(record)
    return check_set(record, record if boot is None else _narrowed(record, boot), state, limits)


def check_set(
    whole: JigRecord, record: JigRecord, state: SkiState, limits: DrillingLimits
) -> JigRecord:
    """`whole` with the drilling check done for `state`, for the boots of `record`.

    Raises CheckFailed where the ski must not be drilled so or the rails do not hold it.
    """
    screws = {
        hole: Screw(plate=fixing.plate, lengths=fixing.lengths)
        for hole, fixing in record.inputs.screws.items()
    }
    tops = {hole: stop.bush_top for stop in record.drilling.stops for hole in stop.holes}
    chucks = {guide.id: guide.chuck_z for guide in record.guides}
    # That which it is drawn for, then those of the other boots that the jig serves.
    others = (entry for entry in record.boots if entry.boot != record.inputs.boot)
    every = [record, *(_at(record, entry) for entry in others)]
    layouts = tuple(recorded_layout(one) for one in every)
    too_deep = record.accuracy.depth.too_deep
    found = check_all_boots(layouts, tops, state, limits, screws, chucks, too_deep)
    inputs = record.inputs
    wider = 2 * run_out(inputs.sidewall, inputs.rail_depth)
    places = [{station.name: station.x for station in one.stations} for one in every]
    errors = found.errors + unheld(places, state, wider, (inputs.ski.least, inputs.ski.most))
    if errors:
        raise CheckFailed(errors)
    ski = SkiInHand.model_validate(asdict(state))
    asked = {"ski_in_hand": ski, "drilling_limits": asdict(limits)}
    inputs = whole.inputs.model_copy(update=asked)
    return whole.model_copy(update={"drilling": found, "inputs": inputs})
