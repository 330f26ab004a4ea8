"""Features described about a point of them."""

import numpy as np
import pytest

from measure.geometry.features import PARAMETERS, Arc
from measure.geometry.local_form import base_of, by_motion, by_parameters, form, parameters_of
from measure.geometry.motion import Motion
from measure.geometry.rejoin import shifted
from tests.simulated_parts import parts

FEATURES = [f for p in parts() for f in p.features]


def test_a_feature_lies_on_its_own_base():
    for f in FEATURES:
        at = form(f, base_of(f))
        expected = [*f.centre, f.radius] if f.kind == "circle" else {"line": [0, 0], "arc": [0, 0, at[-1]]}[f.kind]
        assert at == pytest.approx(expected, abs=1e-9)
        if f.kind == "arc":
            assert abs(at[2]) == pytest.approx(1 / f.radius)


def test_parameters_come_back_from_the_form():
    rng = np.random.default_rng(1)
    for f in FEATURES:
        base, by = base_of(f), rng.normal(0, 0.01, PARAMETERS[f.kind])
        there = form(shifted(f, by), base)
        assert parameters_of(there, f, base) == pytest.approx(by, abs=2e-5 if f.kind == "line" else 1e-9)


def test_an_arc_moves_out_with_its_radius_and_along_with_its_centre():
    quarter = Arc("R1", 0, (5.0, 0.0), (0.0, 5.0), centre=(0.0, 0.0), radius=5.0, turn="ccw")
    by = by_parameters(quarter, base_of(quarter))
    root = np.sqrt(0.5)
    # offset along the outward normal; the tangent turns as the foot slides; curvature falls with the radius
    assert by == pytest.approx(np.array([[root, root, 1], [root / 5, -root / 5, 0], [0, 0, -1 / 25]]), abs=1e-7)


def test_motion_moves_the_form():
    for f in FEATURES[:12]:
        base, d = base_of(f), np.array([2e-5, 3e-5, -1e-5])
        there = form(Motion(d[0], (d[1], d[2])).of(f), base)
        assert there - form(f, base) == pytest.approx(by_motion(f, base) @ d, abs=1e-7)
