"""The shape of one tooth from the mean of all: how many lines, which corners are rounded, and by how much."""

from __future__ import annotations

import math

import numpy as np
import pytest

from measure.outline.tooth_shape import MeanTooth, pieces_of, shape_of
from tests.accuracy import shapes

NOISE_MM, SPACING_MM, NO_BLUR_MM = 0.006, 0.1, 1e-3
"""Of a mean of twenty teeth that were each seen to 0.025 mm."""
WHEELS = {
    "flat tips and roots": (shapes.toothed(20, 20, 17.6, 0.4, 0.7), 20, [0.4, 0.4, 0.7, 0.7]),
    "pointed tips": (shapes.sawtooth(14, 18, 15, 0.4, 0.6), 14, [0.4, 0.6]),
    "no fillets": (shapes.toothed(12, 18, 15.5, 0, 0), 12, [0, 0, 0, 0]),
    "sharp tips, rounded roots": (shapes.toothed(16, 22, 19.6, 0, 0.6), 16, [0, 0, 0.6, 0.6]),
}


def profile_of(segments, teeth: int, seed: int) -> MeanTooth:
    """Points along one tooth, from a root on."""
    rng = np.random.default_rng(seed)
    ring = shapes.flatten(segments, 0.0002)
    run = np.append(0, np.cumsum(np.hypot(*(np.roll(ring, -1, 0) - ring).T)))
    number = round(run[-1] / teeth / SPACING_MM)
    at = np.arange(number) * run[-1] / teeth / number + 0.3 * run[-1] / teeth
    ahead = np.vstack([ring, ring[:1]])
    points = np.stack([np.interp(at % run[-1], run, ahead[:, i]) for i in (0, 1)], 1)
    sigma = np.full(number, NOISE_MM)
    return MeanTooth.of(points + rng.normal(0, NOISE_MM, points.shape), sigma, 2 * math.pi / teeth, NO_BLUR_MM)


@pytest.mark.parametrize("name", WHEELS)
def test_lines_and_fillets_are_those_that_were_drawn(name: str) -> None:
    """Radii within 0.08 mm: a fillet of 60° moves by a seventh of what its radius is off (1 / cos 30° - 1), and its
    five points tell that place to 0.006 / √5 mm and what is systematic."""
    segments, teeth, radii = WHEELS[name]
    for seed in range(4):
        shape = shape_of(profile_of(segments, teeth, seed))
        assert shape is not None
        assert len(shape) == len(radii)
        assert np.sort(shape.radius) == pytest.approx(sorted(radii), abs=0.08)


def test_pieces_lie_on_the_points_that_they_were_cut_from() -> None:
    segments, teeth, radii = WHEELS["flat tips and roots"]
    profile = profile_of(segments, teeth, 1)
    shape = shape_of(profile)
    assert shape is not None
    first, arc, pieces, tangent = pieces_of(shape, profile)
    assert arc.sum() == len(radii)
    assert tangent.sum() == 2 * len(radii)  # each fillet touches both of its lines
    near = np.hypot(*(pieces.origin[:, None] - profile.points[None]).transpose(2, 0, 1)).min(1)
    assert (near[arc] < SPACING_MM).all()
    assert (np.diff(first) > 0).all()
    assert np.sort(np.abs(pieces.radius()[arc])) == pytest.approx(radii, abs=0.08)


def test_a_tooth_that_is_no_polygon_is_said_to_fit_poorly_or_not_at_all() -> None:
    """Lobes: arcs that touch arcs."""
    shape = shape_of(profile_of(shapes.lobed(9, 20.0, 4.6, 3.4), 9, 1))
    assert shape is None or shape.chi > 1
