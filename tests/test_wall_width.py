"""Widths of a visible wall along a rough outline: waves go, jumps and slow changes stay."""

import numpy as np
import pytest

from measure.edges.edges import HIDDEN_PX
from measure.edges.wall_width import calmed, within

BLOCKS = np.arange(200)


@pytest.mark.parametrize("beside", [2.0, 5.0, 12.0])
def test_a_wave_twice_as_long_as_the_edges_are_apart_goes(beside: float) -> None:
    """It is the one that grows: where one edge is out the other is in."""
    length = len(BLOCKS) / round(len(BLOCKS) / (2 * beside))  # whole waves round the loop
    wall = 7.0 + 1.0 * np.sin(2 * np.pi * BLOCKS / length)
    assert np.abs(calmed(wall, np.full(len(wall), beside)) - 7.0).max() < 0.15


def test_a_jump_between_two_walls_stays() -> None:
    wall = np.where(BLOCKS < 100, 4.0, 14.0)
    assert calmed(wall, np.full(len(wall), 6.0)) == pytest.approx(wall, abs=0.01)


def test_round_a_disc_the_width_stays() -> None:
    """Seen from the left: nought on one side, 12 px on the other, as the cosine between; where the wall begins it is
    widened by less than is seen at all."""
    wall = 12.0 * np.maximum(np.cos(2 * np.pi * BLOCKS / 200), 0)
    assert calmed(wall, 3.0 * np.abs(np.sin(2 * np.pi * BLOCKS / 200))) == pytest.approx(wall, abs=HIDDEN_PX)


def test_edges_right_above_each_other_change_nothing() -> None:
    wall = np.random.default_rng(1).uniform(0, 10, 50)
    assert calmed(wall, np.zeros(50)) == pytest.approx(wall)


def test_cost_within_a_slack() -> None:
    cost = np.array([[5.0, 4.0, 0.0, 4.0, 5.0], [5.0, 4.0, 0.0, 4.0, 5.0]])
    assert within(cost, np.array([0.0, 1.0])).tolist() == [[5, 4, 0, 4, 5], [4, 0, 0, 0, 4]]
