"""Where narrow walls' outlines are put: stretches and points made by hand, all figures invented."""

from __future__ import annotations

import numpy as np
import pytest

from calib.arrays import Array
from measure.edges.edge_loop import EdgeLoop
from measure.edges.narrow_walls import NarrowWalls, narrow_walls
from measure.edges.rim_bands import Bands, offsets
from measure.edges.rim_seen import RADII_MM, RimSeen
from measure.edges.rounded import Rim

EAST, NORTH = np.array([1.0, 0.0]), np.array([0.0, 1.0])
STRETCHES = NarrowWalls(
    np.array([[20.0, 0.0], [20.0, 8.0], [0.0, 12.0]]),
    np.stack([EAST, EAST, NORTH]),
    np.array([0.04, 0.06, -0.03]),
    np.array([0.2, 0.2, 0.1]),
)


def test_a_point_is_moved_as_its_stretch() -> None:
    shift, by_radius, known = STRETCHES.at(np.array([[20.0, 0.2], [0.5, 12.0]]), np.stack([EAST, NORTH]))
    assert shift == pytest.approx([0.0424, -0.03], abs=1e-3)  # by hand: its neighbour counts e⁻², less its own nearness
    assert by_radius == pytest.approx([0.2, 0.1], abs=1e-6)
    assert known == pytest.approx([1.0, 1.0])


def test_between_two_stretches_a_point_is_moved_by_their_mean() -> None:
    shift, _, _ = STRETCHES.at(np.array([[20.0, 4.0]]), EAST[None])
    assert shift == pytest.approx([0.05])


def test_far_off_or_facing_another_way_nothing_is_known() -> None:
    shift, by_radius, known = STRETCHES.at(np.array([[20.0, -30.0], [20.0, 0.0]]), np.stack([EAST, -EAST]))
    assert np.abs([*shift, *by_radius, *known]).max() < 1e-6


def seen_from_a_plate(place_mm: float) -> tuple[RimSeen, EdgeLoop, Array]:
    """The right side of a plate, with a narrow wall: the light says that the outline lies so far outside of it."""
    line = np.c_[np.full(81, 20.0), np.linspace(-4, 4, 81)]
    count, middles = 4, np.array([-3.0, -1.0, 1.0, 3.0])
    bands = Bands(
        np.zeros((count, len(offsets()))),
        np.zeros(count, bool),
        np.full(count, 0.1),
        np.full(count, 0.02),
        np.full(count, 3.0),
        np.tile(EAST, (count, 1)),
        np.c_[np.full(count, 20.0), middles],
        np.ones(count),
    )
    places = np.tile(place_mm + 0.3 * (RADII_MM - 0.25)[:, None], (2, 1, count))
    located = line + 0.01 * EAST  # by steps of light: a hundredth too far out already
    loop = EdgeLoop(located, np.tile(EAST, (len(line), 1)), np.full(len(line), 0.01), np.zeros((len(line), 1)))
    return RimSeen(-50.0, np.zeros((2, len(RADII_MM))), places, bands), loop, line


def test_what_steps_were_off_is_put_right() -> None:
    """By hand: from 0.01 to 0.05 mm outside, with a radius of 0.25 mm; a wider one lies 0.3 of it farther out."""
    shown, loop, line = seen_from_a_plate(0.05)
    rim = Rim.known("clear", if_rounded_mm=(0.25, 0.05))
    found = narrow_walls(shown, rim, [loop], [line])
    assert found is not None
    mean = float(shown.places(0.25, 0.05)[0].mean())
    assert mean == pytest.approx(0.05, abs=0.002)  # radii are tried in steps
    shift, by_radius, _ = found.at(loop.points_mm[:1], loop.normals[:1])
    assert shift == pytest.approx([mean - 0.01])
    assert by_radius == pytest.approx([0.3])


def test_walls_that_would_be_moved_beyond_the_rounding_are_not_believed() -> None:
    shown, loop, line = seen_from_a_plate(0.3)
    assert narrow_walls(shown, Rim.known("clear", if_rounded_mm=(0.25, 0.05)), [loop], [line]) is None


def test_a_rim_that_is_likely_sharp_moves_little() -> None:
    shown, loop, line = seen_from_a_plate(0.05)
    moved = []
    for likely in (0.25, 1.0):
        found = narrow_walls(shown, Rim.known("unknown", likely), [loop], [line])
        assert found is not None
        moved.append(found.shift_mm[0])
    assert moved[0] == pytest.approx(0.25 * moved[1])
    elsewhere = EdgeLoop(loop.points_mm + 90.0 * EAST, loop.normals, loop.sigma_mm, loop.sensitivity)
    assert narrow_walls(shown, Rim.known("unknown"), [elsewhere], [line]) is None
