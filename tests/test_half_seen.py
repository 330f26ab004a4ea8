"""Holes of which only the wall is seen, as crescents; invented shapes under a pinhole's formula."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Point, Polygon, box
from shapely.affinity import rotate

from calib.arrays import Array
from calib.view.view import View
from measure.edges.half_seen import ALONG, along_its_foot, half_seen_holes
from measure.edges.sight import Wall
from measure.geometry.features import Circle, Estimate

WALL = Wall(8.0, 0.0)
CENTRE = np.array([60.0, 0.0])


def view() -> View:
    """Straight down from 300 mm over the origin."""
    return View(np.array([np.pi, 0, 0, 0, 0, 300.0, 3000.0, 800.0, 600.0, 0.0]), np.eye(10) * 1e-9, (1600, 1200))


def ring(shape: Polygon) -> Array:
    return np.array(shape.exterior.coords)[:-1]


def crescent() -> Array:
    """What is left of a round hole where its bottom looks like the part: without the hole's own foot, as it is seen."""
    hole = Point(*CENTRE).buffer(4.0, quad_segs=64)
    foot = Polygon(view().plane(view().pixels(ring(hole), WALL.lower_mm), WALL.upper_mm))
    return ring(hole - foot)


def test_a_crescent_is_told() -> None:
    assert along_its_foot(crescent(), view(), WALL) > 2 * ALONG


@pytest.mark.parametrize("turn_deg", [0, 30, 90])
def test_a_whole_hole_is_not(turn_deg: float) -> None:
    """A slot's sides that run along the wall's image lie on their own feet, not on each other's."""
    slot = rotate(box(54, -2, 66, 2).buffer(0.5), turn_deg)
    for whole in (ring(slot), ring(Point(*CENTRE).buffer(4.0))):
        assert along_its_foot(whole, view(), WALL) < ALONG / 2


def test_the_hole_is_named() -> None:
    outer = ring(box(40, -20, 80, 20))
    found = Estimate((Circle("D1", 1, (60.0, 0.0), 4.0),), np.eye(3), (), np.zeros((3, 0)), np.zeros((0, 0)))
    (caution,) = half_seen_holes(found, (outer, crescent()), view(), WALL)
    assert caution.code == "half-seen-hole"
    assert "D1" in caution.text
    for radius in (4.0, 0.84):  # of the smaller one the foot is seen a diameter away: 60 mm · 8 / 284
        assert half_seen_holes(found, (outer, ring(Point(*CENTRE).buffer(radius))), view(), WALL) == ()
