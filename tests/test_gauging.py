"""Sizes between features and their uncertainty."""

import math

import numpy as np
import pytest

from measure.dimensioning.gauging import SIZES, EstimateGauge, ListGauge, Shape, Stated, shape_of, slopes
from measure.geometry.dimensions import K95, size_of
from measure.geometry.features import Circle, Line
from tests.drawn_parts import drawn_parts, estimate_of

LEVEL = Line("E1", 0, (0.0, 0.0), (20.0, 0.4))
OTHER = Line("E2", 0, (18.0, 12.1), (-3.0, 12.3))
HOLE = Circle("D1", 1, (5.0, 6.0), 2.0)
SMALL = Circle("D2", 2, (13.0, 5.0), 1.5)


@pytest.mark.parametrize(
    ("kind", "features"),
    [
        ("distance", (LEVEL, OTHER)),
        ("diameter", (HOLE,)),
        ("radius", (SMALL,)),
        ("centres", (HOLE, SMALL)),
        ("offset", (HOLE, LEVEL)),
        ("offset", (LEVEL, HOLE)),
    ],
)
def test_agrees_with_the_sizes_and_gradients_of_the_result(kind, features):
    ours = [shape_of(f) for f in features]
    theirs = size_of(kind, features)
    assert SIZES[kind](*ours) == pytest.approx(theirs.value_mm, abs=1e-12)
    for a, b in zip(slopes(SIZES[kind], ours), theirs.gradients, strict=True):
        np.testing.assert_allclose(a, b, atol=1e-7)


def line(x, y, deg):
    return Shape(False, x, y, math.radians(deg))


def round_(x, y, r):
    return Shape(True, x, y, r)


# Each expected value is worked out by hand from the coordinates beside it.
BY_HAND = [
    ("angle", (line(0, 0, 10), line(5, 5, 165)), 25.0),  # 155° apart, 25° the other way
    ("corner", (line(0, 0, 0), line(10, 0, 60), line(0, -7, 0)), 7.0),  # they cross at (10, 0)
    ("corners", (line(0, 0, 0), line(10, 0, 60), line(0, 0, 0), line(-12, 0, 120)), 22.0),
    ("along", (round_(0, 0, 1), round_(3, 4, 1), line(0, 0, 0)), 3.0),
    ("across", (round_(0, 0, 1), round_(3, 4, 1), line(0, 0, 0)), 4.0),
    ("run", (round_(0, 0, 1), round_(0, 10, 1), round_(1, 1, 1), round_(4, 5, 1)), 4.0),
    ("rise", (round_(0, 0, 1), round_(0, 10, 1), round_(1, 1, 1), round_(4, 5, 1)), 3.0),
    ("bearing", (line(0, 0, 0), round_(0, 0, 1), round_(-1, 1, 1)), 45.0),
    ("fan", (round_(0, 0, 1), round_(1, 0, 1), round_(-1, 1, 1)), 135.0),
    ("pitch", (round_(5, 0, 1), round_(0, 5, 1), round_(-5, 0, 1), round_(0, -5, 1)), 10.0),
    ("tips", (round_(5, 0, 1), round_(0, 5, 1), round_(-5, 0, 1), round_(0, -5, 1)), 12.0),  # 2 (5 + 1)
    ("roots", (round_(5, 0, 1), round_(0, 5, 1), round_(-5, 0, 1), round_(0, -5, 1)), 8.0),  # 2 (5 - 1)
    ("roots", (line(5, 0, 90), line(0, 5, 180), line(-5, 0, 270), line(0, -5, 0)), 10.0),  # a square's inner circle
    ("peaks", (line(5, 1, 90), line(1, 0, 0), line(-5, 2, 90), line(2, 0, 0)), 10.0),  # they cross at (5, 0), (-5, 0)
    ("reach", (line(0, 0, 0), round_(3, 7, 2)), 9.0),
    ("stretch", (round_(0, 0, 1), round_(3, 4, 2)), 8.0),
    ("stretch", (round_(0, 0, 1), round_(3, 4, 2), line(0, 0, 90)), 7.0),
]


@pytest.mark.parametrize(("kind", "shapes", "value"), BY_HAND)
def test_value_by_hand(kind, shapes, value):
    assert SIZES[kind](*shapes) == pytest.approx(value, abs=1e-9)


def test_every_kind_has_been_worked_out():
    five = {"distance", "diameter", "radius", "centres", "offset"}
    assert {k for k, _, _ in BY_HAND} | five == set(SIZES)


def test_uncertainty_is_that_of_samples():
    features = drawn_parts()["gusset"]
    estimate = estimate_of(features)
    gauge = EstimateGauge(estimate)
    size = gauge("corner", ("E3", "E4", "E5"))
    rng = np.random.default_rng(3)
    draws = rng.multivariate_normal(np.zeros(len(estimate.white)), estimate.covariance(), 4000)
    shapes, slices = {f.label: shape_of(f) for f in features}, estimate.slices()
    values = []
    for draw in draws:
        moved = []
        for label in size.labels:
            shape = shapes[label]
            for k, by in enumerate(draw[slices[label]]):
                shape = shape.varied(k, float(by))
            moved.append(shape)
        values.append(SIZES["corner"](*moved))
    assert size.u95 == pytest.approx(K95 * np.std(values), rel=0.06)


def test_equal_rounds_share_a_mean_that_is_surer_than_one_alone():
    features = drawn_parts()["plate with six holes"]
    gauge = EstimateGauge(estimate_of(features))
    one, six = gauge("diameter", ("D1",)), gauge("diameter", tuple(f"D{i}" for i in range(1, 7)))
    assert six.value == pytest.approx(4.5)
    assert six.u95 < one.u95


def test_a_list_of_sizes_tells_only_what_it_holds():
    features = drawn_parts()["plate with six holes"]
    stated = [Stated("distance", ("E2", "E4"), 76.02, 0.09), Stated("diameter", ("D1",), 4.51, 0.05)]
    gauge = ListGauge(features, stated)
    assert gauge("distance", ("E4", "E2")) == Stated("distance", ("E4", "E2"), 76.02, 0.09)
    assert gauge("diameter", ("D1",)).u95 == 0.05
    assert gauge("diameter", ("D1", "D2")).u95 is None
    assert gauge("offset", ("D1", "E1")).u95 is None
    assert gauge("offset", ("D1", "E1")).value == pytest.approx(7.0)
