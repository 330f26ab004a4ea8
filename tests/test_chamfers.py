"""Where the outline of a chamfered rim is put: lines and stretches made by hand, all figures invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from measure.edges.chamfers import ChamferedRim, chamfered_rim
from measure.edges.rim_bands import Bands, offsets
from measure.edges.rim_seen import RADII_MM, RimSeen
from measure.edges.rounded import Rim

EAST = np.array([1.0, 0.0])
LINE = np.c_[np.full(161, 20.0), np.linspace(-4, 4, 161)]
RIM = ChamferedRim(
    LINE, np.array([[20.0, -2.0], [20.0, 2.0]]), np.tile(EAST, (2, 1)), np.array([0.3, 0.3]), np.array([0.9, 0.9]), 0.8
)


def test_the_outline_is_told_wherever_a_step_was_found() -> None:
    """The line between the face and the slope, or the outline itself: both are told of the same place."""
    out, by_leg, sure = RIM.at(np.array([[20.0, 0.0], [20.3, 0.0], [19.9, 1.0]]), np.tile(EAST, (3, 1)))
    assert out == pytest.approx([0.3, 0.0, 0.4])
    assert by_leg == pytest.approx([0.9, 0.9, 0.9])
    assert sure == pytest.approx([0.8, 0.8, 0.8])


def test_a_side_that_faces_another_way_is_told_nothing() -> None:
    assert RIM.at(np.array([[20.0, 0.0]]), -EAST[None])[2] == pytest.approx([0.0], abs=1e-6)


def seen_with(chamfer: float) -> RimSeen:
    """Light on two hidden stretches that says a chamfer of 0.25 mm, so much more likely (logarithm) than others."""
    bands = Bands(
        np.zeros((2, len(offsets()))),
        np.zeros(2, bool),
        np.full(2, -0.2),
        np.full(2, 0.02),
        np.zeros(2),
        np.tile(EAST, (2, 1)),
        RIM.points_mm,
    )
    said = np.zeros((2, len(RADII_MM)))
    said[1, list(RADII_MM).index(0.25)] = chamfer
    places = np.stack([np.zeros((len(RADII_MM), 2)), np.tile(RADII_MM[:, None], 2)])
    return RimSeen(0.0, said, places, bands)


def test_a_likely_chamfer_puts_the_outline_where_it_ends() -> None:
    rim = Rim.known("clear", if_rounded_mm=(0.25, 0.05))
    found = chamfered_rim(seen_with(100.0), rim, [LINE])
    assert found is not None
    assert found.likely > 0.99
    assert found.place_mm == pytest.approx([0.25, 0.25], abs=0.001)
    assert found.by_leg == pytest.approx([1.0, 1.0])


def test_an_unlikely_one_puts_nothing_anywhere() -> None:
    rim = Rim.known("unknown", if_rounded_mm=(0.25, 0.05))
    found = chamfered_rim(seen_with(100.0), replace(rim, rounded=0.8), [LINE])
    assert found is not None
    assert found.likely == pytest.approx(0.8, abs=0.001)
    assert chamfered_rim(seen_with(100.0), replace(rim, rounded=0.2), [LINE]) is None
    assert chamfered_rim(seen_with(0.0), replace(rim, rounded=1.0), [LINE]) is None  # one rim in five
