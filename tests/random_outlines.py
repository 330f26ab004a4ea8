"""Outlines that nobody chose, for properties that every drawing has: tapers, stars with fillets, holes, slots."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from hypothesis import assume
from hypothesis import strategies as st

from measure.geometry.features import Feature, by_loop, flatten
from tests.simulated_parts import Segment, circle, polygon, slot
from tests.simulated_traces import features_of

LEAST_EDGE_MM = 1.5
"""Shorter edges are none that a photo shows."""


def _between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False).map(lambda v: round(v, 3))


@st.composite
def tapers(draw: st.DrawFn) -> list[Segment]:
    """Bars whose long sides are nearly parallel, lying at any angle."""
    length, high = draw(_between(20, 220)), draw(_between(5, 60))
    left, right = (draw(_between(-0.12, 0.12)) * length for _ in range(2))
    lean = draw(_between(-0.3, 0.3)) * high
    fillet = draw(st.sampled_from((0.0, 0.0, 1.0, 2.0)))
    top = max(high + left, 4.0), max(high + right, 4.0)
    v = [(0.0, 0.0), (length, draw(_between(-0.05, 0.05)) * length * 0.2), (length + lean, top[1]), (lean, top[0])]
    return _turned(v, [fillet] * 4, draw(_between(-math.pi, math.pi)))


@st.composite
def stars(draw: st.DrawFn) -> list[Segment]:
    """Three to nine corners round a middle, sharp or rounded, most edges oblique."""
    n, size = draw(st.integers(3, 9)), draw(_between(9, 120))
    reach = [draw(_between(0.45, 1.0)) * size for _ in range(n)]
    angles = [2 * math.pi * (k + draw(_between(-0.3, 0.3))) / n for k in range(n)]
    v = [(r * math.cos(a), r * math.sin(a)) for r, a in zip(reach, angles, strict=True)]
    fillets = [draw(st.sampled_from((0.0, 0.8, 2.0, 5.0))) for _ in v]
    return _turned(v, fillets, 0.0)


def _turned(v: Sequence[tuple[float, float]], fillets: Sequence[float], turn: float) -> list[Segment]:
    c, s = math.cos(turn), math.sin(turn)
    return polygon([(c * x - s * y, s * x + c * y, r) for (x, y), r in zip(v, fillets, strict=True)])


@st.composite
def outlines(draw: st.DrawFn) -> tuple[Feature, ...]:
    """A part: a taper or a star, and up to three openings inside."""
    outer = draw(st.one_of(tapers(), stars()))
    loops = [outer]
    area = _area(features_of(loops))
    assume(area is not None)
    assert area is not None
    for _ in range(draw(st.integers(0, 3))):
        x0, y0, x1, y1 = area.bounds
        x, y = draw(_between(x0, x1)), draw(_between(y0, y1))
        r = draw(_between(0.8, 6.0))
        new = draw(st.sampled_from((circle(x, y, r), slot(x, y, 5 * r, 2 * r))))
        shape = shapely.Point(x, y).buffer(3 * r)
        if area.buffer(-2.0).contains(shape):
            loops.append(new)
            area = area.difference(shape)
    return features_of(loops)


def _area(features: Sequence[Feature]) -> shapely.Polygon | None:
    """The outer loop's area; None where it is no outline that a part could have."""
    points = np.concatenate([flatten(f, 0.05)[:-1] for f in by_loop(features)[0]])
    short = any(math.dist(f.start, f.end) < LEAST_EDGE_MM for f in features if f.kind == "line")
    area = shapely.Polygon(points)
    return area if area.is_valid and not short and area.area > 20 else None
