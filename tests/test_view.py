"""The view: projection and its inverse, derivatives, and the least-squares solution from the four sides."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.view.settling import SILENT_FROM, covariance_of, loss
from calib.view.view import (
    Prior,
    Rectangle,
    SideEdges,
    View,
    camera_prior,
    derivative,
    first_guess,
    project,
    projection_derivative,
    rotation,
    side_points,
    solve,
    to_plane,
)

SIZE = (4000, 3000)
CARD = Rectangle(85.60, 53.98, 0.76, 0.05, 0.022, 0.04, 3.18)


def parameters(tilt_deg=9.0, azimuth_deg=40.0, turn_deg=15.0, height_mm=290.0, focal=3100.0, k1=0.01):
    """A camera over the plane's origin, looking down with a tilt."""
    a, b, c = np.radians([tilt_deg, azimuth_deg, turn_deg])
    down = rotation(np.array([np.pi, 0, 0]))
    lean = rotation(a * np.array([np.cos(b), np.sin(b), 0]))
    R = lean @ down @ rotation(np.array([0, 0, c]))
    angle = np.arccos((np.trace(R) - 1) / 2)
    axis = np.array([R[2, 1] - R[1, 2], R[0, 2] - R[2, 0], R[1, 0] - R[0, 1]]) / (2 * np.sin(angle))
    centre = np.array([20.0, -35.0, height_mm])
    return np.r_[angle * axis, -R @ centre, focal, (SIZE[0] - 1) / 2 + 5, (SIZE[1] - 1) / 2 - 4, k1]


@given(
    st.floats(0, 40), st.floats(0, 360), st.floats(-180, 180), st.floats(-60, 60), st.floats(-60, 60), st.floats(0, 12)
)
@settings(max_examples=60, deadline=None)
def test_plane_inverts_pixels(tilt, azimuth, turn, x, y, z):
    q = parameters(tilt, azimuth, turn)
    px = project(q, np.array([[x, y, z]]))
    assert to_plane(q, px, z)[0] == pytest.approx([x, y], abs=1e-6)


def test_derivatives_agree_with_differences():
    q = parameters()
    X = np.array([[30.0, -20, 0], [-42, 26, 0.76], [10, 5, 8]])
    by_parameter, by_point = projection_derivative(q, X)
    steps = np.r_[np.full(3, 1e-6), np.full(3, 1e-4), 1e-2, 1e-2, 1e-2, 1e-6]
    assert by_parameter == pytest.approx(derivative(lambda v: project(v, X), q, steps), rel=1e-5, abs=1e-4)
    for axis in range(3):
        d = np.zeros(3)
        d[axis] = 1e-4
        assert by_point[:, :, axis] == pytest.approx((project(q, X + d) - project(q, X - d)) / 2e-4, rel=1e-5, abs=1e-5)
    view = View(q, np.zeros((10, 10)), SIZE)
    px = project(q, X)
    expected = derivative(lambda v: to_plane(v, px, X[:, 2]), q, steps)
    assert view.plane_sensitivity(px, X[:, 2]) == pytest.approx(expected, rel=1e-4, abs=1e-6)


def test_height_displaces_away_from_the_foot_point():
    """X' = C + (X - C) Z / (Z - h): hand calculation, 10 mm at 290 mm moves a point 3.57 % away from the foot point."""
    q = parameters(k1=0.0)
    view = View(q, np.zeros((10, 10)), SIZE)
    C = view.centre_mm
    point = np.array([[60.0, 10.0]])
    seen = view.plane(view.pixels(point, 10.0), 0.0)
    assert seen[0] == pytest.approx(C[:2] + (point[0] - C[:2]) * C[2] / (C[2] - 10.0), abs=1e-6)


def sides_of(q, size, rng, noise_px, common_px):
    """Located sides as the camera would give them: each side's points share an offset and a bow."""
    out = []
    for k in range(4):
        along = np.linspace(-0.44, 0.44, 60)
        X = side_points(k, along, *size, 0.76)
        px = project(q, X)
        u = np.gradient(px, axis=0)
        n = np.c_[-u[:, 1], u[:, 0]] / np.hypot(*u.T)[:, None]
        off = rng.normal(0, noise_px, len(px)) + rng.normal(0, common_px) + rng.normal(0, 0.08) * (1 - 8 * along**2)
        out.append(SideEdges(k, along, True, px + off[:, None] * n, n, np.full(len(px), max(noise_px, 0.02))))
    return out


def test_solution_covers_the_truth():
    """Over 120 simulated cards the solved view maps a far point within its own standard deviations."""
    rng = np.random.default_rng(4)
    prior = Prior(3100.0, 0.03, ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), 15.0)
    scaled = []
    for _ in range(120):
        q = parameters(
            rng.uniform(3, 15), rng.uniform(0, 360), rng.uniform(-180, 180), 290, 3100 * (1 + rng.normal(0, 0.03)),
            rng.normal(0, 0.02),
        )  # fmt: skip
        q[7:9] = np.array(prior.centre_px) + rng.normal(0, 15, 2)
        size = (rng.normal(85.60, 0.05), rng.normal(53.98, 0.022))
        solved = solve(sides_of(q, size, rng, 0.1, 0.12), CARD, prior, q, SIZE)
        ends = np.array([[-60.0, -70.0], [-20.0, -62.0]])
        px = project(q, np.c_[ends, np.zeros(2)])
        found = solved.view.plane(px)
        J = solved.view.plane_sensitivity(px)
        d = found[1] - found[0]
        u = d / np.hypot(*d)
        a = u @ (J[1] - J[0])
        true = np.hypot(*(ends[1] - ends[0]))
        scaled.append((np.hypot(*d) - true) / np.sqrt(a @ solved.view.covariance @ a))
    assert np.std(scaled) == pytest.approx(1.0, abs=0.22)
    assert abs(np.mean(scaled)) < 0.35


