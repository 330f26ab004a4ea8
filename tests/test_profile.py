"""Edges in profiles of light: single steps, walls, shadows, colours, and the path along a boundary."""

import numpy as np
import pytest
from scipy.special import ndtr

from calib.light.path import smoothest, vertex
from calib.light.profile import OPPONENT, Light, Profiles, evidence, linear_table, take

S = np.arange(-15, 16.01, 0.5)
XS = np.arange(-4, 4.01, 0.25)


def profiles(levels, steps, noise, rng, count=40, blur=1.0):
    """Profiles of linear RGB levels with steps at the given places."""
    light = np.array(levels[0])[None] + sum(
        ndtr((S - x) / blur)[:, None] * (np.array(b) - np.array(a))
        for a, b, x in zip(levels[:-1], levels[1:], steps, strict=True)
    )
    rgb = light[None] + rng.normal(0, noise, (count, len(S), 3))
    return Profiles(S, rgb @ OPPONENT, np.zeros(count))


def located(p, wall=0.0, cores=(0.0, 2.0, 4.0)):
    e = evidence(p, np.full(len(p.light), wall), XS, np.array(cores), 1.0)
    cost = e.cost.min(2)
    return vertex(cost, XS, cost.argmin(1))


FACE, GROUND, SHADOW = (0.05, 0.3, 0.1), (0.6, 0.55, 0.5), (0.15, 0.14, 0.13)


@pytest.mark.parametrize("x", [-1.3, -0.12, 0.0, 0.4, 2.1])
def test_single_step(x):
    found, sigma = located(profiles([FACE, GROUND], [x], 0.01, np.random.default_rng(1)))
    assert np.median(found) == pytest.approx(x, abs=0.04)
    assert np.std(found - x) < 2.5 * np.median(sigma)


def test_a_shadow_is_not_the_edge():
    """Dark part, its cast shadow 4 px wide, bright table: the edge is where the part ends."""
    found, _ = located(profiles([FACE, SHADOW, GROUND], [0.3, 4.3], 0.006, np.random.default_rng(2)))
    assert np.median(found) == pytest.approx(0.3, abs=0.1)


def test_both_rims_of_a_wall():
    """Near side: the true boundary is the lower rim, though the upper one is the stronger step."""
    face, wall, table = (0.6, 0.2, 0.2), (0.2, 0.06, 0.06), (0.15, 0.15, 0.16)
    found, _ = located(profiles([face, wall, table], [-5.8, 0.2], 0.006, np.random.default_rng(3)), wall=6.0)
    assert np.median(found) == pytest.approx(0.2, abs=0.1)


def test_colour_alone_is_enough():
    """Red on green of the same lightness (weights 0.30, 0.59, 0.11): no step in grey at all."""
    red, green = np.array([0.40, 0.10, 0.10]), np.array([0.10, 0.2525, 0.10])
    assert (red @ OPPONENT)[0] == pytest.approx((green @ OPPONENT)[0], abs=1e-4)
    found, _ = located(profiles([red, green], [0.5], 0.01, np.random.default_rng(4)))
    assert np.median(found) == pytest.approx(0.5, abs=0.05)


def test_linear_light_of_the_standard():
    """sRGB codes of IEC 61966-2-1: 0, 255, and code 188 is half of full light (0.5029, hand calculation)."""
    table = linear_table() / 65535
    assert table[0] == 0
    assert table[255] == 1
    assert table[188] == pytest.approx(((188 / 255 + 0.055) / 1.055) ** 2.4, abs=1e-5)
    assert np.all(np.diff(table) > 0)


def test_sampling_a_drawn_edge():
    """A blurred upright edge at x = 40.3 drawn in sRGB is found through the photo's own pixels."""
    x = np.arange(80.0)
    linear = 0.1 + 0.5 * ndtr((x - 40.3) / 1.0)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    rgb = np.repeat(np.repeat(np.round(code * 255).astype(np.uint8)[None, :, None], 60, 0), 3, 2)
    points = np.stack([np.full(40, 40.0), np.arange(10, 50)], 1).astype(float)
    p = take(Light.of(rgb, (5, 5, 75, 55)), points, np.tile([1.0, 0.0], (40, 1)), 12, 12, 4)
    e = evidence(p, np.zeros(10), XS, np.zeros(1), 1.0)
    found, _ = vertex(e.cost[:, :, 0], XS, e.cost[:, :, 0].argmin(1))
    assert found == pytest.approx(0.3, abs=0.03)


def test_path_keeps_to_the_smooth_course():
    """A false minimum under five blocks of a closed loop does not draw the path away."""
    x = np.arange(-4, 4.01, 0.5)
    cost = np.minimum((x - 0.0) ** 2 * 8, 20) * np.ones((80, 1))
    cost[30:35] = np.minimum((x - 2.0) ** 2 * 8, 20) * 1.0
    free = x[smoothest(cost, 0.0, closed=True)]
    stiff = x[smoothest(cost, 20.0, closed=True)]
    assert free[32] == 2.0
    assert np.all(stiff == 0.0)
