"""Neighbours: which are tangent, and where they meet once they have moved."""

import math

import numpy as np
import pytest

from measure.geometry.features import Arc, Circle, Estimate, Feature, Line, direction, middle, right_normal, sweep_rad
from measure.geometry.rejoin import joints, rejoined, shifted_all, tangency
from tests.simulated_parts import Part, parts, polygon
from tests.simulated_traces import features_of, trace


@pytest.mark.parametrize("p", parts(), ids=lambda p: p.name)
def test_joints_are_tangent_where_fillets_meet_lines(p: Part) -> None:
    for j in joints(p.features):
        a, b = p.features[j.first], p.features[j.second]
        assert a.end == pytest.approx(b.start)
        assert j.tangent == ({a.kind, b.kind} == {"line", "arc"})


@pytest.mark.parametrize("p", parts(), ids=lambda p: p.name)
def test_moved_loops_stay_closed_and_keep_their_lines_and_circles(p: Part) -> None:
    rng = np.random.default_rng(2)
    found = joints(p.features)
    t = trace(p.features, p.thickness_mm, rng)
    m = len(t.estimate.white)
    values, vectors = np.linalg.eigh(t.estimate.white)
    by = vectors @ (np.sqrt(np.maximum(values, 0)) * rng.normal(size=m))
    now = shifted_all(p.features, by)
    out = rejoined(now, found)
    for j in found:
        a, b = out[j.first], out[j.second]
        assert a.end == b.start
        for f in (a, b):
            point = np.array(a.end)
            if f.kind == "line":
                off = abs(float(right_normal(f) @ (point - middle(f))))
            else:
                off = abs(float(np.hypot(*np.subtract(point, f.centre))) - f.radius)
            assert off < 6e-3  # the conditions are linear, the move is not; the adjustment mends that
    for old, new in zip(now, out, strict=True):
        if old.kind == "line":
            assert direction(new) @ direction(old) == pytest.approx(1, abs=1e-12)
            assert abs(float(right_normal(old) @ (middle(new) - middle(old)))) < 1e-9
        else:
            assert (new.centre, new.radius) == (old.centre, old.radius)
            assert sweep_rad(new) == pytest.approx(sweep_rad(old), abs=0.2)


def test_shifting_by_hand() -> None:
    f = Line("E1", 0, (0.0, 0.0), (10.0, 0.0))
    (g,) = shifted_all([f], np.array([0.5, 0.0]))
    assert g.start == pytest.approx((0.0, -0.5))  # to the right of travel
    (g,) = shifted_all([f], np.array([0.0, 0.01]))
    assert g.end == pytest.approx((10.0, 0.05), abs=1e-3)  # counter-clockwise about the middle
    c = Circle("D1", 1, (1.0, 2.0), 3.0)
    (d,) = shifted_all([c], np.array([0.1, -0.2, 0.3]))
    assert (d.centre, d.radius) == ((1.1, 1.8), 3.3)


@pytest.mark.parametrize(("by", "left"), [(-0.4, 1.1), (-0.75, 0.75), (-0.7501, 0.7499), (-5.0, 0.03), (-900.0, 0.03)])
def test_a_badly_known_arc_never_shrinks_to_nothing(by: float, left: float) -> None:
    f = Arc("R1", 0, (1.5, 0.0), (0.0, 1.5), centre=(0.0, 0.0), radius=1.5, turn="ccw")
    (g,) = shifted_all([f], np.array([2 * by, 0.0, by]))
    assert g.radius == pytest.approx(left, abs=1e-3)
    assert g.centre == pytest.approx((2 * (g.radius - 1.5), 0.0))  # in step with the radius, so that it stays near
    assert math.dist(g.start, g.centre) == pytest.approx(g.radius)


def test_sharp_corners_meet_at_the_crossing() -> None:
    square = features_of([polygon([(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)])])
    out = rejoined(shifted_all(square, np.array([0.1, 0, 0.2, 0, 0, 0, 0, 0.0])), joints(square))
    assert out[0].end == pytest.approx((10.2, -0.1))
    assert out[3].end == pytest.approx((0.0, -0.1))


