"""Which jig for the pair on the bench: the best of those on the shelf, or why none fits.

What one serves is decided here, for a pair in hand and for an evening alike.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from jiggen.design.ladder import SHIFTS
from jiggen.design.sidewall import Sidewall
from jiggen.drilling import DrillingLimits, SkiState
from jiggen.errors import Finding, JiggenError
from jiggen.evening.check import told_apart, widths_of
from jiggen.evening.families import MARGIN, skis_around
from jiggen.layout import recorded_layout
from jiggen.pattern.model import Core, Pattern, Side
from jiggen.record import JigRecord
from jiggen.report.redrill import check_set, other_boot, other_core, set_for
from jiggen.shelf.jigs import BUSH_LIMIT, OwnedJig, warnings_of

SAME = 1e-6  # mm
FORBIDDING = {"shelf.failed", "shelf.retired"}  # what nothing but another print cures


@dataclass(frozen=True, eq=False)
class PairInHand:
    """A pair to be drilled; `ski` are its widths under toe and heel, where the noses touch; mm.

    That is `rail_depth` below the top sheet of a ski with such a `sidewall`.
    """

    pattern: Pattern
    boot: float
    ski: tuple[float, float]
    core: Core = "plain"
    side: Side = "left"
    shift: float = 0.0
    sidewall: Sidewall = "upright"
    rail_depth: float = 9.0
    thickness: tuple[float, ...] = ()
    limits: DrillingLimits = field(default_factory=DrillingLimits)


@dataclass(frozen=True, eq=False)
class Shelved:
    """A jig on the shelf with what its folder says: its record, and the pattern it is of."""

    jig: OwnedJig
    record: JigRecord
    pattern: Pattern


@dataclass(frozen=True, eq=False)
class Fit:
    """A jig that serves a pair: its record as it is used for it, and what to beware of.

    `by_slot` is the mount shift in mm that is set by its slot.
    """

    shelved: Shelved
    record: JigRecord
    by_slot: float
    warnings: tuple[Finding, ...]

    @property
    def mark(self) -> str:
        """Its jig mark."""
        return self.shelved.jig.mark

    @property
    def may_drill(self) -> bool:
        """Whether nothing that is known forbids to drill with it."""
        return not any(warning.code in FORBIDDING for warning in self.warnings)


@dataclass(frozen=True, eq=False)
class Answer:
    """The jigs that serve a pair, the best first; the others, each with the first reason why."""

    fits: tuple[Fit, ...]
    others: tuple[tuple[OwnedJig, Finding], ...]

    @property
    def best(self) -> Fit | None:
        """The jig to take, if there is one."""
        return next((fit for fit in self.fits if fit.may_drill), None)


def find_jig(
    shelf: Iterable[Shelved | tuple[OwnedJig, Finding]],
    pair: PairInHand,
    limit: float = BUSH_LIMIT,
) -> Answer:
    """Hold every jig on the shelf against a pair; `limit` is how many holes one bush may guide.

    Those whose folder tells nothing stand there with why.
    """
    fits, others = [], []
    for one in shelf:
        if not isinstance(one, Shelved):
            others.append(one)
        elif isinstance(found := fit(one, pair, limit), Fit):
            fits.append(found)
        else:
            others.append((one.jig, found))
    fits.sort(key=lambda one: (not one.may_drill, len(one.warnings), one.by_slot != 0, one.mark))
    return Answer(tuple(fits), tuple(others))


def fit(shelved: Shelved, pair: PairInHand, limit: float = BUSH_LIMIT) -> Fit | Finding:
    """How a jig serves a pair, or the first reason why it does not."""
    record = shelved.record
    shift = pair.shift - record.inputs.shift
    by_slot = round(shift, 6) if _slot_sets(record, shift) else 0.0
    for reason in (*misfits(shelved.jig, pair), *_differs(shelved, pair, by_slot)):
        return reason
    try:
        used = set_for(record, pair.boot, by_slot)
        inputs = record.inputs
        widths = widths_of(*pair.ski, recorded_layout(used), inputs.sidewall, inputs.rail_depth)
        state = SkiState(pair.thickness, told_apart(widths), pair.pattern.area)
        state.check()
        used = check_set(used, used, state, pair.limits)
    except JiggenError as error:
        return error.findings[0]
    warnings = (*warnings_of(shelved.jig, limit), *_warnings(shelved, pair))
    return Fit(shelved, used, by_slot, (*warnings, *used.drilling.warnings))


def misfits(jig: OwnedJig, pair: PairInHand) -> Iterator[Finding]:
    """What keeps a jig from serving a pair by what the shelf alone says of it."""
    if jig.pattern != pair.pattern.name:
        yield Finding("which.pattern", f"it is for another pattern, {jig.pattern}")
    least, most = jig.boots or (pair.boot, pair.boot)
    if not least <= pair.boot <= most:
        yield other_boot((least, most), pair.boot)
    narrowest, widest = jig.skis or pair.ski
    range_ = f"the jig is for skis of {narrowest:g} to {widest:g} mm"
    if min(pair.ski) < narrowest - SAME:
        yield Finding("which.ski", f"the ski is too narrow, {min(pair.ski):g} mm: {range_}")
    if max(pair.ski) > widest + SAME:
        yield Finding("which.ski", f"the ski is too wide, {max(pair.ski):g} mm: {range_}")
    if jig.core != pair.core:
        yield other_core(jig.core, pair.core)
    if jig.side and jig.side != pair.side:
        yield Finding("which.side", f"it is for {jig.side} skis")


def holds_margin(jig: OwnedJig, ski: tuple[float, float]) -> bool:
    """Whether the jig serves a ski that is wider or narrower at the noses than where measured."""
    (low, high), (least, most) = skis_around(*ski), jig.skis or ski
    return least <= low and high <= most


def _slot_sets(record: JigRecord, shift: float) -> bool:
    """Whether a mount shift beside the jig's own, mm, is set by a slot in each of its halves."""
    bodies = sum(part.is_body for part in record.parts)
    slotted = sum(any(row.name == "shift" for row in one.rows) for one in record.ladders)
    return slotted == bodies and abs(shift) <= SHIFTS and abs(shift - round(shift)) <= SAME


