"""Many printers, each measured and fitted: how often the fit is right, and by how much.

Tests assert on these numbers, `tests/bench/printer.py` prints them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from printed_samples import designed, finished, readings, write_jig
from printer_samples import Printer, any_printer, misread, read_gauge, reads

from jiggen.design.pieces import list_pieces
from jiggen.measure.adjustment import COVERED
from jiggen.measure.printer.gauge_fit import PARAMETERS, fit_gauge, profile_of
from jiggen.measure.printer.printed import fit_printed
from jiggen.measure.printer.to_measure import worth_measuring
from jiggen.report.printed import read_printout

Array = NDArray[np.float64]

SHIPPED = sorted(path.stem for path in (Path(__file__).parents[1] / "patterns").glob("*.toml"))
SEED = 20
RUNS = 1000


@dataclass(frozen=True)
class Calibration:
    """Shares of runs: each parameter's truth within its 95 %, and false alarms."""

    covered: dict[str, float]
    contradicts: float
    deviations: dict[str, float]


@cache
def calibration(runs: int = RUNS, seed: int = SEED) -> Calibration:
    random = np.random.default_rng(seed)
    inside, alarms, sizes = np.zeros(6), 0, np.zeros(6)
    for _ in range(runs):
        printer = any_printer(random)
        found = fit_gauge(read_gauge(printer, random))
        values, sure = (list(each.values()) for each in (found.values, found.uncertainties))
        inside += np.abs(values - printer.truth) <= COVERED * np.array(sure)
        sizes += sure
        alarms += found.fit.contradicts
    named = (dict(zip(PARAMETERS, (each / runs).tolist(), strict=True)) for each in (inside, sizes))
    return Calibration(next(named), alarms / runs, next(named))


@cache
def misreadings(runs: int = 200, seed: int = SEED) -> float:
    """Share of runs in which the one misread value is named."""
    random = np.random.default_rng(seed)
    named = 0
    for _ in range(runs):
        spoilt, row = misread(read_gauge(any_printer(random), random), random)
        found = fit_gauge(spoilt)
        named += found.fit.wrong_row == row
    return named / runs


@cache
def bodies(pattern: str) -> tuple[tuple[Array, Array], ...]:
    """Each body of the jig for `pattern`: 4×4 from the bed to the ski, (n, 2) holes on the ski."""
    chosen = designed(pattern)
    places = dict(zip(chosen.layout.ids, chosen.layout.positions, strict=True))
    to_ski = {piece.name: piece.to_ski(piece.placed[0]) for piece in list_pieces(chosen)}
    return tuple(
        (to_ski[body.name], np.array([places[guide.id] for guide in body.guides]))
        for body in chosen.bodies
    )


def farthest(printer: Printer, matrix: Array, to_ski: Array, holes: Array) -> float:
    """How far in mm the worst hole of a body is off, compensated by `matrix` and then printed.

    The print lies with its mounting mark on the mark, turned as fits it best.
    """
    from_ski = np.linalg.inv(to_ski)
    mark = from_ski @ (0.0, 0.0, 0.0, 1.0)
    there = np.column_stack([holes, np.zeros(len(holes)), np.ones(len(holes))]) @ from_ski.T
    asked = there[:, :2] - mark[:2]
    printed = printer.print(asked @ matrix.T)
    # Kabsch 1976: the turn that brings one set of points nearest to another
    left, _, right = np.linalg.svd(printed.T @ asked)
    return float(np.hypot(*(printed @ (left @ right) - asked).T).max())


@cache
def compensated(printers: int = 200, seed: int = SEED) -> dict[str, float]:
    """The worst hole of all bodies of each shipped pattern, over many printers; mm."""
    random = np.random.default_rng(seed)
    worst = dict.fromkeys(SHIPPED, 0.0)
    for _ in range(printers):
        printer = any_printer(random)
        found = fit_gauge(read_gauge(printer, random))
        if found.fit.contradicts:  # a person measures again
            continue
        matrix = profile_of(found, "seeded").compensation.matrix
        for pattern in SHIPPED:
            for to_ski, holes in bodies(pattern):
                off = farthest(printer, matrix, to_ski, holes)
                worst[pattern] = max(worst[pattern], off)
    return worst


@dataclass(frozen=True)
class Finished:
    """Shares: holes within what is said of them, false alarms, misread values named."""

    covered: float
    contradicts: float
    named: float


def finished_jigs(
    pattern: str, bed: float, folder: Path, runs: int = 50, seed: int = SEED
) -> Finished:
    """Many prints of one jig, off as prints are, measured as its blank file says."""
    chosen, random = designed(pattern, bed), np.random.default_rng(seed)
    jig = read_printout(write_jig(folder, chosen)).jig
    pairs = worth_measuring(jig)
    inside, alarms, named = 0, 0, 0
    for _ in range(runs):
        scale, gap = random.normal(1.0, 0.004), random.normal(0.0, 0.03)
        printer = Printer(scale, scale + random.normal(0, 0.002), random.normal(0, 0.2))
        own = [printer.scale_x, printer.scale_y, printer.skew] * len(jig.bodies)
        true = jig.places(np.array([*own, *[gap, 0.0, 0.0][: jig.size - len(own)]]))
        printers = {body.name: printer for body in jig.bodies}
        read_off = readings(finished(chosen, printers, gap=gap), pairs, random)
        found = fit_printed(jig, read_off)
        misses = np.hypot(*(true - found.places).T)
        inside += int((misses <= [hole.known for hole in found.expected]).sum())
        alarms += found.fit.contradicts
        rows, row = list(read_off.readings), int(random.integers(len(pairs)))
        slip = float(random.choice([-10.0, -1.0, 1.0, 10.0]))
        rows[row] = reads(rows[row], rows[row].value + slip)
        wrong = fit_printed(jig, replace(read_off, readings=tuple(rows)))
        named += wrong.fit.wrong_row == row
    return Finished(inside / runs / len(jig.holes), alarms / runs, named / runs)
