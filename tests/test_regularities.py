"""Regularities: accepted where they hold, left alone where they don't."""

import math

import numpy as np
import pytest

from measure.adjustment.adjustment import reconcile
from measure.adjustment.regularities import Regularity, propose
from measure.geometry.dimensions import angle_between, centres, distance
from measure.geometry.features import Estimate, Feature
from tests.simulated_parts import Part, circle, parts, polygon
from tests.simulated_traces import features_of, trace


def proposed(features: tuple[Feature, ...], seed: int) -> list[Regularity]:
    e = trace(features, 3.0, np.random.default_rng(seed)).estimate
    return propose(e.features, e.slices(), e.covariance())


def true_gap(r: Regularity, features: tuple[Feature, ...]) -> float:
    """How far the true features are from it, mm or rad."""
    named = {f.label: f for f in features}
    a, b = (named[x] for x in r.features)
    if r.kind == "parallel":
        return abs(angle_between(a, b))
    if r.kind == "square":
        return abs(abs(angle_between(a, b)) - math.pi / 2)
    if r.kind == "collinear":
        return distance(a, b).value_mm
    if r.kind == "concentric":
        return centres(a, b).value_mm
    return abs(a.radius - b.radius)


@pytest.mark.parametrize("p", parts(), ids=lambda p: p.name)
def test_those_that_hold_are_mostly_found_and_none_is_invented(p: Part) -> None:
    found = [r for seed in range(6) for r in proposed(p.features, seed)]
    wrong = [r for r in found if true_gap(r, p.features) > 1e-6]
    assert len(found) >= 6
    # all that is regular on these parts is exactly so; an accepted one that is not must be near enough to pass for it
    assert len(wrong) <= 0.05 * len(found)


def test_no_closed_chains() -> None:
    for seed in range(4):
        found = proposed(parts()[0].features, seed)
        for kinds in (("parallel", "square"), ("equal-radius",), ("concentric",)):
            ties = [r.features for r in found if r.kind in kinds]
            assert len({b for _, b in ties}) == len(ties)  # each is tied once
            assert not {b for _, b in ties} & {a for a, _ in ties}  # and never to one that is tied itself


def test_a_taper_of_two_degrees_is_not_parallel() -> None:
    wedge = features_of([polygon([(0, 0, 0), (50, 0, 0), (50, 20 - 50 * math.tan(math.radians(2)), 0), (0, 20, 0)])])
    for seed in range(8):
        found = proposed(wedge, seed)
        assert not any(r.kind == "parallel" and set(r.features) == {"E1", "E3"} for r in found)
        assert any(r.kind == "square" and set(r.features) == {"E1", "E4"} for r in found) or seed


def test_radii_a_quarter_millimetre_apart_are_not_equal() -> None:
    holes = features_of([circle(0, 0, 20), circle(-8, 0, 3.0), circle(8, 0, 3.25), circle(0, 9, 3.0)])
    pairs = [set(r.features) for s in range(20) for r in proposed(holes, s) if r.kind == "equal-radius"]
    assert {"D2", "D3"} not in pairs
    assert {"D3", "D4"} not in pairs
    assert pairs.count({"D2", "D4"}) >= 6


def test_concentric_and_off_centre() -> None:
    ring = features_of([circle(0, 0, 20), circle(0, 0, 8)])
    cam = features_of([circle(0, 0, 20), circle(0.6, 0, 8)])
    assert sum(any(r.kind == "concentric" for r in proposed(ring, s)) for s in range(10)) >= 8
    assert not any(r.kind == "concentric" for s in range(10) for r in proposed(cam, s))


def test_edges_in_one_line() -> None:
    step = [(0, 0, 0), (40, 0, 0), (40, 12, 0), (30, 12, 0), (30, 6, 0), (10, 6, 0), (10, 12, 0), (0, 12, 0)]
    low = [(x, 11.5, r) if (x, y) in ((40, 12), (30, 12)) else (x, y, r) for x, y, r in step]

    def in_line(corners: list[tuple[float, float, float]], seed: int) -> list[Regularity]:
        t = trace(features_of([polygon(corners)]), 3.0, np.random.default_rng(seed), noise=0.5)
        out = reconcile(t.estimate, [], thickness_mm=3.0)  # square edges first, which tells the directions better
        return [r for r in out.regularities if r.kind == "collinear"]

    found = [r for s in range(8) for r in in_line(step, s)]
    assert len(found) >= 4
    assert all(set(r.features) == {"E3", "E7"} for r in found)
    assert not [r for s in range(8) for r in in_line(low, s)]


def test_what_the_data_can_not_tell_is_not_taken() -> None:
    """Directions known to a few degrees only: nothing speaks for parallel more than for any other angle."""
    f = parts()[0].features
    m = 200
    vague = Estimate(f, np.eye(m) * 0.5**2, (), np.zeros((m, 0)), np.zeros((0, 0)))
    assert propose(f, vague.slices(), vague.white) == []


def test_rows_are_the_gradients_of_the_gaps() -> None:
    from measure.geometry.rejoin import shifted_all

    e = trace(parts()[4].features, 3.0, np.random.default_rng(0)).estimate
    plate = trace(parts()[0].features, 3.0, np.random.default_rng(0)).estimate
    for x in (e, plate):
        m = len(x.white)
        for r in propose(x.features, x.slices(), x.covariance()):
            step = np.random.default_rng(1).normal(size=m) * 1e-7
            there = shifted_all(x.features, step)
            again = propose(there, x.slices(), x.covariance())
            (same,) = [g for g in again if g.kind == r.kind and g.features == r.features]
            assert r.at(step).gaps == pytest.approx(same.gaps, abs=1e-11)
            assert same.gaps - r.gaps == pytest.approx(r.rows @ step, abs=1e-11)
