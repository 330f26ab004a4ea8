"""The part's own frame."""

import math

import numpy as np
import pytest

from measure.dimensioning.frame import squared_up
from measure.geometry.features import Circle, Estimate, Line, direction


def rectangle(turn_rad):
    """A 40 x 20 rectangle with a hole, turned; the covariance of the hole's centre is elongated along its x."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)

    def at(x, y):
        return (c * x - s * y + 7.0, s * x + c * y - 3.0)

    corners = [at(0, 0), at(40, 0), at(40, 20), at(0, 20)]
    lines = [Line(f"E{k + 1}", 0, corners[k], corners[(k + 1) % 4]) for k in range(4)]
    hole = Circle("D1", 1, at(10, 8), 3.0)
    white = np.diag([1e-4, 1e-6] * 4 + [4e-4, 1e-4, 1e-4])
    sensitivity = np.zeros((11, 1))
    sensitivity[8:10, 0] = c, s
    return Estimate((*lines, hole), white, ("scale",), sensitivity, np.eye(1))


@pytest.mark.parametrize("turn", [0.0, 0.3, -0.7, 2.5])
def test_edges_come_level_and_the_corner_to_the_origin(turn):
    found, motion = squared_up(rectangle(turn), photo_turn_rad=turn + 0.1)
    assert abs((motion.turn_rad + turn + math.pi / 4) % (math.pi / 2) - math.pi / 4) < 1e-9
    assert abs(direction(found.features[0]) @ [0, 1]) < 1e-9
    starts = np.array([f.start for f in found.features if f.kind == "line"])
    assert starts.min(0) == pytest.approx([0, 0], abs=1e-9)
    assert starts.max(0) == pytest.approx([40, 20], abs=1e-9)


def test_covariance_turns_with_the_centre():
    """Turned by a quarter, what was uncertain along x is uncertain along y (hand calculation)."""
    e = rectangle(0.0)
    found, motion = squared_up(e, photo_turn_rad=-math.pi / 2)
    assert motion.turn_rad == pytest.approx(math.pi / 2)
    assert np.diag(found.white)[8:10] == pytest.approx([1e-4, 4e-4])
    assert found.sensitivity[8:10, 0] == pytest.approx([0, 1], abs=1e-12)
