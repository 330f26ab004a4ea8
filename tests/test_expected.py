"""The uncertainty to expect of 50 mm, against hand calculations and against what a trace then says."""

from __future__ import annotations

import numpy as np
import pytest

from calib.view.view import View, camera_prior
from measure.check.expected import u95_of_length

FOCAL_PX, HEIGHT_MM = 3000.0, 300.0


def straight_down(covariance: np.ndarray) -> View:
    """A camera over the origin looking straight down: 0.1 mm a pixel."""
    prior = camera_prior((4000, 3000), 27.0)
    turn = np.array([np.pi, 0.0, 0.0])
    parameters = np.r_[turn, 0.0, 0.0, HEIGHT_MM, FOCAL_PX, *prior.centre_px, 0.0]
    return View(parameters, covariance, (4000, 3000))


def test_a_perfect_view_leaves_the_edges() -> None:
    found = u95_of_length(straight_down(np.zeros((10, 10))), np.zeros(2), 0.0, 0.0, False)
    # two edges each 0.06 px too far out: 2 × 0.006 mm; noise 0.04 px over 12 blocks, two edges: 0.0016 mm;
    # thickness 0: no lift. 1.96 × sqrt(0.012² + 0.0016²) = 0.0237
    assert found == pytest.approx(0.0237, abs=0.0002)


def test_burnt_light_makes_it_worse() -> None:
    view = straight_down(np.zeros((10, 10)))
    clear, burnt = (u95_of_length(view, np.zeros(2), 0.0, 0.0, clipped) for clipped in (False, True))
    assert burnt == pytest.approx(1.96 * np.hypot(2 * 0.2 * 0.1, 0.0016), rel=0.01)
    assert burnt > 3 * clear


def test_a_doubtful_scale_shows_in_proportion() -> None:
    covariance = np.zeros((10, 10))
    covariance[5, 5] = (0.002 * HEIGHT_MM) ** 2  # height of the camera known to 0.2 %: 0.1 mm on 50
    found = u95_of_length(straight_down(covariance), np.zeros(2), 0.0, 0.0, False)
    assert found == pytest.approx(np.hypot(1.96 * 0.1, 0.0237), rel=0.01)


def test_a_thick_part_off_the_foot_point_is_less_sure() -> None:
    view = straight_down(np.zeros((10, 10)))
    flat = u95_of_length(view, np.array([80.0, 0.0]), 0.0, 0.0, False)
    thick = u95_of_length(view, np.array([80.0, 0.0]), 12.0, 0.0, False)
    assert thick > flat
