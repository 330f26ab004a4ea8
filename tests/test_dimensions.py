"""Sizes, their gradients, and the choice of dimensions."""

import math

import numpy as np
import pytest

from measure.geometry.dimensions import K95, list_dimensions, size_of
from measure.geometry.features import PARAMETERS, Arc, Circle, Estimate, Feature, Line
from measure.geometry.rejoin import shifted
from tests.simulated_parts import Part, parts
from tests.simulated_traces import trace

LINE = Line("E1", 0, (0.0, 0.0), (20.0, 0.4))
ACROSS = Line("E2", 0, (18.0, 12.1), (-3.0, 12.3))
ALIKE = Line("E3", 0, (1.0, -4.0), (9.0, -3.8))
HOLE = Circle("D1", 1, (5.0, 6.0), 2.0)
OTHER = Circle("D2", 2, (13.0, 5.0), 1.5)
RIM = Circle("D3", 0, (6.0, 6.5), 9.0)
ARC = Arc("R1", 0, (33.0, 1.0), (30.0, 4.0), centre=(30.0, 1.0), radius=3.0, turn="ccw")


@pytest.mark.parametrize(
    ("kind", "features"),
    [
        ("distance", (LINE, ACROSS)),
        ("distance", (ACROSS, LINE)),
        ("distance", (LINE, ALIKE)),
        ("distance", (ALIKE, LINE)),
        ("width", (LINE, ACROSS)),
        ("diameter", (HOLE,)),
        ("bore", (HOLE,)),
        ("radius", (ARC,)),
        ("centres", (HOLE, OTHER)),
        ("centres", (HOLE, ARC)),
        ("offset", (HOLE, LINE)),
        ("offset", (ACROSS, HOLE)),
        ("web", (HOLE, OTHER)),
        ("web", (HOLE, ACROSS)),
        ("web", (LINE, HOLE)),
        ("web", (HOLE, RIM)),
        ("web", (RIM, HOLE)),
        ("span", (HOLE, OTHER)),
    ],
)
def test_gradients_are_those_of_the_sizes(kind: str, features: tuple[Feature, ...]) -> None:
    """Against central differences over moved features."""
    size = size_of(kind, features)
    h = 1e-6
    for i, f in enumerate(features):
        for p in range(PARAMETERS[f.kind]):
            step = np.zeros(PARAMETERS[f.kind])
            step[p] = h
            ends = []
            for sign in (1, -1):
                there = list(features)
                there[i] = shifted(f, sign * step)
                ends.append(size_of(kind, there).value_mm)
            assert size.gradients[i][p] == pytest.approx((ends[0] - ends[1]) / (2 * h), abs=1e-6)


def test_definitions_by_hand() -> None:
    a = Line("E1", 0, (0.0, 0.0), (10.0, 0.0))
    b = Line("E2", 0, (30.0, 5.0), (20.0, 7.0))
    assert size_of("distance", (a, b)).value_mm == pytest.approx(6.0)  # square to a, at b's middle
    assert size_of("offset", (HOLE, a)).value_mm == pytest.approx(6.0)
    assert size_of("web", (HOLE, a)).value_mm == pytest.approx(4.0)
    assert size_of("centres", (HOLE, OTHER)).value_mm == pytest.approx(math.sqrt(65))
    assert size_of("web", (HOLE, OTHER)).value_mm == pytest.approx(math.sqrt(65) - 3.5)
    assert size_of("span", (HOLE, OTHER)).value_mm == pytest.approx(math.sqrt(65) + 3.5)
    assert size_of("web", (HOLE, RIM)).value_mm == pytest.approx(7.0 - math.hypot(1, 0.5))


@pytest.mark.parametrize("p", parts(), ids=lambda p: p.name)
def test_the_list_offers_every_kind_that_there_is(p: Part) -> None:
    e = trace(p.features, p.thickness_mm, np.random.default_rng(1)).estimate
    found = list_dimensions(e)
    assert 0 < len(found) <= 60
    assert len({(d.kind, d.features) for d in found}) == len(found)
    kinds = {d.kind for d in found}
    circles = [f for f in e.features if f.kind == "circle"]
    arcs = [f for f in e.features if f.kind == "arc"]
    assert {d.features[0] for d in found if d.kind == "diameter"} == {f.label for f in circles}
    assert ("radius" in kinds) == bool(arcs)
    assert ("centres" in kinds) == (len(circles) > 1)
    if p.name != "ring":
        assert "distance" in kinds
    for d in found:
        named = {f.label: f for f in e.features}
        assert d.value_mm == pytest.approx(size_of(d.kind, [named[x] for x in d.features]).value_mm)
        assert 0 < d.u95_mm < 1


def test_u95_by_hand() -> None:
    """A distance between two edges with independent offsets of 0.03 and 0.04 mm: 1.96 × 0.05."""
    a = Line("E1", 0, (0.0, 0.0), (20.0, 0.0))
    b = Line("E2", 0, (20.0, 10.0), (0.0, 10.0))
    e = Estimate((a, b), np.diag([0.03**2, 1e-8, 0.04**2, 1e-8]), (), np.zeros((4, 0)), np.zeros((0, 0)))
    (d,) = list_dimensions(e)
    assert (d.kind, d.features) == ("distance", ("E1", "E2"))
    assert d.u95_mm == pytest.approx(K95 * 0.05, rel=1e-6)


def test_a_shared_scale_grows_with_the_length() -> None:
    a = Line("E1", 0, (0.0, 0.0), (20.0, 0.0))
    b = Line("E2", 0, (20.0, 50.0), (0.0, 50.0))
    s = np.array([[0.0], [0.0], [50.0], [0.0]])
    e = Estimate((a, b), np.diag([1e-12] * 4), ("scale",), s, np.array([[0.002**2]]))
    (d,) = list_dimensions(e)
    assert d.u95_mm == pytest.approx(K95 * 0.1, rel=1e-4)


def test_the_limit_holds_for_a_large_part() -> None:
    holes = tuple(Circle(f"D{i}", i, (7.0 * (i % 8), 7.0 * (i // 8)), 1.5 + 0.01 * i) for i in range(1, 33))
    e = Estimate(holes, np.eye(96) * 1e-4, (), np.zeros((96, 0)), np.zeros((0, 0)))
    found = list_dimensions(e)
    assert len(found) <= 60
    assert sum(d.kind == "diameter" for d in found) == 32
