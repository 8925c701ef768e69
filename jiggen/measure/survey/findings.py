"""What is wrong with a survey, and what to measure next, in a technician's words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from jiggen.errors import Finding
from jiggen.measure import METHODS, REACH, Method
from jiggen.measure.adjustment import NOTICED, Array, GrossError
from jiggen.measure.survey import next_reading
from jiggen.measure.survey.examination import Examination, Symmetry
from jiggen.measure.survey.fit import Fit
from jiggen.measure.survey.network import Claim
from jiggen.measure.survey.rigidity import Alternative, Hinge
from jiggen.measure.words import (
    SHOWN,
    describe_coarse,
    describe_contradiction,
    describe_unchecked,
    listed,
    measure_as_well,
)

_ENDS = {"front": "tip", "rear": "tail"}


def refusals(found: Examination, limit: float) -> tuple[Finding, ...]:
    """Why no pattern should be made of it; `limit` in mm for the 95 % uncertainty of a place.

    Codes: ``survey.loose``, ``.whole``, ``.two-ways``, ``.gross-error``, ``.disagree``, ``.sides``,
    ``.unlike``, ``.uncertain``.
    """
    return _of_survey(found, _refusals(found, limit))


def warnings(found: Examination) -> tuple[Finding, ...]:
    """What to know before relying on it.

    Codes: ``survey.unchecked``, ``.assumed``, ``.coarse``, ``.alike``.
    """
    return _of_survey(found, _warnings(found))


def _of_survey(found: Examination, findings: Iterator[Finding]) -> tuple[Finding, ...]:
    return tuple(
        replace(finding, code=f"survey.{finding.code}", where=found.survey.source)
        for finding in findings
    )


def _refusals(found: Examination, limit: float) -> Iterator[Finding]:
    rigidity = found.rigidity
    if rigidity.lacking:
        names = next_reading.fixing(found.fit, rigidity.lacking)
        hint = measure_as_well(names) if names else "Measure to it from another hole."
        yield Finding("loose", _loose(found), hint=hint)
    elif rigidity.whole:
        yield _whole(found)
    for other in found.others:
        yield _two_ways(found, other)
    if found.gross_error is not None and found.contradicts:
        yield _contradiction(found, found.gross_error)
    if rigidity.rigid:  # otherwise holes lie anywhere
        yield from _sides(found)
    if found.symmetry.verdict == "different" and not found.contradicts:
        yield _unlike(found.symmetry)
    reaches = zip(found.survey.holes, found.within, strict=True)
    over = [name for name, reach in reaches if reach > limit]
    if over and rigidity.rigid and not found.contradicts:
        yield _uncertain(found, over, limit)


def _warnings(found: Examination) -> Iterator[Finding]:
    rigid = found.rigidity.rigid
    if found.unchecked and rigid:
        yield _unchecked(found)
    if found.symmetry.verdict == "assumed" and rigid:
        names = [*(f"{a}/{b}" for a, b in found.survey.pairs), *found.survey.on_centre_line]
        yield Finding(
            "assumed",
            f"that left and right are symmetric ({', '.join(names)}) is assumed as you wrote: the "
            "distances do not check all of it",
            hint="Measure on both sides of the plate, and across from corner to corner.",
        )
    if found.scale > 1 and not found.contradicts:
        yield describe_coarse(found.scale, float(np.median(found.plain.network.sigmas)))
    if found.possible_pairs:
        pairs = ", ".join(f'["{a}", "{b}"]' for a, b in found.possible_pairs)
        yield Finding(
            "alike",
            "left and right look alike within what was measured",
            hint=f"If the plate is made so, the places get surer with pairs = [{pairs}].",
        )


def _loose(found: Examination) -> str:
    loose, hinges = found.rigidity.loose, found.rigidity.hinges
    if not loose:
        return "the holes can still move against one another"
    ways = [_way(found, hinge, alone=len(hinges) == 1) for hinge in hinges]
    return f"cannot tell where {_holes(loose)} {_are(loose)}: {', and '.join(ways)}"


def _way(found: Examination, hinge: Hinge, *, alone: bool) -> str:
    """How some holes can still move; `alone` where they are all that do."""
    several = len(hinge.holes) > 1
    pronoun = "they" if several else "it"
    who = pronoun if alone else listed(hinge.holes)
    can = f"{who} hold together, but can still" if several else f"{who} can still"
    if len(hinge.pins) > 1:
        line = f"{who} {'lie' if several else 'lies'} in one line with {listed(hinge.pins)}"
        return f"{line} and can still give way sideways"
    if hinge.pins:
        return f"{can} swing about {hinge.pins[0]}"
    ends = ({reading.first, reading.second} for reading in found.survey.readings)
    if not any(len(both & set(hinge.holes)) == 1 for both in ends):
        return f"nothing was measured from {listed(hinge.holes)} to the others"
    return f"{can} move"


def _whole(found: Examination) -> Finding:
    where = {
        "turn": "which way the plate points on the ski",
        "along": "how far along the ski the plate lies",
        "across": "how far from the centre line the plate lies",
    }
    unknown = [where[way] for way in found.rigidity.whole]
    hint = (
        'Name a left and right pair under [plate], pairs = [["a", "b"]], or two holes in a line '
        "along the ski, along = […], or measure two holes from one edge."
    )
    return Finding("whole", f"cannot tell {listed(unknown)}", hint=hint)


def _two_ways(found: Examination, other: Alternative) -> Finding:
    names = found.survey.holes
    here = found.places
    if not other.moved:
        hint = "Name the holes nearest the tip under front, and holes under left or right."
        message = "the whole plate fits as well turned round or mirrored"
        return Finding("two-ways", message, hint=hint)
    moved = [names[hole] for hole in other.moved]
    there = np.round(other.places, 1) + 0.0  # no negative zero
    shown = ", ".join(
        f"{names[h]} at x {there[h, 0]:.1f}, y {there[h, 1]:.1f}" for h in other.moved[:3]
    )
    message = f"the distances fit two places of {_holes(moved)}: as listed, or elsewhere ({shown})"
    best = next_reading.distinguishing(found.fit, there)
    ways = [f"measure {best} as well"] if best else []
    ways += _named_sides(here, there, other.moved, names)
    hint = f"{'; or, '.join(ways)}." if ways else "Measure the distances again."
    return Finding("two-ways", message, hint=hint[0].upper() + hint[1:])


def _named_sides(
    here: Array, there: Array, moved: tuple[int, ...], names: tuple[str, ...]
) -> list[str]:
    """What to name under ``[plate]`` so that only one of two arrangements is left."""
    ways = []
    shown = ", ".join(f'"{names[hole]}"' for hole in moved)
    if len(moved) == 1 and here[moved[0], 1] * there[moved[0], 1] < 0:
        ways.append(f"name it under left or right: left = [{shown}]")
    rest = np.setdiff1d(np.arange(len(names)), moved)
    for key, sign in (("front", 1.0), ("rear", -1.0)):
        beyond = [
            bool((sign * at[list(moved), 0]).min() > (sign * at[rest, 0]).max())
            for at in (here, there)
        ]
        if beyond[0] != beyond[1]:
            ways.append(f"if no other hole is nearer the {_ENDS[key]}, name {key} = [{shown}]")
    return ways


def _contradiction(found: Examination, wrong: GrossError[Fit]) -> Finding:
    network = found.plain.network
    explained = []
    if wrong.likely:
        agree = wrong.without.disagreement * float(np.median(network.sigmas))
        explained += [f"Measure it again; without it all others agree within {agree:.2f} mm."]
        if meant := _meant(found, wrong):
            reading = replace(found.survey.readings[wrong.row], kind=meant)
            explained += [f"It would fit as: {reading}."]
        if found.asymmetry:
            explained += [f"Or left and right are not symmetric: {_apart(found.asymmetry)}."]
    elif found.asymmetry:
        return _unlike(found.asymmetry)
    return describe_contradiction(
        "distances",
        found.plain,
        wrong,
        [network.label(row) for row in range(len(network.values))],
        lambda row, less: f"{network.values[row] - less:.2f}",
        explained=explained,
        coarse="If you measured with a ruler, state its uncertainty as sigma: 0.3 mm.",
    )


def _meant(found: Examination, wrong: GrossError[Fit]) -> Method | None:
    """The way of measuring that would explain a reading that is wrong, if one does."""
    if wrong.row >= len(found.survey.readings):
        return None
    reading = found.survey.readings[wrong.row]
    sizes = dict(zip(found.survey.holes, found.survey.diameters, strict=True))
    rims = sum(sizes.get(end, 0.0) for end in (reading.first, reading.second)) / 2
    for kind in METHODS:
        # Read as `kind`, it would hold that many radii more than the kind written down.
        more = (REACH[kind] - REACH[reading.kind]) * rims
        if kind != reading.kind and abs(wrong.off - more) < max(4 * wrong.known, 0.2):
            return kind
    return None


def _sides(found: Examination) -> Iterator[Finding]:
    """One finding for each hole that does not lie where the survey says, by what it misses most."""
    network = found.plain.network
    beyond = network.beyond(found.fit.parameters)
    worst: dict[tuple[str, str], int] = {}
    for row, claim in enumerate(network.claims):
        known = worst.setdefault((claim.key, claim.name), row)
        if beyond[row] > beyond[known]:
            worst[claim.key, claim.name] = row
    for row in worst.values():
        if beyond[row]:
            yield _side(network.claims[row], float(beyond[row]))


_SIDES = {
    "front": "{name} is named under front, but {other} lies {beyond:.1f} mm before it",
    "rear": "{name} is named under rear, but {other} lies {beyond:.1f} mm behind it",
    "left": "{name} is named under left, but lies {beyond:.1f} mm to the right",
    "right": "{name} is named under right, but lies {beyond:.1f} mm to the left",
    "pairs": '["{name}", "{other}"] under pairs has the right hole first',
    "along": '["{name}", "{other}"] under along has the front hole first',
    "edge": "hole {name} lies {beyond:.1f} mm beyond the {other} edge",
}
_LOOK = {
    "pairs": "Look at the plate from the tail: the left hole stands first.",
    "along": "The hole nearer the tail stands first.",
}


def _side(claim: Claim, beyond: float) -> Finding:
    message = _SIDES[claim.key].format(name=claim.name, other=claim.other, beyond=beyond)
    look = "Look at the plate again: is a name wrong in the list, or a distance?"
    return Finding("sides", message, hint=_LOOK.get(claim.key, look))


def _unlike(found: Symmetry) -> Finding:
    return Finding(
        "unlike",
        _apart(found),
        hint="Measure them again. If the plate is made so, take them out of pairs and "
        "centre_line, and say where the middle is.",
    )


def _apart(found: Symmetry) -> str:
    who = f"{listed(found.worst)} are" if len(found.worst) > 1 else f"{found.worst[0]} is"
    what = "being mirror images" if len(found.worst) > 1 else "the centre line"
    return f"{who} {found.off:.2f} mm from {what}, where {found.within:.2f} would be no surprise"


def _uncertain(found: Examination, over: list[str], limit: float) -> Finding:
    index = found.plain.network.index
    who = _holes(over) if len(over) <= SHOWN else f"{len(over)} holes"
    over = sorted(over, key=lambda name: -found.within[index[name]])
    shown = [f"{name} within {found.within[index[name]]:.2f} mm" for name in over[:SHOWN]]
    message = f"{who} {_are(over)} not known within {limit:g} mm: {', '.join(shown)}"
    best = next_reading.sharpening(found.fit)
    hint = measure_as_well([best]) if best else "Measure again, or with a finer tool."
    return Finding("uncertain", message, hint=hint)


def _unchecked(found: Examination) -> Finding:
    rows = found.unchecked
    best = next_reading.checking(found.plain, np.array(rows))
    hint = measure_as_well([best]) if best else "Measure them twice."
    if len(rows) == len(found.survey.readings):
        message = (
            f"nothing would show a gross error of {NOTICED:g} mm: no distance is checked by another"
        )
        return Finding("unchecked", message, hint=hint)
    return describe_unchecked([found.plain.network.label(row) for row in rows], hint)


def _holes(names: list[str] | tuple[str, ...]) -> str:
    return f"hole {names[0]}" if len(names) == 1 else f"holes {listed(names)}"


def _are(names: list[str] | tuple[str, ...]) -> str:
    return "is" if len(names) == 1 else "are"
