"""Observation equations: their gradients, the prior, and what repeats have in common."""

from dataclasses import replace

import numpy as np
import pytest

from calib.tools.jaws import TOOLS, Tool, bore_shortfall_mm, hollow_rise_mm, uncertainty
from measure.adjustment.equations import (
    UNKNOWN_THICKNESS_MM,
    Unknowns,
    equation,
    key,
    prior,
    reading_covariance,
    unknowns,
    with_edge_error,
)
from measure.geometry.features import Feature, length
from measure.geometry.rejoin import joints, shifted_all, tangency
from measure.readings.readings import Reading
from tests.simulated_parts import Part, parts
from tests.simulated_traces import Trace, trace

WIDE: dict[str, Tool] = {**TOOLS, "caliper": replace(TOOLS["caliper"], flat_mm=0.8, flat_u_mm=0.3)}


def case(p: Part) -> tuple[Trace, list[Reading], Unknowns]:
    t = trace(p.features, p.thickness_mm, np.random.default_rng(3))
    rs = [Reading(k, labels, 5.0) for k, labels in p.readings]  # type: ignore[arg-type]
    return t, rs, unknowns(t.estimate, joints(t.estimate.features), rs, WIDE)


def features(t: Trace, x: np.ndarray, k: Unknowns) -> dict[str, Feature]:
    return {f.label: f for f in shifted_all(t.estimate.features, x[: k.m])}


@pytest.mark.parametrize("p", parts(), ids=lambda p: p.name)
def test_rows_are_gradients(p: Part) -> None:
    t, rs, k = case(p)
    h = 1e-6
    for r in rs:
        zero = np.zeros(k.size)
        at = equation(k, r, features(t, zero, k), zero, t.thickness_mm, WIDE, p.subject)
        for j in range(k.size):
            two = []
            for sign in (1, -1):
                x = np.zeros(k.size)
                x[j] = sign * h
                two.append(equation(k, r, features(t, x, k), x, t.thickness_mm, WIDE, p.subject).reading_mm)
            assert at.row[j] == pytest.approx((two[0] - two[1]) / (2 * h), abs=1e-4)


def test_what_the_jaws_do_by_hand() -> None:
    p = parts()[0]
    t = trace(p.features, p.thickness_mm, np.random.default_rng(3))
    bore, web = Reading("bore", ("D1",), 4.4), Reading("web", ("D1", "D2"), 35.0)
    k = unknowns(t.estimate, joints(t.estimate.features), [bore, web], WIDE)
    x = np.zeros(k.size)
    x[k.zeros["caliper"]] = 0.1
    named = features(t, x, k)
    d1, d2 = named["D1"].radius, named["D2"].radius
    assert d1 is not None
    assert d2 is not None
    e = equation(k, bore, named, x, t.thickness_mm, WIDE)
    assert e.size_mm == pytest.approx(2 * d1)
    assert e.reading_mm == pytest.approx(2 * d1 - bore_shortfall_mm(2 * d1, 0.8) + 0.1)
    e = equation(k, web, named, x, t.thickness_mm, WIDE)
    assert e.reading_mm == pytest.approx(e.size_mm + hollow_rise_mm(d1, 0.8) + hollow_rise_mm(d2, 0.8) + 0.1)


def test_the_prior_is_the_photos_covariance_and_the_tools() -> None:
    t, _, k = case(parts()[1])
    mean, c = prior(k, WIDE)
    assert np.abs(mean).max() < 0.02
    assert c[: k.m, : k.m] == pytest.approx(t.estimate.covariance(), abs=2e-5)
    assert c[k.m : k.m + k.s, k.m : k.m + k.s] == pytest.approx(t.estimate.shared, rel=1e-3)
    assert c[k.zeros["caliper"], k.zeros["caliper"]] == WIDE["caliper"].zero_mm ** 2
    assert c[k.flats["caliper"], k.flats["caliper"]] == WIDE["caliper"].flat_u_mm ** 2
    looser = prior(k, WIDE, looser=2.0)[1]
    th = k.thickness
    assert looser[th, th] == pytest.approx(c[th, th], rel=0.02)
    assert looser[0, 0] == pytest.approx(4 * c[0, 0], rel=0.05)


