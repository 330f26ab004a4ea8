"""What must not change an outline, and how it bears up against corners, bumps, gaps and noise."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import flatten, is_round
from measure.outline.outline import outline
from tests.accuracy import shapes
from tests.test_outline import loop_of

NOTHING = ((), np.zeros((0, 0)))
CATCH = shapes.polygon([(0, 0, 3), (40, 0, 3), (40, 14, 2), (18, 14, 4), (18, 30, 2), (0, 30, 3)])
KNOB = shapes.lobed(5, 13.0, 4.6, 5.4, 0.3)
LINK = shapes.belt([(0, 0, 9, 1), (26, 3, 5, 1)])
D_BORE = shapes.reverse(shapes.d_hole(3.4, 2.5))


def bare(loop):
    """The loop without shared terms."""
    return EdgeLoop(loop.points_mm, loop.normals, loop.sigma_mm, np.zeros((len(loop.points_mm), 0)))


def sampled(segments, seed, noise_mm=0.012, hole=False, step_mm=0.3):
    return bare(loop_of(segments, hole, noise_mm, np.random.default_rng(seed), step_mm))


def ring(estimate, loop=0):
    return "".join(f.kind[0] for f in estimate.features if f.loop == loop)


def true_ring(segments):
    return "".join(s["kind"][0] for s in segments)


def same_ring(a, b):
    return len(a) == len(b) and any(b[i:] + b[:i] == a for i in range(len(b)))


def sizes(estimate):
    return sorted(f.radius for f in estimate.features if is_round(f))


@pytest.mark.parametrize("segments", [CATCH, KNOB, LINK], ids=["catch", "knob", "link"])
@pytest.mark.parametrize("seed", range(4))
def test_pieces_are_the_drawn_ones(segments, seed):
    assert same_ring(ring(outline([sampled(segments, seed)], *NOTHING)), true_ring(segments))


def test_d_bore_keeps_its_flat_and_its_sharp_corners():
    for seed in range(4):
        found = outline([sampled(LINK, seed), sampled(D_BORE, seed, hole=True)], *NOTHING)
        assert sorted(ring(found, 1)) == ["a", "l"]


@settings(max_examples=6, deadline=None)
@given(st.floats(-math.pi, math.pi), st.floats(-40, 40), st.floats(-40, 40))
def test_a_turned_and_shifted_part_has_the_same_outline(angle, dx, dy):
    loop = sampled(CATCH, 3)
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    moved = EdgeLoop(loop.points_mm @ turn + [dx, dy], loop.normals @ turn, loop.sigma_mm, loop.sensitivity)
    a, b = outline([loop], *NOTHING), outline([moved], *NOTHING)
    assert same_ring(ring(a), ring(b))
    assert sizes(a) == pytest.approx(sizes(b), abs=2e-3)


@settings(max_examples=6, deadline=None)
@given(st.integers(1, 300))
def test_it_does_not_matter_where_the_points_begin(start):
    loop = sampled(CATCH, 5)
    rolled = EdgeLoop(
        *(np.roll(x, -start, axis=0) for x in (loop.points_mm, loop.normals, loop.sigma_mm)), loop.sensitivity
    )
    a, b = outline([loop], *NOTHING), outline([rolled], *NOTHING)
    assert [f.label for f in a.features] == [f.label for f in b.features]
    assert [f.kind for f in a.features] == [f.kind for f in b.features]
    assert sizes(a) == pytest.approx(sizes(b), abs=2e-3)


def test_the_same_points_give_the_same_outline():
    a, b = (outline([sampled(KNOB, 2)], *NOTHING) for _ in range(2))
    assert a.features == b.features
    assert np.array_equal(a.white, b.white)


def test_a_bump_on_a_straight_edge_is_no_feature():
    for seed in range(4):
        loop = sampled(CATCH, seed)
        d = np.abs(loop.points_mm[:, 0] - 20) + 10 * np.abs(loop.points_mm[:, 1]).clip(0.5) - 5
        lift = 0.15 * np.exp(-((d / 0.4) ** 2))
        bumpy = EdgeLoop(loop.points_mm + lift[:, None] * loop.normals, loop.normals, loop.sigma_mm, loop.sensitivity)
        assert lift.max() > 0.1
        assert same_ring(ring(outline([bumpy], *NOTHING)), true_ring(CATCH))


def test_an_outline_bridges_a_gap_in_a_straight_edge():
    loop = sampled(CATCH, 1)
    unseen = (loop.points_mm[:, 1] < 0.5) & (np.abs(loop.points_mm[:, 0] - 22) < 2.5)
    holed = EdgeLoop(loop.points_mm, loop.normals, np.where(unseen, np.inf, loop.sigma_mm), loop.sensitivity)
    assert unseen.sum() > 10
    assert same_ring(ring(outline([holed], *NOTHING)), true_ring(CATCH))


def test_covariance_is_one_and_ends_meet_even_where_the_noise_is_large():
    for seed in range(3):
        found = outline([sampled(CATCH, seed, 0.05)], *NOTHING)
        assert np.linalg.eigvalsh(found.white).min() > -1e-10
        for a, b in zip(found.features, (*found.features[1:], found.features[0]), strict=True):
            assert a.end == b.start
        drawn = np.concatenate([flatten(f) for f in found.features])
        assert np.abs(drawn.max(0) - [40, 30]).max() < 0.1
