"""What is wrong with a survey, and what to measure next, in a technician's words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from jiggen.errors import Finding
from jiggen.measure.adjustment import NOTICED, Array, GrossError
from jiggen.survey import extra
from jiggen.survey.ambiguity import Alternative
from jiggen.survey.examine import Examination
from jiggen.survey.fit import Fit
from jiggen.survey.model import KINDS, REACH, Kind, listed
from jiggen.survey.network import Claim
from jiggen.survey.rigidity import Hinge
from jiggen.survey.symmetry import Symmetry

_SHOWN = 6  # readings named in one line
_ENDS = {"front": "tip", "rear": "tail"}
_NOT_ALIKE = (
    "Measure them again. If the plate is made so, take them out of pairs and centre_line, and say "
    "where the middle is."
)


def refusals(found: Examination, limit: float) -> tuple[Finding, ...]:
    """Why no pattern should be made of it; `limit` in mm for the 95 % uncertainty of a place.

    Codes: ``survey.loose``, ``.whole``, ``.two-ways``, ``.misread``, ``.disagree``, ``.sides``,
    ``.unlike``, ``.uncertain``.
    """
    return tuple(
        Finding(f"survey.{code}", message, found.survey.source, hint=hint)
        for code, message, hint in _refusals(found, limit)
    )


def warnings(found: Examination) -> tuple[Finding, ...]:
    """What to know before relying on it.

    Codes: ``survey.unchecked``, ``.assumed``, ``.coarse``, ``.alike``.
    """
    return tuple(
        Finding(f"survey.{code}", message, found.survey.source, hint=hint)
        for code, message, hint in _warnings(found)
    )


def _refusals(found: Examination, limit: float) -> Iterator[tuple[str, str, str]]:
    held = found.rigidity
    if held.lacking:
        yield "loose", _loose(found), _measure(found, extra.fixing(found.fit, held.lacking))
    elif held.whole:
        yield _whole(found)
    for other in found.others:
        yield "two-ways", *_two_ways(found, other)
    if found.gross_error is not None and found.contradicts:
        yield _contradiction(found, found.gross_error)
    if held.rigid:  # otherwise it lies anywhere
        yield from _sides(found)
    if found.symmetry.verdict == "different" and not found.contradicts:
        yield "unlike", _unlike(found.symmetry), _NOT_ALIKE
    reaches = zip(found.survey.holes, found.within, strict=True)
    over = [name for name, reach in reaches if reach > limit]
    if over and held.rigid and not found.contradicts:
        yield "uncertain", *_uncertain(found, over, limit)


def _warnings(found: Examination) -> Iterator[tuple[str, str, str]]:
    if found.unchecked and found.rigidity.rigid:
        yield "unchecked", *_unchecked(found)
    if found.symmetry.verdict == "assumed" and found.rigidity.rigid:
        names = [*(f"{a}/{b}" for a, b in found.survey.pairs), *found.survey.on_centre_line]
        yield (
            "assumed",
            f"that left and right are alike ({', '.join(names)}) is taken from you: the "
            "distances do not check all of it",
            "Measure on both sides of the plate, and across from corner to corner.",
        )
    if found.scale > 1 and not found.contradicts:
        usual = float(np.median(found.plain.network.sigmas))
        yield (
            "coarse",
            f"your readings agree within {found.scale * usual:.2f} mm, not {usual:g} mm as said",
            "The places are given as that much less certain.",
        )
    if found.alike:
        pairs = ", ".join(f'["{a}", "{b}"]' for a, b in found.alike)
        yield (
            "alike",
            "left and right look alike within what was measured",
            f"If the plate is made so, the places get surer with pairs = [{pairs}].",
        )


def _loose(found: Examination) -> str:
    loose, held = found.rigidity.loose, found.rigidity.hinges
    if not loose:
        return "the holes can still move against one another"
    ways = [_way(found, hinge, alone=len(held) == 1) for hinge in held]
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


def _measure(found: Examination, pairs: list[extra.Pair]) -> str:
    names = found.survey.holes
    if not pairs:
        return "Measure to it from another hole."
    first, *more = (f"{names[i]} to {names[j]}" for i, j in pairs)
    return f"Measure {first} as well." + (f" Then {listed(more)}." if more else "")


def _whole(found: Examination) -> tuple[str, str, str]:
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
    return "whole", f"cannot tell {listed(unknown)}", hint


def _two_ways(found: Examination, other: Alternative) -> tuple[str, str]:
    names = found.survey.holes
    here = found.places
    if not other.moved:
        hint = "Name the holes nearest the tip under front, and holes under left or right."
        return "the whole plate fits as well turned round or mirrored", hint
    moved = [names[hole] for hole in other.moved]
    there = np.round(other.places, 1) + 0.0  # no negative zero
    shown = ", ".join(
        f"{names[h]} at x {there[h, 0]:.1f}, y {there[h, 1]:.1f}" for h in other.moved[:3]
    )
    message = f"the distances fit two places of {_holes(moved)}: as listed, or elsewhere ({shown})"
    best = extra.telling(found.fit, there)
    ways = [f"measure {names[best[0]]} to {names[best[1]]} as well"] if best else []
    ways += _named_sides(here, there, other.moved, names)
    hint = f"{'; or, '.join(ways)}." if ways else "Measure the distances again."
    return message, hint[0].upper() + hint[1:]


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


def _contradiction(found: Examination, wrong: GrossError[Fit]) -> tuple[str, str, str]:
    network = found.plain.network
    if not wrong.likely and found.unlike:
        return "unlike", _unlike(found.unlike), _NOT_ALIKE
    if not wrong.likely:
        worst = np.argsort(-np.abs(found.plain.normalised), kind="stable")[:3]
        return (
            "disagree",
            "the distances contradict one another, and no single misreading explains it",
            f"Measure these again first: {'; '.join(network.label(int(row)) for row in worst)}. "
            "If you measured with a ruler, say so: --sigma 0.3.",
        )
    read = network.values[wrong.row]
    message = (
        f"{network.label(wrong.row)}: you wrote {read:.2f}, the other distances say "
        f"{read - wrong.off:.2f}"
    )
    agree = wrong.without.disagreement * float(np.median(network.sigmas))
    words = [f"Measure it again; without it all others agree within {agree:.2f} mm."]
    if meant := _meant(found, wrong):
        reading = replace(found.survey.readings[wrong.row], kind=meant)
        words.append(f"It would fit as: {reading}.")
    if wrong.rivals:
        rivals = [network.label(row) for row in wrong.rivals[:_SHOWN]]
        words.append(f"As likely wrong instead: {'; '.join(rivals)}.")
    if found.unlike:
        words.append(f"Or left and right are not alike: {_unlike(found.unlike)}.")
    return "misread", message, " ".join(words)


def _meant(found: Examination, wrong: GrossError[Fit]) -> Kind | None:
    """The way of measuring that would explain a reading that is wrong, if one does."""
    if wrong.row >= len(found.survey.readings):
        return None
    reading = found.survey.readings[wrong.row]
    sizes = dict(zip(found.survey.holes, found.survey.diameters, strict=True))
    rims = sum(sizes.get(end, 0.0) for end in (reading.first, reading.second)) / 2
    for kind in KINDS:
        # Read as `kind`, it would hold that many radii more than the kind written down.
        more = (REACH[kind] - REACH[reading.kind]) * rims
        if kind != reading.kind and abs(wrong.off - more) < max(4 * wrong.known, 0.2):
            return kind
    return None


def _sides(found: Examination) -> Iterator[tuple[str, str, str]]:
    """One finding for each hole that lies elsewhere than said, with what it misses most."""
    network = found.plain.network
    beyond = network.beyond(found.fit.parameters)
    worst: dict[tuple[str, str], int] = {}
    for row, claim in enumerate(network.claims):
        known = worst.setdefault((claim.key, claim.name), row)
        if beyond[row] > beyond[known]:
            worst[claim.key, claim.name] = row
    for row in worst.values():
        if beyond[row]:
            yield "sides", *_side(network.claims[row], float(beyond[row]))


def _side(claim: Claim, beyond: float) -> tuple[str, str]:
    key, name, other, _ = claim
    look = "Look at the plate again: is a name wrong in the list, or a distance?"
    return {
        "front": (f"{name} is named under front, but {other} lies {beyond:.1f} mm before it", look),
        "rear": (f"{name} is named under rear, but {other} lies {beyond:.1f} mm behind it", look),
        "left": (f"{name} is named under left, but lies {beyond:.1f} mm to the right", look),
        "right": (f"{name} is named under right, but lies {beyond:.1f} mm to the left", look),
        "pairs": (
            f'["{name}", "{other}"] under pairs has the right hole first',
            "Look at the plate from the tail: the left hole stands first.",
        ),
        "along": (
            f'["{name}", "{other}"] under along has the front hole first',
            "The hole nearer the tail stands first.",
        ),
        "edge": (f"hole {name} lies {beyond:.1f} mm beyond the {other} edge", look),
    }[key]


def _unlike(told: Symmetry) -> str:
    who = f"{listed(told.worst)} are" if len(told.worst) > 1 else f"{told.worst[0]} is"
    what = "being mirror images" if len(told.worst) > 1 else "the centre line"
    return f"{who} {told.off:.2f} mm from {what}, where {told.within:.2f} would be no surprise"


def _uncertain(found: Examination, over: list[str], limit: float) -> tuple[str, str]:
    index = found.plain.network.index
    over = sorted(over, key=lambda name: -found.within[index[name]])
    shown = [f"{name} within {found.within[index[name]]:.2f} mm" for name in over[:_SHOWN]]
    who = (
        _holes(sorted(over, key=index.__getitem__)) if len(over) <= _SHOWN else f"{len(over)} holes"
    )
    message = f"{who} {_are(over)} not known within {limit:g} mm: {', '.join(shown)}"
    best = extra.sharpening(found.fit)
    names = found.survey.holes
    if best is None:
        return message, "Measure again, or with something finer."
    return message, f"Measure {names[best[0]]} to {names[best[1]]} as well."


def _unchecked(found: Examination) -> tuple[str, str]:
    network = found.plain.network
    rows = found.unchecked
    best = extra.checking(found.plain, np.array(rows))
    names = found.survey.holes
    hint = (
        f"Measure {names[best[0]]} to {names[best[1]]} as well." if best else "Measure them twice."
    )
    if len(rows) == len(found.survey.readings):
        return (
            f"nothing would show a misreading of {NOTICED:g} mm: no distance is checked by another",
            hint,
        )
    shown = "; ".join(network.label(row) for row in rows[:_SHOWN])
    more = f"; and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    return f"a misreading of {NOTICED:g} mm would not show in: {shown}{more}", hint


def _holes(names: list[str] | tuple[str, ...]) -> str:
    return f"hole {names[0]}" if len(names) == 1 else f"holes {listed(names)}"


def _are(names: list[str] | tuple[str, ...]) -> str:
    return "is" if len(names) == 1 else "are"
