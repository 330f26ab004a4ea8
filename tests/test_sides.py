"""Evidence along a rectangle's sides, where a view is wrong."""

from __future__ import annotations

import numpy as np

from calib.light.profile import Light
from calib.rectangle.sides import LONGEST_PX, run
from calib.view.view import Rectangle


def test_an_endless_side_is_not_looked_at() -> None:
    """A camera a thousandth of a millimetre off sees a side 10^11 pixels long."""
    light = Light.of(np.full((60, 80, 3), 128, np.uint8), (0, 0, 80, 60))
    camera = np.array([np.pi, 0, 0, 0, 0, 1e-3, 1e6, 40, 30, 0.0])
    card = Rectangle(85.6, 53.98, 0.0, 0.06, 0.03, 0.04)
    width = 8
    assert len(run(light, camera, card, 0, 4.0, width, 0.8).along) <= LONGEST_PX / width
