"""Invented plates and what a caliper would read on them: for the tests of the survey room."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.inputs.faults import MM
from jiggen.measure import REACH, Method
from jiggen.measure.survey.read import OPPOSITE, Reading, Survey, SurveyFile

Array = NDArray[np.float64]
KINDS: tuple[Method, ...] = ("outside", "centre", "inside")


@dataclass(frozen=True)
class Plate:
    """True places (mm, x to the tip, y left), one diameter for all holes, and true edges."""

    places: Mapping[str, tuple[float, float]]
    diameter: float = 5.5
    edges: Mapping[str, float] = field(default_factory=dict)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.places)

    @property
    def truth(self) -> Array:
        return np.array([self.places[name] for name in self.names])

    def distance(self, first: str, second: str) -> float:
        """Of two centres, or of an edge from what lies inwards of it."""
        if first in OPPOSITE or second in OPPOSITE:
            edge, other = (first, second) if first in OPPOSITE else (second, first)
            axis = 0 if edge in ("front", "rear") else 1
            at = self.edges[other] if other in OPPOSITE else self.places[other][axis]
            return abs(self.edges[edge] - at)
        return float(np.hypot(*np.subtract(self.places[first], self.places[second])))

    def read(self, first: str, second: str, kind: Method = "centre", off: float = 0.0) -> Reading:
        """A reading of that distance, `off` mm wrong."""
        holes = sum(end not in OPPOSITE for end in (first, second))
        rims = REACH[kind] * holes * self.diameter / 2
        return Reading(first, second, kind, self.distance(first, second) + rims + off)

    def survey(self, measured: Iterable[tuple[str, str]], **said: Any) -> Survey:
        """A faultless survey of the pairs `measured`, the ways of measuring taken in turn."""
        readings = tuple(self.read(*pair, KINDS[n % 3]) for n, pair in enumerate(measured))
        plain: dict[str, Any] = {"origin": self.names}
        if not said.get("pairs") and not said.get("centre_line"):
            plain["middle"] = self.names
        lists = {key: [*map(_plain, names)] for key, names in (plain | said).items()}
        data = {
            "format": 1,
            "name": "Test plate",
            "drill": {"diameter": {"plain": 3.6, "metal": 4.1}, "depth": 9.0},
            "group": {"name": "plate", "datum": "boot-centre", "shift": 0.0},
            "holes": dict.fromkeys(self.names, self.diameter),
            "plate": lists,
        }
        return Survey(SurveyFile.model_validate(data, context=MM), readings)


def _plain(names: str | tuple[str, str]) -> str | list[str]:
    """As a file has it."""
    return names if isinstance(names, str) else [*names]


def changed(survey: Survey, **values: Any) -> Survey:
    """The survey with other values in its file."""
    return replace(survey, file=survey.file.model_copy(update=values))


def noisy(survey: Survey, random: np.random.Generator, sigma: float = 0.05) -> Survey:
    """The survey with normal errors of `sigma` mm in every reading and diameter."""
    errors = random.normal(0.0, sigma, len(survey.readings))
    readings = tuple(
        replace(reading, value=reading.value + float(error))
        for reading, error in zip(survey.readings, errors, strict=True)
    )
    sizes = (np.array(survey.diameters) + random.normal(0.0, sigma, len(survey.holes))).tolist()
    holes = dict(zip(survey.holes, sizes, strict=True))
    return replace(changed(survey, holes=holes), readings=readings)


def misread(survey: Survey, row: int, off: float) -> Survey:
    """The survey with one reading `off` mm wrong."""
    readings = list(survey.readings)
    readings[row] = replace(readings[row], value=readings[row].value + off)
    return replace(survey, readings=tuple(readings))


def every_pair(names: Iterable[str], farthest: int = 99) -> list[tuple[str, str]]:
    """All pairs of names that stand no more than `farthest` apart in the list."""
    numbered = list(enumerate(names))
    return [(a, b) for (i, a), (j, b) in combinations(numbered, 2) if j - i <= farthest]


def _centred(places: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """Moved so that the mean of all is at the origin."""
    x, y = np.mean(list(places.values()), axis=0)
    return {name: (px - x, py - y) for name, (px, py) in places.items()}


# No two alike, so that no symmetry hides a mistake; g and a lie in a line along the ski.
EIGHT = Plate(
    _centred(
        {
            "a": (71.3, 18.4),
            "b": (64.9, -19.7),
            "c": (28.2, 22.6),
            "d": (21.5, -16.1),
            "e": (-19.8, 15.3),
            "f": (-26.4, -22.9),
            "g": (-66.1, 18.4),
            "h": (-73.6, -17.2),
        }
    )
)
EIGHT_SAID: dict[str, Any] = {"along": ("g", "a"), "front": ("a",), "left": ("a",)}

TWINS = Plate(
    _centred(
        {
            "a": (97.4, 21.6),
            "b": (97.4, -21.6),
            "c": (41.8, 17.9),
            "d": (41.8, -17.9),
            "e": (-52.3, 19.2),
            "f": (-52.3, -19.2),
        }
    ),
    edges={"front": 112.0, "rear": -104.0, "left": 31.0, "right": -31.0},
)
TWINS_SAID: dict[str, Any] = {
    "pairs": (("a", "b"), ("c", "d"), ("e", "f")),
    "front": ("a", "b"),
}
