"""Whether an outline runs along an edge: invented edge points, and drawn discs with and without a shadow's edge."""

import cv2
import numpy as np
import pytest

from calib.errors import PartRefused
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.edge_loop import EdgeLoop
from measure.edges.plausible import doubtful_edges, require_edges
from measure.geometry.features import Circle, Estimate

PX_PER_MM = 10.0
SIZE = (600, 500)


def loop(sigma_mm):
    n = len(sigma_mm)
    return EdgeLoop(np.zeros((n, 2)), np.zeros((n, 2)), np.array(sigma_mm), np.zeros((n, 1)))


def test_points_that_are_sure_pass():
    require_edges([loop([0.005] * 90 + [0.2] * 10)])


@pytest.mark.parametrize("sigma_mm", [[0.005] * 60 + [0.15] * 40, [np.inf] * 20])
def test_points_that_hang_on_nothing_are_refused(sigma_mm):
    with pytest.raises(PartRefused) as refusal:
        require_edges([loop(sigma_mm)])
    assert refusal.value.code == "faint-edge"


def looking_straight_down():
    """A view from 300 mm at PX_PER_MM on the plane, y up in the world and down in the photo."""
    focal = 300.0 * PX_PER_MM
    pose = [np.pi, 0.0, 0.0, 0.0, 0.0, 300.0]
    return View(np.array([*pose, focal, SIZE[0] / 2, SIZE[1] / 2, 0.0]), np.zeros((10, 10)), SIZE)


def disc_with(shadow):
    """A dark disc of 15 mm radius on a light ground; with a soft dark ring of 2 mm along its right half, if wanted."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]].astype(float)
    r = np.hypot(x - SIZE[0] / 2, y - SIZE[1] / 2) / PX_PER_MM
    ground = np.full(r.shape, 200.0)
    if shadow:
        ground -= 60.0 / (1 + np.exp((r - 17) / 0.3)) * (x > SIZE[0] / 2)
    picture = np.where(r < 15, 50.0, ground)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    return Light.of(np.repeat(np.clip(picture, 0, 255).astype(np.uint8)[..., None], 3, 2))


def circle_px(radius_mm, right_mm):
    """Counter-clockwise in the world; its right half may have another radius."""
    t = np.linspace(0, 2 * np.pi, 400)
    r = np.where(np.cos(t) > 0, right_mm, radius_mm) * PX_PER_MM
    return np.stack([SIZE[0] / 2 + r * np.cos(t), SIZE[1] / 2 - r * np.sin(t)], 1)


def found():
    features = (Circle("D1", 0, (0.0, 0.0), 15.0),)
    return Estimate(features, np.zeros((3, 3)), (), np.zeros((3, 0)), np.zeros((0, 0)))


@pytest.mark.parametrize("shadow", [False, True])
def test_an_outline_on_its_edge_has_no_caution(shadow):
    assert doubtful_edges(disc_with(shadow), looking_straight_down(), found(), [circle_px(15, 15)], 0.0) == ()


def test_an_outline_along_a_shadow_has_one():
    (caution,) = doubtful_edges(disc_with(True), looking_straight_down(), found(), [circle_px(15, 17)], 0.0)
    assert caution.code == "faint-edge"
    assert "D1" in caution.text
