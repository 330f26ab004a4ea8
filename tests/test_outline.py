"""Edge points become the lines, arcs and circles they came from, with honest uncertainties."""

import numpy as np
import pytest

from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import flatten
from measure.outline.outline import outline
from tests.accuracy import shapes


def loop_of(segments, hole, noise_mm, rng, step_mm=0.35):
    """Points every step along a true loop, with white noise along the normal, and one shared term: scale."""
    p = shapes.flatten(segments, 0.0005, hole)
    closed = np.vstack([p, p[:1]])
    run = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    t = np.arange(0, run[-1] - step_mm / 2, step_mm)
    i = np.clip(np.searchsorted(run, t, side="right") - 1, 0, len(p) - 1)
    u = (closed[i + 1] - closed[i]) / np.maximum(run[i + 1] - run[i], 1e-12)[:, None]
    points = closed[i] + u * (t - run[i])[:, None]
    normals = np.c_[u[:, 1], -u[:, 0]]
    points = points + rng.normal(0, noise_mm, len(t))[:, None] * normals
    scale = (points * normals).sum(1, keepdims=True)
    return EdgeLoop(points, normals, np.full(len(t), noise_mm), scale)


PLATE = shapes.polygon([(-24, -11, 3), (24, -11, 3), (24, 11, 3), (-24, 11, 3)])
BORE = shapes.circle((-14, 2), 2.25)
SLOT = shapes.reverse(shapes.slot((2, 0), (14, 0), 5.0))


def traced(seed, noise_mm=0.012):
    rng = np.random.default_rng(seed)
    loops = [loop_of(s, k > 0, noise_mm, rng) for k, s in enumerate([PLATE, BORE, SLOT])]
    return outline(loops, ("scale",), np.array([[1e-3**2]]))


def test_kinds_and_ends():
    e = traced(1)
    kinds = [[f.kind for f in e.features if f.loop == k] for k in range(3)]
    assert sorted(kinds[0]) == ["arc"] * 4 + ["line"] * 4
    assert kinds[1] == ["circle"]
    assert sorted(kinds[2]) == ["arc", "arc", "line", "line"]
    for k in (0, 2):
        ring = [f for f in e.features if f.loop == k]
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
            assert a.end == pytest.approx(b.start, abs=1e-9)


def test_sizes_lie_within_their_uncertainty():
    """Over 20 sets of points the bore's radius scatters as its own variance says, and is right on average."""
    scaled = []
    for seed in range(20):
        e = traced(seed)
        at = e.slices()["D1"]
        bore = next(f for f in e.features if f.label == "D1")
        scaled.append((bore.radius - 2.25) / np.sqrt(e.white[at, at][2, 2]))
    assert np.mean(np.abs(scaled) < 2.5) >= 0.9
    assert abs(np.mean(scaled)) < 1.2


def test_outline_lies_on_the_truth():
    e = traced(7)
    drawn = np.concatenate([flatten(f) for f in e.features if f.loop == 0])
    corner = np.abs(drawn).max(0)
    assert corner == pytest.approx([24, 11], abs=0.02)


def test_sharing_goes_with_size():
    """The scale's effect on the bore's radius is the radius itself (hand calculation)."""
    e = traced(3)
    at = e.slices()["D1"]
    assert e.sensitivity[at][2, 0] == pytest.approx(2.25, rel=0.02)
    assert e.covariance()[at, at][2, 2] > e.white[at, at][2, 2]
