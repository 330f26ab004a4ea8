"""Arcs at the least curvature become lines, whatever becomes of the others."""

from dataclasses import replace

import numpy as np
import pytest

from measure.edges.edge_loop import EdgeLoop
from measure.outline import selection
from measure.outline.joining import normal
from measure.outline.outline import draft_loops
from measure.outline.pieces import FLATTEST


def rectangle() -> EdgeLoop:
    """Points every 0.4 mm along 20 by 10 mm, off by 0.01 mm; invented."""
    x, y = np.arange(0.2, 20, 0.4), np.arange(0.2, 10, 0.4)
    sides = [(x, 0 * x), (0 * y + 20, y), (x[::-1], 0 * x + 10), (0 * y, y[::-1])]
    points = np.concatenate([np.stack(s, 1) for s in sides])
    points += np.random.default_rng(3).normal(0, 0.01, points.shape)
    normals = np.repeat([(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)], [len(x), len(y), len(x), len(y)], axis=0)
    return EdgeLoop(points, normals, np.full(len(points), 0.01), np.zeros((len(points), 0)))


def test_an_arc_held_at_the_least_curvature_is_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    (lines,) = draft_loops([rectangle()], np.zeros((0, 0)))
    assert not lines.chains.pieces.arc.any()
    longest = int(np.argmax(np.diff(np.append(lines.chains.first, len(lines.chains.points)))))
    flat = np.arange(len(lines.chains.first)) == longest
    pieces = replace(lines.chains.pieces, arc=flat, curvature=np.where(flat, FLATTEST, 0.0))
    chains = replace(lines.chains, pieces=pieces)
    bent = replace(lines, chains=chains, eq=normal(chains))
    real = selection.total
    # all that is vague made straight at once is said to fit worse, as where another arc bars it
    monkeypatch.setattr(selection, "total", lambda d: real(d) if d.chains.pieces.arc.any() else np.inf)
    made = selection.straightened(bent).chains.pieces
    assert not made.arc.any()
    assert not made.curvature.any()
