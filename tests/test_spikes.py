"""Spikes of a face that are strips of its wall; shapes drawn here, a cell 0.1 mm."""

from __future__ import annotations

import numpy as np
import pytest

from calib.arrays import Array
from measure.silhouette.rectified import Mask, Rectified
from measure.silhouette.spikes import without_spikes

STEP_MM = 0.1
RATIO = 0.95
"""Of 12 mm at a camera 240 mm high."""
FOOT = np.array([-40.0, 10.0])
"""So far away that the side facing it shows 2 to 3 mm of wall."""


def plan() -> Rectified:
    return Rectified(np.zeros((400, 400, 3), np.float32), np.zeros(2), STEP_MM)


def part(*boxes: tuple[float, float, float, float]) -> Mask:
    """(400, 400) cells within any of some boxes x0, y0, x1, y1, mm."""
    out = np.zeros((400, 400), np.uint8)
    for x0, y0, x1, y1 in np.round(np.array(boxes) / STEP_MM).astype(int):
        out[y0:y1, x0:x1] = 1
    return out


BODY = (10.0, 5.0, 30.0, 25.0)


def kept(spike: tuple[float, float, float, float], marked: Array | None = None) -> tuple[bool, float]:
    """Whether something that sticks out is kept, and what is said of it."""
    region = part(BODY, spike)
    marks = np.zeros(region.shape, np.float32) if marked is None else marked.astype(np.float32)
    out, depth = without_spikes(region, plan(), FOOT, RATIO, marks)
    return bool((out == region).all()), depth


def test_a_thin_strip_on_the_wall_is_left_out() -> None:
    whole, depth = kept((8.5, 12.0, 10.0, 12.6))
    assert not whole
    assert depth == pytest.approx(1.5, abs=0.15)


@pytest.mark.parametrize(
    "spike",
    [
        (8.5, 12.0, 10.0, 14.0),  # too broad
        (9.6, 12.0, 10.0, 12.6),  # too short
        (5.0, 12.0, 10.0, 12.6),  # longer than the wall is seen
        (30.0, 12.0, 31.5, 12.6),  # on the far side, where no wall is seen
    ],
)
def test_what_may_be_a_rib_is_kept(spike: tuple[float, float, float, float]) -> None:
    assert kept(spike) == (True, 0.0)


def test_what_a_person_has_marked_is_kept() -> None:
    spike = (8.5, 12.0, 10.0, 12.6)
    assert kept(spike, part(spike)) == (True, 0.0)
