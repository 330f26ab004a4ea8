"""One outline laid on another, on parts of our own invention."""

import math

import numpy as np
import pytest

from measure.geometry.local_form import base_of, form
from measure.geometry.motion import Motion
from measure.geometry.rejoin import shifted
from measure.several.registration import registrations
from tests.simulated_parts import parts
from tests.simulated_sightings import placed

BY_NAME = {p.name: p.features for p in parts()}


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn_deg", [3.0, 100.0, 250.0])
def test_an_outline_is_laid_back_where_it_came_from(mirrored, turn_deg):
    features = BY_NAME["clip"]  # no mirror axis
    true = Motion(math.radians(turn_deg), (12.0, -30.0), mirrored)
    best = registrations(features, placed(features, true.back()))[0]
    assert best.motion.mirrored == mirrored
    assert math.remainder(best.motion.turn_rad - true.turn_rad, 2 * math.pi) == pytest.approx(0, abs=1e-3)
    assert best.motion.shift_mm == pytest.approx(true.shift_mm, abs=0.02)
    assert best.gap_mm < 0.02


def test_the_wrong_face_leaves_a_gap():
    features = BY_NAME["clip"]
    found = registrations(features, features)
    assert found[0].gap_mm < 0.02
    assert min(p.gap_mm for p in found if p.motion.mirrored) > 0.3


def test_a_part_that_is_its_own_mirror_image_lies_well_either_way():
    features = BY_NAME["plate"]
    gaps = {p.motion.mirrored: p.gap_mm for p in reversed(registrations(features, features))}
    assert gaps[False] < 0.02
    assert gaps[True] < 0.02


def test_all_turns_of_a_part_that_repeats_itself_are_told():
    ring = BY_NAME["ring"][:2]  # two circles: any turn does
    assert len(registrations(ring, ring)) > 4


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_motion_backwards_undoes_it_and_two_in_turn_are_one(mirrored):
    p, q = Motion(0.7, (3.0, -8.0), mirrored), Motion(0.3, (1.0, 2.0), not mirrored)
    points = np.array([[1.0, 2.0], [-4.0, 9.0]])
    assert p.back().points(p.points(points)) == pytest.approx(points)
    assert p.points(points)[0] == pytest.approx(p.point((1.0, 2.0)))
    for other in (q, Motion(-0.4, (5.0, 6.0))):
        assert p.then(other).points(points) == pytest.approx(other.points(p.points(points)))


@pytest.mark.parametrize("mirrored", [False, True])
def test_parameters_go_along_with_the_placing(mirrored):
    p = Motion(1.1, (5.0, 2.0), mirrored)
    for f in BY_NAME["bracket"]:
        laid = p.of(f)
        base = base_of(laid)
        for k, step in enumerate(1e-4 * np.eye(2 if f.kind == "line" else 3)):
            moved = form(p.of(shifted(f, step)), base)
            assert moved == pytest.approx(form(shifted(laid, p.of_parameters(f)[:, k] * 1e-4), base), abs=1e-7)
