"""Whether an outline is told to be too unsure to print from: of a square whose errors are known by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from measure.geometry.features import Circle, Estimate, Line
from measure.tracing.doubt import OFF_MM, boundary_errors_mm, doubtful_outline

SIDE_MM = 60.0
CORNERS = [(0.0, 0.0), (SIDE_MM, 0.0), (SIDE_MM, SIDE_MM), (0.0, SIDE_MM)]


def square(scale_sd: float = 0.0, edge_sd_mm: float = 1e-6, shift_sd_mm: float = 0.0) -> Estimate:
    """Its four edges, with what a scale, a common shift to the right and each edge's own noise do to their offsets."""
    edges = tuple(Line(f"E{k + 1}", 0, CORNERS[k], CORNERS[(k + 1) % 4]) for k in range(4))
    by_scale, by_shift = np.zeros(8), np.zeros(8)
    by_scale[::2] = SIDE_MM / 2  # about its middle all edges go out alike
    by_shift[::2] = 0, 1, 0, -1
    white = np.diag(np.tile([edge_sd_mm**2, 1e-12], 4))
    shared = np.diag([scale_sd**2, shift_sd_mm**2])
    return Estimate(edges, white, ("scale", "shift"), np.c_[by_scale, by_shift], shared)


def test_a_scale_shows_as_half_the_side_times_its_error() -> None:
    """95 % of a normal scale's errors are within 1.96 standard deviations, and 50 % within 0.6745 (tables)."""
    off = boundary_errors_mm(square(scale_sd=0.01))
    assert np.median(off) == pytest.approx(0.6745 * 0.01 * SIDE_MM / 2, rel=0.1)
    assert np.quantile(off, 0.95) == pytest.approx(1.96 * 0.01 * SIDE_MM / 2, rel=0.1)


def test_where_the_part_lies_is_no_error_of_its_outline() -> None:
    assert boundary_errors_mm(square(shift_sd_mm=5.0)).max() < 1e-4


@pytest.mark.parametrize(("scale_sd", "told"), [(0.005, False), (0.009, True)])
def test_it_is_told_when_it_may_well_be_off(scale_sd: float, told: bool) -> None:
    """0.15 mm of 30 is 0.005: 1 and 0.56 standard deviations, which a normal scale passes in 32 and 58 of 100."""
    e = square(scale_sd=scale_sd)
    assert (boundary_errors_mm(e) > OFF_MM).mean() == pytest.approx(0.58 if told else 0.32, abs=0.06)
    said = doubtful_outline(e)
    assert [c.code for c in said] == (["unsure-size"] if told else [])
    if told:
        assert "0.2 mm, at worst by 0.5 mm" in said[0].what


def test_a_round_part_is_judged_as_well() -> None:
    ring = Estimate(
        (Circle("D1", 0, (0.0, 0.0), 30.0),), np.diag([25.0, 25.0, 0.2**2]), (), np.zeros((3, 0)), np.zeros((0, 0))
    )
    assert np.quantile(boundary_errors_mm(ring), 0.95) == pytest.approx(1.96 * 0.2, rel=0.1)