def test_a_misplaced_edge_may_move_and_takes_its_fillets_along() -> None:
    t, _, k = case(parts()[0])
    j = k.slices["E3"].start
    before, after = prior(k, WIDE)[1], prior(k, WIDE, misplaced=[j])[1]
    assert after[j, j] > 0.3
    for label in ("E1", "E2", "E4", "D1"):
        i = k.slices[label].start
        assert after[i, i] < 1.5 * before[i, i]
    f = {x.label: x for x in t.estimate.features}
    touch = tangency(f["E3"], f["R4"])
    assert touch is not None
    row = np.zeros(k.size)
    row[k.slices["E3"]] += touch.of_first
    row[k.slices["R4"]] += touch.of_second
    assert row @ after @ row < 0.005**2


def test_neighbours_that_were_fitted_apart_are_held_tangent() -> None:
    t, _, k = case(parts()[0])
    apart = np.diag(np.diag(t.estimate.white))
    k = replace(k, estimate=replace(t.estimate, white=apart))
    _, c = prior(k, WIDE)
    f = t.estimate.features
    for j in k.found:
        touch = tangency(f[j.first], f[j.second])
        assert touch is not None
        row = np.zeros(k.size)
        row[k.slices[f[j.first].label]] += touch.of_first
        row[k.slices[f[j.second].label]] += touch.of_second
        before = row[: k.m] @ apart @ row[: k.m]
        assert before > 0.01**2
        assert row @ c @ row < 0.004**2


def test_a_thickness_that_the_photo_does_not_know() -> None:
    t = trace(parts()[0].features, 4.0, np.random.default_rng(0))
    e = replace(t.estimate, shared_names=("scale", "stretch", "shear", "height"))
    k = unknowns(e, [], [Reading("thickness", (), 4.0)], TOOLS)
    assert k.own_thickness
    assert prior(k, TOOLS)[1][k.thickness, k.thickness] == UNKNOWN_THICKNESS_MM**2


def test_repeats_have_something_in_common_and_others_have_not() -> None:
    one, two = Reading("width", ("E1", "E3"), 20.0), Reading("width", ("E3", "E1"), 20.01)
    three = Reading("width", ("E1", "E3"), 20.0, tool="vernier")
    c = reading_covariance([one, two, three], TOOLS)
    u = uncertainty(TOOLS["caliper"], "outside", 20.0)
    assert key(one) == key(two) != key(three)
    assert c[0, 0] == pytest.approx(u.total_mm**2)
    assert c[0, 1] == pytest.approx(u.common_mm**2)
    assert c[0, 2] == c[1, 2] == 0


def test_inches_carry_their_rounding() -> None:
    def variance(r: Reading) -> float:
        return float(reading_covariance([r], TOOLS)[0, 0])

    mm = variance(Reading("width", ("E1", "E3"), 25.4))
    thousandths = variance(Reading("width", ("E1", "E3"), 25.4, "in", written="1.000"))
    sixteenths = variance(Reading("width", ("E1", "E3"), 25.4 * 15 / 16, "in", written="15/16"))
    assert thousandths - mm == pytest.approx(0.0254**2 / 12)
    assert sixteenths - mm == pytest.approx((25.4 / 16) ** 2 / 12)


def test_what_the_points_of_an_edge_have_wrong_together() -> None:
    t, _, k = case(parts()[0])
    e = with_edge_error(t.estimate, 0.01)
    more = np.diag(e.white - t.estimate.white)
    line = k.slices["E1"].start
    assert more[line] == pytest.approx(0.01**2)
    assert more[line + 1] == pytest.approx((0.015 / length(t.estimate.features[1])) ** 2)
    assert more[k.slices["D1"]] == pytest.approx([0.01**2] * 3)
    assert np.count_nonzero(e.white - t.estimate.white) == k.m