def _differs(shelved: Shelved, pair: PairInHand, by_slot: float) -> Iterator[Finding]:
    """What else keeps it from serving the pair, by its record and its pattern."""
    inputs = shelved.record.inputs
    if shelved.pattern.content != pair.pattern.content:
        hint = "Compare pattern.toml in its folder with the pattern; build a jig by the right one."
        message = "the pattern has been changed since the jig was built"
        yield Finding("which.changed", message, hint=hint)
    if abs(pair.shift - inputs.shift - by_slot) > SAME:
        yield Finding("which.shift", f"its shift is {inputs.shift:+g} mm, not {pair.shift:+g} mm")
    if (inputs.sidewall, inputs.rail_depth) != (pair.sidewall, pair.rail_depth):
        sides = f"{inputs.sidewall} sides, touched {inputs.rail_depth:g} mm below the top sheet"
        yield Finding("which.sides", f"it is for skis with {sides}")


def _warnings(shelved: Shelved, pair: PairInHand) -> Iterator[Finding]:
    """What to see to before it is used for the pair."""
    where = f"jig {shelved.jig.mark}"
    if shelved.jig.state == "built":
        message = "the shelf does not know that it was printed"
        yield Finding("which.built", message, where=where, hint="Print it; or note that it was.")
    if not holds_margin(shelved.jig, pair.ski):
        ski = shelved.record.inputs.ski
        served = f"{ski.least:g} to {ski.most:g} mm"
        message = f"the ski is within {MARGIN:g} mm of an end of what the jig is for, {served}"
        hint = "Measure the ski where the noses of all rails touch it."
        yield Finding("which.close", message, where=where, hint=hint)
