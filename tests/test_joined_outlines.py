"""Outlines made one: drawn errors of a known covariance, so that whatever is claimed can be counted."""

from dataclasses import replace

import numpy as np
import pytest

from measure.adjustment.least_squares import chi2_limit
from measure.geometry.dimensions import list_dimensions, size_of
from measure.geometry.features import Estimate
from measure.geometry.motion import Motion
from measure.geometry.rejoin import shifted_all
from measure.several.joint import LaidOutline, joined
from measure.several.matching import partners
from tests.simulated_parts import parts
from tests.simulated_sightings import made_one, pair

PARTS = parts()
PLATE, BRACKET = PARTS[0].features, PARTS[1].features
HERE = Motion(0.9, (20.0, -7.0))


def test_what_is_claimed_holds():
    """72 pairs of photos, either face: u95 holds the truth, chi-square is what it should be, little is called apart.

    A wider interval than 19 in 20 comes of views that happen to contradict each other and are then taken for less sure.
    """
    rng = np.random.default_rng(11)
    inside, ratio, narrower, over, apart = [], [], [], 0, 0
    for k in range(72):
        truth = PARTS[k % len(PARTS)].features
        placing = Motion(
            mirrored=bool(rng.integers(2)), turn_rad=rng.uniform(0, 6.28), shift_mm=tuple(rng.uniform(-50, 50, 2))
        )
        first, second = pair(truth, placing, rng)
        joint = made_one(first, second, placing)
        true = {f.label: f for f in truth}
        for d in list_dimensions(joint.estimate):
            inside.append(abs(d.value_mm - size_of(d.kind, [true[x] for x in d.features]).value_mm) <= d.u95_mm)
        ratio.append(joint.chi2 / joint.freedom)
        over += joint.chi2 > chi2_limit(joint.freedom)
        apart += len(joint.apart)
        single = np.median([d.u95_mm for d in list_dimensions(first)])
        narrower.append(np.median([d.u95_mm for d in list_dimensions(joint.estimate)]) / single)
    assert 0.92 <= np.mean(inside) <= 0.99
    assert np.mean(ratio) == pytest.approx(1, abs=0.1)
    assert over / 72 <= 0.14
    assert apart <= 8
    assert 0.5 < np.mean(narrower) < 0.9


def bare(features, names, sensitivity, sd, white=1e-6) -> Estimate:
    m = sum(2 if f.kind == "line" else 3 for f in features)
    return Estimate(tuple(features), np.eye(m) * white, names, sensitivity, np.diag(np.array(sd) ** 2))


@pytest.mark.parametrize(("names", "share"), [(("card", "card"), 1.0), (("view 1", "view 2"), 0.5**0.5)])
def test_the_same_card_does_not_average_out_and_views_do(names, share):
    """Each photo's scale is unsure by 1 %: by its own view, or by the size of a card that both show."""
    holes = [f for f in PLATE if f.kind == "circle"]
    grow = np.array([v for f in holes for v in (*f.centre, f.radius)])[:, None]
    first, second = (bare(holes, (n,), grow, [0.01]) for n in names)
    pairs = tuple((i, i) for i in range(len(holes)))
    joint = joined(first, [LaidOutline(second, Motion(), pairs)])
    d = {x.kind: x for x in list_dimensions(joint.estimate)}["centres"]
    # 40 mm apart, 0.4 mm of them by the scale; edges add a hundredth
    assert d.u95_mm == pytest.approx(1.96 * 0.4 * share, rel=0.01)


def test_a_feature_that_differs_is_named_and_its_doubt_spans_both():
    rng = np.random.default_rng(2)
    first, second = pair(BRACKET, HERE, rng)
    k = next(i for i, f in enumerate(second.features) if f.kind == "circle")
    by = np.zeros(len(second.white))
    by[second.slices()[second.features[k].label].stop - 1] = 0.4
    joint = made_one(first, replace(second, features=tuple(shifted_all(second.features, by))), HERE)
    label = BRACKET[k].label
    assert joint.apart == (label,)
    d = next(x for x in list_dimensions(joint.estimate) if x.kind == "diameter" and x.features == (label,))
    assert d.u95_mm > 0.4
    assert abs(d.value_mm - 2 * BRACKET[k].radius) < d.u95_mm


def test_views_that_contradict_each_other_are_noticed():
    rng = np.random.default_rng(4)
    first, second = pair(BRACKET, HERE, rng)
    assert all(chi2 < chi2_limit(freedom, 1e-4) for chi2, freedom in made_one(first, second, HERE).views)
    grown = second.sensitivity[:, 0] * 0.015
    larger = replace(second, features=tuple(shifted_all(second.features, grown)))
    joint = made_one(first, larger, HERE)
    assert all(chi2 > chi2_limit(freedom, 1e-4) for chi2, freedom in joint.views)


def test_a_feature_without_partner_stays_from_the_first_photo():
    rng = np.random.default_rng(6)
    first, second = pair(BRACKET, HERE, rng)
    pairs = [p for p in partners(first.features, [HERE.of(f) for f in second.features]) if p[0] != 3]
    joint = joined(first, [LaidOutline(second, HERE, tuple(pairs))])
    assert [f.label for f in joint.estimate.features] == [f.label for f in first.features]
    at = first.slices()[first.features[3].label]
    assert joint.estimate.covariance()[at, at][0, 0] > 0.2 * first.covariance()[at, at][0, 0]


def test_a_third_photo_makes_it_surer_still():
    rng = np.random.default_rng(8)
    first, second = pair(PLATE, HERE, rng)
    third = pair(PLATE, HERE, rng)[1]
    names = tuple(n.replace(" 2", " 3") for n in third.shared_names)
    third = replace(third, shared_names=names)
    pairs = tuple(partners(first.features, [HERE.of(f) for f in second.features]))
    two = joined(first, [LaidOutline(second, HERE, pairs)])
    three = joined(first, [LaidOutline(second, HERE, pairs), LaidOutline(third, HERE, pairs)])
    sizes = [np.median([d.u95_mm for d in list_dimensions(j.estimate)]) for j in (two, three)]
    assert sizes[1] < 0.97 * sizes[0]
