"""Parallel curves against shapely (GEOS): its mitred buffer of the same outline, both ways, within 0.001 mm."""

import math

import numpy as np
import pytest

from measure.geometry.features import flatten, is_round
from measure.geometry.offsetting import offset
from tests.accuracy.fits import OFFSETS_MM, offset_apart_mm
from tests.simulated_parts import circle, parts, polygon, slot
from tests.simulated_traces import features_of


@pytest.mark.parametrize("by", OFFSETS_MM)
@pytest.mark.parametrize("part", parts(), ids=lambda p: p.name)
def test_same_as_the_mitred_buffer(part, by):
    assert offset_apart_mm(part.features, by) < 0.001


def test_lines_stay_lines_and_arcs_arcs_with_exact_sizes():
    features = features_of(
        [polygon([(0, 0, 2), (30, 0, 2), (30, 20, 0), (0, 20, 2)]), circle(8, 10, 3.0), slot(20, 10, 9, 4)]
    )
    moved = offset(features, -0.2)
    assert moved
    assert [f.kind for f in moved] == [f.kind for f in features]
    radii = {f.label: f.radius for f in features if is_round(f)}
    for f in moved:
        if is_round(f):
            grows = f.loop > 0  # the part gets smaller, its holes larger
            assert math.isclose(f.radius - radii[f.label], 0.2 if grows else -0.2, abs_tol=1e-12)
    x = np.concatenate([flatten(f) for f in moved if f.loop == 0])[:, 0]
    assert math.isclose(np.ptp(x), 29.6, abs_tol=1e-9)


def test_a_small_fillet_goes_and_its_neighbours_meet():
    features = features_of([polygon([(0, 0, 0), (20, 0, 0), (20, 8, 0), (8, 8, 0.15), (8, 20, 0), (0, 20, 0)])])
    moved = offset(features, 0.3)  # outward: the hollow fillet of 0.15 would turn inside out
    assert moved
    assert all(f.kind == "line" for f in moved)
    assert offset_apart_mm(features, 0.3) < 0.001


@pytest.mark.parametrize("by", [-0.3, -0.6])
def test_a_web_that_would_vanish_is_refused(by):
    features = features_of([polygon([(0, 0, 0), (20, 0, 0), (20, 10, 0), (0, 10, 0)]), circle(9.6, 5, 4.8)])
    moved = offset(features, by)
    assert not moved
    assert "narrow" in moved.text


def test_too_far_is_refused():
    features = features_of([circle(0, 0, 6)])
    assert not offset(features, 1.2)
