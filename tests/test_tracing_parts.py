"""Whether an outline keeps to its points: an invented square of 20 mm with corners rounded by 2 mm."""

from dataclasses import replace

import numpy as np
import pytest

from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import Arc, Circle, Estimate, Line, flatten
from measure.geometry.motion import Motion
from measure.tracing.following import _until_it_stays
from measure.tracing.parts import farthest_mm, misfits


def square(turn_of_last="ccw"):
    """Four sides and four fillets; the last fillet may run the long way round."""
    out = []
    for k, (cx, cy) in enumerate(((8, -8), (8, 8), (-8, 8), (-8, -8))):
        a = np.array([np.cos(k * np.pi / 2 - np.pi / 2), np.sin(k * np.pi / 2 - np.pi / 2)])
        b = np.array([-a[1], a[0]])
        c = np.array([cx, cy], float)
        ends = tuple(c + 2 * a), tuple(c + 2 * b)
        turn = turn_of_last if k == 3 else "ccw"
        out.append(Arc(f"R{k}", 0, *ends, centre=(cx, cy), radius=2.0, turn=turn))
        out.append(Line(f"E{k}", 0, ends[1], tuple(c + 2 * b + 16 * np.array([-b[1], b[0]]))))
    return Estimate(tuple(out), np.zeros((20, 20)), (), np.zeros((20, 0)), np.zeros((0, 0)))


def points_on(e):
    line = np.concatenate([flatten(f, 0.01) for f in e.features])
    n = len(line)
    return EdgeLoop(line, np.zeros((n, 2)), np.full(n, 0.01), np.zeros((n, 0)))


@pytest.mark.parametrize(("turn", "astray"), [("ccw", set()), ("cw", {0})])
def test_an_arc_that_runs_the_wrong_way_round_is_astray(turn, astray):
    assert misfits(square(turn), [points_on(square())]) == astray


def test_a_loop_without_features_is_astray():
    e = square()
    assert misfits(e, [points_on(e), points_on(e)]) == {1}


def test_a_hole_that_meets_the_outer_boundary_is_astray():
    e = square()
    for x, astray in ((0.0, set()), (9.0, {1})):
        hole = Circle("D1", 1, (x, 0.0), 2.0)
        both = Estimate((*e.features, hole), e.white, (), e.sensitivity, e.shared)
        t = np.linspace(0, 2 * np.pi, 200)
        seen = points_on(e)
        rim = EdgeLoop(
            np.c_[x + 2 * np.cos(t), 2 * np.sin(t)], np.zeros((200, 2)), np.full(200, 0.01), np.zeros((200, 0))
        )
        assert misfits(both, [seen, rim]) == astray


def moved(by_mm):
    e = square()
    return replace(e, features=tuple(Motion(0.0, (by_mm, 0.0)).of(f) for f in e.features))


def test_how_far_outlines_lie_apart():
    """Exact: the sides that a square is moved across."""
    assert farthest_mm(square().features, moved(0.3).features) == pytest.approx(0.3, abs=0.01)


@pytest.mark.parametrize(
    ("places_mm", "kept_mm"),
    [
        ([0.0], 0.0),  # it stays at once: nobody looks again
        ([0.2, 0.21], 0.21),
        ([0.2, 0.4, 0.6], 0.6),  # it never stays
        ([0.2, None], 0.2),  # what is found next keeps to no points
    ],
)
def test_an_outline_is_looked_along_until_it_stays(places_mm, kept_mm):
    looks = iter([None if at is None else (moved(at), []) for at in places_mm])
    found, _ = _until_it_stays(square(), next(looks), lambda _: next(looks))
    assert farthest_mm(found.features, moved(kept_mm).features) < 1e-9
    assert next(looks, "all seen") == "all seen"
