import numpy as np
import pytest

from measure.outline.meeting import contact, crossing
from measure.outline.pieces import Pieces, frames, moved

LEFT_TURN = Pieces(np.array([[10.0, 0.0]]), np.zeros(1), np.array([0.25]), np.ones(1, bool))
LEVEL = Pieces(np.zeros((1, 2)), np.zeros(1), np.zeros(1), np.zeros(1, bool))


def pair(a: Pieces, b: Pieces) -> np.ndarray:
    return np.stack([frames(a), frames(b)], 1)


def arcs(a: Pieces, b: Pieces) -> np.ndarray:
    return np.stack([a.arc, b.arc])


def test_a_line_touches_the_arc_that_begins_on_it() -> None:
    found = contact(pair(LEVEL, LEFT_TURN), arcs(LEVEL, LEFT_TURN))
    assert found.gap[0] == pytest.approx(0, abs=1e-12)
    assert (found.x[0], found.y[0]) == pytest.approx((10, 0), abs=1e-12)


def test_a_circle_held_off_a_line_by_half_a_millimetre_has_that_gap() -> None:
    off = Pieces(LEFT_TURN.origin + np.array([0, 0.5]), LEFT_TURN.angle, LEFT_TURN.curvature, LEFT_TURN.arc)
    assert abs(contact(pair(LEVEL, off), arcs(LEVEL, off)).gap[0]) == pytest.approx(0.5)
    assert abs(contact(pair(off, LEVEL), arcs(off, LEVEL)).gap[0]) == pytest.approx(0.5)


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("both_arcs", [False, True])
def test_slopes_are_the_gap_s_own_differences(swapped: bool, both_arcs: bool) -> None:
    a = Pieces(np.array([[1.0, 0.3]]), np.array([0.2]), np.array([-0.11]), np.ones(1, bool)) if both_arcs else LEVEL
    b = Pieces(LEFT_TURN.origin + np.array([0.3, -0.2]), np.array([0.1]), LEFT_TURN.curvature, LEFT_TURN.arc)
    ends = (b, a) if swapped else (a, b)
    slopes = contact(pair(*ends), arcs(*ends)).slopes
    for side in (0, 1):
        for i in range(3):
            gaps = []
            for way in (1, -1):
                step = np.zeros((1, 3))
                step[0, i] = way * 1e-6
                shifted = [moved(p, step) if k == side else p for k, p in enumerate(ends)]
                gaps.append(contact(pair(*shifted), arcs(*ends)).gap[0])
            assert slopes[side, 0, i] == pytest.approx((gaps[0] - gaps[1]) / 2e-6, abs=1e-6)


def test_a_line_crosses_a_circle_at_the_point_nearest_to_the_start() -> None:
    ring = Pieces(np.array([[0.0, -5.0]]), np.zeros(1), np.array([0.2]), np.ones(1, bool))
    line = Pieces(np.array([[0.0, 3.0]]), np.zeros(1), np.zeros(1), np.zeros(1, bool))
    for x in (4.0, -4.0):  # 3-4-5
        at, found = crossing(pair(line, ring), np.ones(1, bool), np.array([[1.1 * x, 3.3]]))
        assert found[0]
        assert at[0] == pytest.approx((x, 3), abs=1e-9)


def test_what_does_not_cross_within_reach_keeps_its_starting_point() -> None:
    above = Pieces(LEVEL.origin + np.array([0, 1.0]), LEVEL.angle, LEVEL.curvature, LEVEL.arc)
    at, found = crossing(pair(LEVEL, above), np.zeros(1, bool), np.array([[2.0, 0.5]]))
    assert not found[0]
    assert at[0] == pytest.approx((2, 0.5))