def test_a_line_that_cuts_an_arc() -> None:
    """A D-shaped hole: the flat meets the round part at a sharp corner."""
    loop = [
        {"kind": "line", "start": (-3.0, 4.0), "end": (3.0, 4.0)},
        {"kind": "arc", "centre": (0.0, 0.0), "radius": 5.0, "start": (3.0, 4.0), "end": (-3.0, 4.0), "turn": "cw"},
    ]
    f = features_of([loop])
    found = joints(f)
    assert not any(j.tangent for j in found)
    out = rejoined(shifted_all(f, np.array([0.0, 0, 0, 0, 0.1])), found)
    assert out[0].end == pytest.approx((np.sqrt(5.1**2 - 16), 4.0))
    assert out[0].end == out[1].start


def test_a_curve_is_stretched_between_its_neighbours() -> None:
    loop = [
        {"kind": "line", "start": (0.0, 0.0), "end": (10.0, 0.0)},
        {"kind": "line", "start": (10.0, 0.0), "end": (10.0, 8.0)},
        {"kind": "curve", "points": [(10.0, 8.0), (6.0, 9.0), (3.0, 7.0), (0.0, 8.0)]},
        {"kind": "line", "start": (0.0, 8.0), "end": (0.0, 0.0)},
    ]
    f = features_of([loop])
    out = rejoined(shifted_all(f, np.array([0.0, 0, 0.3, 0, 0, 0])), joints(f))
    points = out[2].points
    assert points is not None
    assert points[0] == pytest.approx((10.3, 8.0))
    assert points[0] == out[1].end
    assert points[-1] == pytest.approx((0.0, 8.0))
    assert 6.0 < points[1][0] < 6.3


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (("ccw", (0.0, 0.0), 5.0), ("ccw", (3.0, 0.0), 2.0)),
        (("ccw", (3.0, 0.0), 2.0), ("ccw", (0.0, 0.0), 5.0)),
        (("ccw", (0.0, 0.0), 5.0), ("cw", (7.0, 0.0), 2.0)),
    ],
)
def test_tangent_arcs(a: tuple[str, tuple[float, float], float], b: tuple[str, tuple[float, float], float]) -> None:
    at = (5.0, 0.0)

    def arc(label: str, turn: str, centre: tuple[float, float], radius: float, first: bool) -> Feature:
        side = -1 if (turn == "ccw") == first else 1
        far = (centre[0], centre[1] + side * radius)
        ends = {"start": far, "end": at} if first else {"start": at, "end": far}
        return Arc(label, 0, centre=centre, radius=radius, turn=turn, **ends)  # type: ignore[arg-type]

    f, g = arc("R1", *a, True), arc("R2", *b, False)
    touch = tangency(f, g)
    assert touch is not None
    assert touch.gap_mm == pytest.approx(0, abs=1e-12)
    h = 1e-6
    for p in range(3):
        step = np.zeros(6)
        step[p] = h
        x, y = shifted_all([f, g], step)
        gap = tangency(x, y)
        assert gap is not None
        assert gap.gap_mm / h == pytest.approx(touch.of_first[p], abs=1e-5)
        x, y = shifted_all([f, g], np.roll(step, 3))
        gap = tangency(x, y)
        assert gap is not None
        assert gap.gap_mm / h == pytest.approx(touch.of_second[p], abs=1e-5)
    loop = [f, g]
    assert joints(loop)[0].tangent
    assert rejoined(loop, joints(loop)[:1] + joints(loop)[1:])[0].end == pytest.approx(at, abs=1e-9)


def test_slices_agree_with_shifts() -> None:
    p = parts()[0]
    e = Estimate(p.features, np.eye(200), (), np.zeros((200, 0)), np.zeros((0, 0)))
    by = np.zeros(200)
    by[e.slices()["D2"]] = (0.1, 0.2, 0.3)
    moved = {f.label: f for f in shifted_all(p.features, by)}
    assert [f.label for f in p.features if f != moved[f.label]] == ["D2"]
