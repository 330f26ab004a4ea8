"""Where the outline is put when a step found the line between face and rim: lines and stretches made by hand, all
figures invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from measure.edges.inner_lines import RimPlaces, rim_places
from measure.edges.rim_bands import Bands, offsets
from measure.edges.rim_seen import RADII_MM, RimSeen
from measure.edges.rounded import Rim

EAST = np.array([1.0, 0.0])
LINE = np.c_[np.full(161, 20.0), np.linspace(-4, 4, 161)]
MIDDLES = np.array([[20.0, -2.0], [20.0, 2.0]])
PLACES = RimPlaces(LINE, MIDDLES, np.tile(EAST, (2, 1)), np.array([0.3, 0.3]), np.array([0.9, 0.9]), 0.15)


def test_a_step_on_the_inner_line_is_told_where_the_outline_lies() -> None:
    """By hand: the outline lies 0.3 mm outside of the line; from points elsewhere by what these are off."""
    points = np.array([[20.0, 0.0], [20.1, 0.0], [19.9, 1.0]])
    out, by_radius, sure = PLACES.at(points, np.tile(EAST, (3, 1)), np.zeros(3))
    assert out == pytest.approx([0.3, 0.2, 0.4])
    assert by_radius == pytest.approx([0.9, 0.9, 0.9])
    assert sure == pytest.approx([1.0, 1.0, 1.0])


def test_a_step_on_the_outline_is_left_alone() -> None:
    assert PLACES.at(LINE[:1], EAST[None], np.array([0.2]))[2] == 0


def test_a_side_that_faces_another_way_is_told_nothing() -> None:
    assert PLACES.at(np.array([[20.0, 0.0]]), -EAST[None], np.zeros(1))[2] == pytest.approx([0.0], abs=1e-6)


def seen_with(chamfer: float) -> RimSeen:
    """Light on two hidden stretches that says a chamfer of 0.25 mm, so much more likely (logarithm) than others."""
    bands = Bands(
        np.zeros((2, len(offsets()))),
        np.zeros(2, bool),
        np.full(2, -0.2),
        np.full(2, 0.02),
        np.zeros(2),
        np.tile(EAST, (2, 1)),
        MIDDLES,
        np.ones(2),
    )
    said = np.zeros((2, len(RADII_MM)))
    said[1, list(RADII_MM).index(0.25)] = chamfer
    places = np.stack([np.zeros((len(RADII_MM), 2)), np.tile(RADII_MM[:, None], 2)])
    return RimSeen(0.0, said, places, bands)


def test_the_form_that_is_seen_says_where_the_outline_lies() -> None:
    rim = Rim.known("clear", if_rounded_mm=(0.25, 0.05))
    chamfer, either = (rim_places(seen_with(said), rim, [LINE]) for said in (100.0, 0.0))
    assert chamfer is not None
    assert either is not None
    assert chamfer.place_mm == pytest.approx([0.25, 0.25], abs=0.001)
    assert chamfer.by_radius == pytest.approx([1.0, 1.0], abs=0.001)
    assert chamfer.least_mm == pytest.approx(0.125)
    assert either.place_mm == pytest.approx([0.05, 0.05], abs=0.001)  # one rim in five is chamfered


def test_a_rim_that_may_be_sharp_puts_nothing_anywhere() -> None:
    assert rim_places(seen_with(100.0), Rim.known("unknown", 0.7, (0.25, 0.05)), [LINE]) is None
    assert rim_places(seen_with(100.0), Rim.known("unknown", 0.9, (0.25, 0.05)), [LINE]) is not None