def test_first_guess_finds_the_pose():
    q = parameters(k1=0.0)
    corners = np.array([[-42.8, -26.99, 0.76], [42.8, -26.99, 0.76], [42.8, 26.99, 0.76], [-42.8, 26.99, 0.76]])
    prior = Prior(3100.0, 0.03, (q[7], q[8]), 15.0, radial=0.0)
    guess = first_guess(project(q, corners), CARD, prior)[0]
    assert project(guess, corners) == pytest.approx(project(q, corners), abs=1.0)
    assert View(guess, np.zeros((10, 10)), SIZE).centre_mm == pytest.approx([20, -35, 290], abs=3)


def test_a_poor_start_silences_no_side():
    """Finely located sides, from a camera guessed a fifth too near and a degree askew: the same view as from the truth.

    Had points been doubted before the first turns were over, three sides would have been left out, and the focal length
    and the height been as unsure as before.
    """
    q = parameters()
    prior = Prior(3100.0, 0.03, ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), 15.0)
    sides = [
        replace(s, sigma_px=s.sigma_px * 0.75) for s in sides_of(q, (85.60, 53.98), np.random.default_rng(3), 0.01, 0.1)
    ]
    start = q.copy()
    start[0] += np.radians(1)
    start[5] *= 0.8
    good, poor = (solve(sides, CARD, prior, p, SIZE).view for p in (q, start))
    assert np.sqrt(np.diag(poor.covariance)) == pytest.approx(np.sqrt(np.diag(good.covariance)), rel=0.05)


def test_a_side_that_is_silenced_costs_what_its_points_cost():
    """What is left out makes no solution the better: of two poses the one that explains all sides is taken."""
    rng = np.random.default_rng(5)
    good = rng.normal(0, 1, 40)
    silenced = np.r_[good[:30], np.full(10, 50.0)]
    assert loss(good) == pytest.approx((good**2).sum(), rel=0.15)  # at the middle of Tukey's curve they are squares
    assert loss(silenced) == pytest.approx(loss(good[:30]) + 10 * SILENT_FROM**2 / 3)
    assert loss(silenced) > loss(good) + 1


def test_focal_prior_holds_both_conventions():
    """26 mm at 4032 x 3024: 2912 px by the frame's side of 36 mm, 3028.7 px by its diagonal of 43.2666 mm."""
    prior = camera_prior((4032, 3024), 26.0)
    sd = prior.focal_px * prior.focal_relative
    assert abs(prior.focal_px - 2912.0) < 1.5 * sd
    assert abs(prior.focal_px - 3028.7) < 1.5 * sd
    assert prior.focal_relative < 0.04
    assert camera_prior((4032, 3024), None).focal_relative > 0.15
    assert camera_prior((4032, 3024), 0.0) == camera_prior((4032, 3024), None)


def test_a_focal_length_that_is_hardly_known_is_known_by_its_logarithm():
    """Twice and half of the best value are as far from it: ln 2 over 0.32 is 2.17 standard deviations either way."""
    prior = camera_prior((4032, 3024), None)
    for factor in (0.5, 2.0):
        near = prior.near(factor * prior.focal_px)
        off = (factor * prior.focal_px - near.focal_px) / (near.focal_px * near.focal_relative)
        assert abs(off) == pytest.approx(np.log(2) / 0.32, rel=1e-6)
    known = camera_prior((4032, 3024), 26.0)
    assert known.near(3200.0) == known


def test_what_was_known_beforehand_does_what_the_view_says():
    """The solution for a card that is a standard deviation larger, thicker, or a camera whose focal length is so."""
    q = parameters()
    prior = Prior(3100.0, 0.03, ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), 15.0)
    sides = sides_of(q, (85.60, 53.98), np.random.default_rng(1), 0.05, 0.05)
    plain = solve(sides, CARD, prior, q, SIZE).view
    tried = {
        0: (CARD, replace(prior, focal_px=prior.focal_px * 1.003)),  # a tenth of each, where all is linear
        1: (CARD, replace(prior, radial=prior.radial + prior.radial_sd * 0.1)),
        2: (replace(CARD, width_mm=CARD.width_mm + 0.005), prior),
        3: (replace(CARD, height_mm=CARD.height_mm + 0.0022), prior),
        4: (replace(CARD, thickness_mm=CARD.thickness_mm + 0.004), prior),
    }
    for k, (card, camera) in tried.items():
        change = solve(sides, card, camera, q, SIZE).view.parameters - plain.parameters
        sd = np.sqrt(np.diag(plain.covariance))
        assert plain.by_prior is not None
        assert change / sd == pytest.approx(0.1 * plain.by_prior[:, k] / sd, abs=0.004)


def test_variances_are_never_negative():
    """Of focal lengths in thousands of pixels and turns in millionths of a radian, nearly one and the same."""
    unit = np.array([1e6, 1e-3, 1e3])
    nearly = np.array([[1.0, 1 - 1e-13, 0.2], [1 - 1e-13, 1.0, 0.2], [0.2, 0.2, 1.0]])
    assert (np.diag(covariance_of(nearly * np.outer(unit, unit))) > 0).all()
    with pytest.raises(np.linalg.LinAlgError):
        covariance_of(np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 1.0]]))
    with pytest.raises(np.linalg.LinAlgError):
        covariance_of(np.diag([1.0, 0.0, 2.0]))
