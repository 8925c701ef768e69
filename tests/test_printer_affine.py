"""Affine maps against published worked examples, and taken apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from jiggen.errors import InputError
from jiggen.measure.printer.jig import distortion, nearest_map, take_apart
from jiggen.measure.printer.profile import Profile

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Map:
    """target = matrix · source + shift."""

    matrix: Array
    shift: Array

    def __call__(self, points: Array) -> Array:
        return points @ self.matrix.T + self.shift


def fit(source: Array, target: Array) -> Map:
    """The map found, with the shift that leads the middle to the middle."""
    found = nearest_map(source, target)
    c, s = (of(math.radians(found.turn)) for of in (math.cos, math.sin))
    matrix = np.array([[c, -s], [s, c]]) @ distortion(*found[:3])
    return Map(matrix, target.mean(axis=0) - matrix @ source.mean(axis=0))


# EPSG Guidance Note 7-2, method 9624 (affine parametric transformation), example Jamaica Old Grid
# to JAD69: forward and reverse parameters, and one point, feet to metres.
JAMAICA = Map(
    np.array([[0.304794369, 0.000015417425], [-0.000015417425, 0.304794369]]),
    np.array([82357.457, 28091.324]),
)
JAMAICA_BACK = Map(
    np.array([[3.280900499, -0.000165958], [0.000165958, 3.280900499]]),
    np.array([-270201.960, -92178.507]),
)
FEET, METRES = np.array([[553900.0, 482500.0]]), np.array([[251190.497, 175146.067]])

# The same note, method 9621 (similarity transformation), with the parameters of EPSG
# transformation 5166: X0, Y0, scale M and rotation q in seconds; forward and reverse, one point.
SPAIN = (-129.549, -208.185, 1.0000015504, 1.56504)
SPAIN_BACK = (129.547, 208.186, 0.9999984496, -1.56504)
SOURCE, TARGET = np.array([[300000.0, 4500000.0]]), np.array([[299905.060, 4499796.515]])


def similarity(x: float, y: float, scale: float, seconds: float) -> Map:
    """As the note has it: XT = X0 + XS·M·cos q + YS·M·sin q; YT = Y0 − XS·M·sin q + YS·M·cos q."""
    c, s = (scale * f(math.radians(seconds / 3600)) for f in (math.cos, math.sin))
    return Map(np.array([[c, s], [-s, c]]), np.array([x, y]))


def about(point: np.ndarray, reach: float) -> np.ndarray:
    offsets = np.array([[0, 0], [1, 0], [0.3, 0.9], [-0.7, 0.4], [-0.2, -1]])
    return point + reach * offsets


def test_published_affine_example_forward_and_reverse():
    assert JAMAICA(FEET) == pytest.approx(METRES, abs=1e-3)
    assert JAMAICA_BACK(METRES) == pytest.approx(FEET, abs=0.2)  # its parameters have 9 decimals
    back = np.linalg.inv(JAMAICA.matrix)
    assert -back @ JAMAICA.shift == pytest.approx(JAMAICA_BACK.shift, abs=1e-3)
    assert back == pytest.approx(JAMAICA_BACK.matrix, abs=1e-9)


def test_published_affine_parameters_come_back_from_points():
    points = about(FEET, 40000.0)
    forward, back = fit(points, JAMAICA(points)), fit(JAMAICA(points), points)
    assert forward.matrix == pytest.approx(JAMAICA.matrix, abs=1e-12)
    assert forward.shift == pytest.approx(JAMAICA.shift, abs=1e-6)
    assert back.matrix == pytest.approx(JAMAICA_BACK.matrix, abs=1e-9)
    assert back.shift == pytest.approx(JAMAICA_BACK.shift, abs=1e-3)


@pytest.mark.parametrize("count", [2, 5])  # a similarity, an affine map
def test_published_similarity_parameters_come_back_from_points(count):
    known = similarity(*SPAIN)
    assert known(SOURCE) == pytest.approx(TARGET, abs=1e-3)
    points = about(SOURCE, 50000.0)[:count]
    forward, back = fit(points, known(points)), fit(known(points), points)
    x, y, scale, seconds = SPAIN
    assert forward.shift == pytest.approx((x, y), abs=1e-3)
    shape = take_apart(forward.matrix)
    assert (shape.scale_x, shape.scale_y) == pytest.approx((scale, scale), abs=1e-10)
    assert -shape.turn * 3600 == pytest.approx(seconds, abs=1e-5)  # the note turns clockwise
    x, y, scale, seconds = SPAIN_BACK
    assert back.shift == pytest.approx((x, y), abs=1e-3)
    shape = take_apart(back.matrix)
    assert (shape.scale_x, shape.scale_y) == pytest.approx((scale, scale), abs=1e-10)
    assert -shape.turn * 3600 == pytest.approx(seconds, abs=1e-5)
    assert back(TARGET) == pytest.approx(SOURCE, abs=2e-3)


def test_a_map_is_a_distortion_turned():
    c, s = math.cos(0.4), math.sin(0.4)
    shape = take_apart(np.array([[c, -s], [s, c]]) @ distortion(0.997, 1.004, 0.3))
    assert (shape.scale_x, shape.scale_y, shape.skew) == pytest.approx((0.997, 1.004, 0.3))
    assert shape.turn == pytest.approx(math.degrees(0.4))
    profile = Profile(name="a", scale_x=0.997, scale_y=1.004, skew=0.3)
    undone = np.linalg.inv(distortion(0.997, 1.004, 0.3))
    assert profile.compensation.matrix == pytest.approx(undone)


@pytest.mark.parametrize("flat", [False, True])
def test_the_fit_is_the_nearest_one(flat):
    random = np.random.default_rng(1)
    points = random.uniform(-100, 100, (12, 2)) * (1.0, 0.0 if flat else 1.0)
    noisy = JAMAICA(points) + random.normal(0, 0.05, points.shape)
    best = fit(points, noisy)
    least = ((best(points) - noisy) ** 2).sum()
    for nudge in np.vstack([np.eye(6), -np.eye(6)]) * 1e-6:
        other = Map(best.matrix + nudge[:4].reshape(2, 2), best.shift + 100 * nudge[4:])
        if not flat or nudge[4:].any():
            assert ((other(points) - noisy) ** 2).sum() > least


def test_points_that_say_too_little_are_refused():
    line = np.array([[0.0, 0.0], [10.0, 5.0], [20.0, 10.0]])
    shape = nearest_map(line, line * 2)  # they say one scale, and no more
    assert (shape.scale_x, shape.scale_y, shape.skew) == pytest.approx((2.0, 2.0, 0.0))
    with pytest.raises(InputError, match="apart"):
        nearest_map(line[:1], line[:1])
