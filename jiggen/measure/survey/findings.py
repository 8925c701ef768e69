"""What is wrong with a survey, and what to measure next, in a technician's words."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from jiggen.errors import Finding
from jiggen.measure import METHODS, REACH, adjustment
from jiggen.measure.adjustment import NOTICED, Array, GrossError, blocks, gains, informed
from jiggen.measure.survey.examination import Examination, Symmetry
from jiggen.measure.survey.fit import Fit
from jiggen.measure.survey.network import Claim, Numbers
from jiggen.measure.survey.read import CALIPER, SCALE
from jiggen.measure.survey.rigidity import Alternative, Hinge
from jiggen.units import listed


def refusals(found: Examination, limit: float) -> tuple[Finding, ...]:
    """Why no pattern should be made of it; `limit` in mm for the 95 % uncertainty of a place.

    Codes: ``survey.loose``, ``.whole``, ``.two-ways``, ``.gross-error``, ``.disagree``,
    ``.scanned``, ``.sides``, ``.unlike``, ``.scale``, ``.uncertain``.
    """
    rigidity, findings = found.rigidity, list[Finding]()
    if rigidity.lacking:
        names = fixing(found.fit, rigidity.lacking)
        hint = adjustment.measure_as_well(names, "Measure to it from another hole.")
        message, hinges = "the holes can still move against one another", rigidity.hinges
        if loose := rigidity.loose:
            ways = ", and ".join(_way(found, one, alone=len(hinges) == 1) for one in hinges)
            are = "is" if len(loose) == 1 else "are"
            message = f"cannot tell where {_holes(loose)} {are}: {ways}"
        findings.append(Finding("loose", message, hint=hint))
    elif rigidity.whole:
        where = {
            "turn": "which way the plate points on the ski",
            "along": "how far along the ski the plate lies",
            "across": "how far from the centre line the plate lies",
        }
        unknown = listed([where[way] for way in rigidity.whole])
        hint = 'Give pairs = [["a", "b"]] or along = ["c", "a"], or measure two holes from an edge.'
        findings.append(Finding("whole", f"cannot tell {unknown}", hint=hint))
    findings += (_two_ways(found, other) for other in found.others)
    if found.plain.gross_error and found.plain.contradicts:
        findings.append(_contradiction(found, found.plain.gross_error))
    if rigidity.rigid:  # otherwise holes lie anywhere
        findings += _sides(found)
    if found.symmetry.verdict == "different" and not found.plain.contradicts:
        findings.append(_unlike(found.symmetry))
    if found.scale and found.scale.differs and not found.plain.contradicts:
        scale = found.scale
        way = "long" if scale.long > 0 else "short"
        size = f"{100 * abs(scale.long):.2f} % (± {100 * scale.known:.2f} %)"
        message = f"your readings are {size} too {way} by the other tool"
        hint = "Which of the two is wrong does not show: measure a long distance with a third."
        findings.append(Finding("scale", message, hint=hint))
    reaches = dict(zip(found.survey.holes, found.within.tolist(), strict=True))
    over = [name for name, reach in reaches.items() if limit < reach < np.inf]
    if over and rigidity.rigid and not found.plain.contradicts:
        who = _holes(over) if len(over) <= adjustment.SHOWN else f"{len(over)} holes"
        who += " is" if len(over) == 1 else " are"
        worst = sorted(over, key=lambda name: -reaches[name])[: adjustment.SHOWN]
        shown = ", ".join(f"{name} within {reaches[name]:.2f} mm" for name in worst)
        best = best_distance(found.fit, lambda slopes, _: -_worst_after(found.fit, slopes))
        hint = adjustment.measure_as_well(best, "Measure again, or with a finer tool.")
        coarse = found.plain.network.typical / CALIPER
        if coarse > 2:  # no distance more makes a caliper of a ruler
            read = f"Read to {CALIPER:g} mm, with a caliper, the same distances would give "
            hint += f" {read}{max(reaches[one] for one in over) / coarse:.2f} mm; or allow more."
        message = f"{who} not known within {limit:g} mm: {shown}"
        findings.append(Finding("uncertain", message, key="limit", hint=hint))
    return adjustment.in_file(findings, "survey", found.survey.source)


def warnings(found: Examination) -> tuple[Finding, ...]:
    """What to know before relying on it.

    Codes: ``survey.unchecked``, ``.assumed``, ``.coarse``, ``.alike``, ``.one-tool``.
    """
    findings: list[Finding] = []
    plain, plate, rows = found.plain, found.survey.file.plate, np.array(found.unchecked, dtype=int)
    if len(rows) and found.rigidity.rigid:
        read = plain.equations.slopes(plain.parameters) * plain.equations.weights[:, None]

        def checked(slopes: Array, _: Numbers) -> Array:
            return gains(plain.covariance, slopes, plain.network.typical, read[rows])

        best = best_distance(plain, checked, least=0.01)
        hint = adjustment.measure_as_well(best, "Measure them twice.")
        if len(rows) < len(found.survey.readings):
            labels = [plain.network.labels[row] for row in rows]
            findings.append(adjustment.describe_unchecked(labels, hint))
        else:
            best_seen = float(plain.noticed[rows].min())
            why = "no distance is checked by another"
            if plain.freedom:
                why = f"in the best checked reading it shows from {best_seen:.1f} mm on"
            message = f"nothing would show a gross error of {NOTICED:g} mm: {why}"
            findings.append(Finding("unchecked", message, hint=hint))
    if found.symmetry.verdict == "assumed" and found.rigidity.rigid:
        names = ", ".join([*(f"{a}/{b}" for a, b in plate.pairs), *plate.centre_line])
        message = f"that left and right are symmetric ({names}) is assumed as you wrote"
        hint = "The distances do not check all of it: measure on both sides, and across."
        findings.append(Finding("assumed", message, hint=hint))
    if found.plain.spread > 1 and not found.plain.contradicts:
        findings.append(adjustment.describe_coarse(found.plain.spread, found.plain.network.typical))
    if found.possible_pairs:
        pairs = ", ".join(f'["{a}", "{b}"]' for a, b in found.possible_pairs)
        hint = f"If the plate is made so, the places get surer with pairs = [{pairs}]."
        message = "left and right look alike within what was measured"
        findings.append(Finding("alike", message, hint=hint))
    if found.rigidity.rigid and not found.scale:
        findings.append(_one_tool(found))
    return adjustment.in_file(findings, "survey", found.survey.source)


def _one_tool(found: Examination) -> Finding:
    """That a tool which reads all too long or too short does not show, and what that makes."""
    reach = float(np.hypot(*found.fit.places.T).max())
    message = (
        f"a caliper that reads {100 * SCALE:g} % wrong does not show in its own readings, and puts "
        f"a hole {SCALE * reach:.2f} mm off"
    )
    apart = np.hypot(*(found.fit.places[:, None] - found.fit.places).transpose(2, 0, 1))
    ends = [found.survey.holes[n] for n in np.unravel_index(apart.argmax(), apart.shape)]
    entry = f"{ends[0]}-{ends[1]} = {{ outside = … }}"
    if found.survey.readings:
        longest = max(found.survey.readings, key=lambda reading: reading.value)
        entry = f"{longest.first}-{longest.second} = {{ {longest.kind} = … }}"
    tool = "another caliper or a steel ruler"
    hint = f"Measure the longest with {tool}, and write under [other_tool]: {entry}"
    return Finding("one-tool", message, hint=hint)


def _way(found: Examination, hinge: Hinge, *, alone: bool) -> str:
    """How some holes can still move; `alone` where they are all that do."""
    several = len(hinge.holes) > 1
    who = ("they" if several else "it") if alone else listed(hinge.holes)
    if len(hinge.pins) > 1:
        line = f"{who} {'lie' if several else 'lies'} in one line with {listed(hinge.pins)}"
        return f"{line} and can still give way sideways"
    can = f"{who} hold together, but can still" if several else f"{who} can still"
    if hinge.pins:
        return f"{can} swing about {hinge.pins[0]}"
    ends = ({reading.first, reading.second} for reading in found.survey.readings)
    if not any(len(both & set(hinge.holes)) == 1 for both in ends):
        return f"nothing was measured from {listed(hinge.holes)} to the others"
    return f"{can} move"


def _two_ways(found: Examination, other: Alternative) -> Finding:
    names, here, moved = found.survey.holes, found.fit.places, list(other.moved)
    if not moved:
        message = "the whole plate fits as well turned round or mirrored"
        hint = "Name the holes nearest the tip under front, and holes under left or right."
        return Finding("two-ways", message, hint=hint)
    there = np.round(other.places, 1) + 0.0  # no negative zero
    ways_to_lie = (
        ", ".join(f"{names[h]} at x {at[h, 0]}, y {at[h, 1]}" for h in moved[:3])
        for at in (np.round(here, 1) + 0.0, there)
    )
    what = _holes([names[hole] for hole in moved])
    best = best_distance(found.fit, lambda _, pairs: np.abs(_apart(here, there, pairs)))
    ways = [f"measure {one} as well" for one in best]
    shown = ", ".join(f'"{names[hole]}"' for hole in moved)
    if len(moved) == 1 and here[moved[0], 1] * there[moved[0], 1] < 0:
        ways.append(f"name it under left or right: left = [{shown}]")
    rest = np.setdiff1d(np.arange(len(names)), moved)
    for key, end, sign in (("front", "tip", 1.0), ("rear", "tail", -1.0)):
        ahead = [(sign * at[moved, 0]).min() > (sign * at[rest, 0]).max() for at in (here, there)]
        if ahead[0] != ahead[1]:
            ways.append(f"if no other hole is nearer the {end}, name {key} = [{shown}]")
    hint = f"{'; or, '.join(ways)}." if ways else "Measure the distances again."
    return Finding(
        "two-ways",
        f"the distances fit two places of {what}: {'; or '.join(ways_to_lie)}",
        hint=hint[0].upper() + hint[1:],
    )


def _contradiction(found: Examination, wrong: GrossError[Fit]) -> Finding:
    network, values = found.plain.network, found.plain.equations.values
    explained = []
    if wrong.likely:
        agree = wrong.without.disagreement * found.plain.network.typical
        explained += [f"Measure it again; without it all others agree within {agree:.2f} mm."]
        explained += _other_kinds(found, wrong)
        if found.asymmetry:
            explained += [f"Or left and right are not symmetric: {_gap(found.asymmetry)}."]
    elif found.asymmetry:
        return _unlike(found.asymmetry)
    elif wrong.row >= network.read:
        message = f"the scans do not fit what else is said of it: {network.labels[wrong.row]}"
        hint = "Look at pairs, centre_line and distances again; else scan again."
        return Finding("scanned", message, hint=hint)
    return adjustment.describe_contradiction(
        "distances",
        found.plain,
        wrong,
        network.labels,
        lambda row, less: f"{values[row] - less:.2f}",
        explained=explained,
        coarse="If you measured with a ruler, state its uncertainty as sigma: 0.3 mm.",
    )


def _other_kinds(found: Examination, wrong: GrossError[Fit]) -> list[str]:
    """How a distance that is wrong was perhaps measured, where that would explain it."""
    if wrong.row >= len(found.survey.readings):
        return []
    reading, sizes = found.survey.readings[wrong.row], found.survey.file.holes
    rims = sum(sizes.get(end, 0.0) for end in (reading.first, reading.second)) / 2
    # Read so, it would hold that many mm more than as it is written down.
    more = {kind: (REACH[kind] - REACH[reading.kind]) * rims for kind in METHODS}
    return [
        f"It would fit as: {replace(reading, kind=kind)}."
        for kind in METHODS
        if kind != reading.kind and abs(wrong.off - more[kind]) < max(4 * wrong.known, 0.2)
    ]


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


def _sides(found: Examination) -> Iterator[Finding]:
    """One finding for each hole that does not lie where the survey says, by what it misses most."""
    network = found.plain.network
    worst: dict[tuple[str, str], tuple[float, Claim]] = {}
    sizes = network.beyond(found.fit.parameters).tolist()
    for beyond, claim in zip(sizes, network.claims, strict=True):
        if beyond > worst.get((claim.key, claim.name), (0.0, claim))[0]:
            worst[claim.key, claim.name] = beyond, claim
    for beyond, (key, name, other, _) in worst.values():
        message = _SIDES[key].format(name=name, other=other, beyond=beyond)
        look = "Look at the plate again: is a name wrong in the list, or a distance?"
        hint = _LOOK.get(key, look)
        if network.scanned and key != "edge":
            hint += " Or the other face of the plate lay on the glass."
        yield Finding("sides", message, hint=hint)


def _unlike(found: Symmetry) -> Finding:
    hint = "Measure them again. If the plate is made so, take them out of pairs and centre_line, "
    return Finding("unlike", _gap(found), hint=f"{hint}and say where the middle is.")


def _gap(found: Symmetry) -> str:
    several = len(found.worst) > 1
    who = f"{listed(found.worst)} {'are' if several else 'is'} {found.off:.2f} mm from"
    what = "being mirror images" if several else "the centre line"
    return f"{who} {what}; measured so, {found.within:.2f} can be chance"


def _holes(names: Sequence[str]) -> str:
    return f"hole {names[0]}" if len(names) == 1 else f"holes {listed(names)}"


# Which distance to measure next, as ``a to b``: the one that adds most.
LOOSE = 50.0  # mm: a motion that no reading sees is no larger than a plate


def fixing(fit: Fit, count: int) -> list[str]:
    """Up to `count` distances that, measured one after another, hold most of what is loose.

    Each is the pair of holes after which the summed variance of all places is least; a motion that
    no reading sees counts with `LOOSE` mm.  `fit` is a general state, as `loosened` makes it.
    """
    network, sigma = fit.network, fit.network.typical
    covariance = fit.covariance + LOOSE**2 * fit.motions.T @ fit.motions
    pairs = _unmeasured(fit)
    slopes = network.chord_slopes(fit.parameters, pairs)
    chosen: list[int] = []
    while len(chosen) < min(count, len(pairs)):
        worth = gains(covariance, slopes, sigma, np.eye(2 * network.holes, network.size))
        worth[chosen] = -1.0
        chosen.append(int(worth.argmax()))
        covariance = informed(covariance, slopes[chosen[-1]], sigma)
    return [_named(fit, pairs[one]) for one in chosen]


def best_distance(
    fit: Fit, worth: Callable[[Array, Numbers], Array], least: float = -np.inf
) -> list[str]:
    """The unmeasured distance that is worth most, by its slopes (c, p) and its holes (c, 2).

    Empty where there is none worth more than `least`.
    """
    pairs = _unmeasured(fit)
    worths = worth(fit.network.chord_slopes(fit.parameters, pairs), pairs)
    best = [int(worths.argmax())] if worths.max(initial=-np.inf) > least else []
    return [_named(fit, pairs[one]) for one in best]


def _worst_after(fit: Fit, slopes: Array) -> Array:
    """(c,) the largest variance of a place after each reading of `slopes` (c, p)."""
    sigma, size = fit.network.typical, 2 * fit.network.holes
    after = (informed(fit.covariance, slope, sigma)[:size, :size] for slope in slopes)
    return np.array([np.linalg.eigvalsh(blocks(one)).max() for one in after])


def _apart(here: Array, there: Array, pairs: Numbers) -> Array:
    """(c,) by how much the distance of each pair of holes is greater `here` than `there`."""
    lengths = [np.hypot(*(at[pairs[:, 0]] - at[pairs[:, 1]]).T) for at in (here, there)]
    return np.asarray(lengths[0] - lengths[1])


def _named(fit: Fit, pair: Numbers) -> str:
    return " to ".join(fit.network.survey.holes[hole] for hole in pair)


def _unmeasured(fit: Fit) -> Numbers:
    """(c, 2) pairs of holes without a reading of their own."""
    read = {frozenset((one.first, one.second)) for one in fit.network.survey.readings}
    pairs = combinations(fit.network.index.items(), 2)
    left = [(i, j) for (a, i), (b, j) in pairs if frozenset((a, b)) not in read]
    return np.array(left, dtype=np.int_).reshape(-1, 2)
