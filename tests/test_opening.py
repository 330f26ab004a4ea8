"""Rims of openings in drawn photos: how deep the wall goes, and the rim where grain or the wall's foot mislead."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from shapely import LinearRing, Point, Polygon, box

from calib.light.profile import Light
from calib.view.view import View
from measure.edges.rounded import Rim
from measure.edges.sight import Wall
from measure.edges.upper_edges import Located, Seen, locate
from measure.geometry.polylines import at_lengths, signed_area
from measure.silhouette.explaining_opening import ExplainedOpening, explain_opening
from measure.silhouette.strokes import Strokes
from measure.tracing.parts import PLAINLY_DEEP

SIZE, FINER = (700, 560), 4
PX_PER_MM = 12.0
TABLE, WALL, FLOOR = 0.50, 0.14, 0.02
"""Linear light of what is seen, outermost first."""


def from_the_left() -> View:
    """From 250 mm over a point 60 mm to the left of the opening's middle, which is in the middle of the photo."""
    focal = 250.0 * PX_PER_MM
    pose = [np.pi, 0.0, 0.0, 0.0, 0.0, 250.0]
    middle = np.array([60.0, -20.0])
    centre = np.array(SIZE) / 2 - middle * [1, -1] * PX_PER_MM
    return View(np.array([*pose, focal, *centre, 0.0]), np.zeros((10, 10)), SIZE)


def rim() -> np.ndarray:
    """(n, 2) points of a rounded opening 44 mm by 32 mm with a notch 8 mm wide, radius 1.2 mm, mm."""
    sharp = box(38, -36, 82, -6).union(box(56, -6, 64, -4))
    outline = Polygon(sharp).buffer(-1.2).buffer(2.4).buffer(-1.2)
    return np.array(outline.exterior.coords)[:-1]


def photo(
    view: View,
    depth_mm: float,
    grain: float,
    seed: int,
    add: Callable[[np.ndarray], None] = lambda picture: None,
    wall: float = WALL,
) -> Light:
    """The opening in a table with grain of so much light, wall and floor even, and whatever is added."""

    def covered(height_mm: float) -> np.ndarray:
        at = (view.pixels(rim(), height_mm) + 0.5) * FINER - 0.5
        mask = np.zeros((SIZE[1] * FINER, SIZE[0] * FINER), np.uint8)
        return cv2.fillPoly(mask, [np.round(at * 16).astype(np.int32)], 1, cv2.LINE_8, 4) > 0

    rng = np.random.default_rng(seed)
    upper, lower = covered(0.0), covered(-depth_mm)
    speckle = cv2.GaussianBlur(rng.normal(size=SIZE[::-1]), (0, 0), 3.0)
    table = TABLE + grain * speckle / speckle.std()
    picture = np.where(upper & lower, FLOOR, np.where(upper, wall, cv2.resize(table, None, fx=FINER, fy=FINER)))
    add(picture)
    seen = cv2.resize(cv2.GaussianBlur(picture, (0, 0), FINER * 0.9), SIZE, interpolation=cv2.INTER_AREA)
    seen += rng.normal(0, 0.003, seen.shape)
    code = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055)
    return Light.of(np.repeat(np.round(np.clip(code, 0, 1) * 255).astype(np.uint8)[..., None], 3, 2))


def rough(view: View, height_mm: float) -> np.ndarray:
    """(n, 2) contour that keeps to what the camera sees of the rim at a height, waving by a pixel or two."""
    closed = np.vstack([rim(), rim()[:1]])
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    t = np.linspace(0, along[-1], 1600, endpoint=False)
    at = view.pixels(at_lengths(closed, along, t), height_mm)
    upper = view.pixels(rim())
    seen = np.array([cv2.pointPolygonTest(upper.astype(np.float32), tuple(map(float, p)), False) > 0 for p in at])
    at = np.where(seen[:, None] | (height_mm == 0), at, view.pixels(at_lengths(closed, along, t)))
    return at + 1.5 * np.stack([np.sin(t * 1.7), np.cos(t * 2.3)], 1)


def off(found: np.ndarray) -> np.ndarray:
    """(n,) distances of points from the true rim, mm."""
    true = LinearRing(rim())
    return np.array([true.distance(Point(p)) for p in found])


def located(light: Light, view: View, hole: ExplainedOpening) -> Located:
    """The rim's edge points, and its wall."""
    seen = Seen((hole.rim_mm,), Wall(0.0, -hole.depth_mm), 0.9, opening=True)
    return locate(light, view, seen, Rim.known("sharp"))


@pytest.mark.parametrize(
    ("depth_mm", "grain", "keeps_to"),
    [(1.5, 0.0, "rim"), (4.0, 0.0, "foot"), (4.0, 0.1, "rim"), (6.0, 0.1, "foot")],
)
def test_rim_and_depth(depth_mm: float, grain: float, keeps_to: str) -> None:
    """Whichever edge of the wall the rough contour follows, and on a table whose grain varies by a fifth of its light.

    A cell is 0.1 mm wide. Before light is looked at closely the rim lies within one of them, in its corners within two,
    and so does the foot beside it; that is seen 0.34 of the depth away at the most, 85 mm from the camera's foot point
    at 250. Located points lie within a quarter of a pixel, 0.02 mm, nearly all within one, since grain shifts single
    ones; together they tell where the foot is to half a pixel.
    """
    view = from_the_left()
    light = photo(view, depth_mm, grain, 3)
    hole = explain_opening(light, view, rough(view, 0.0 if keeps_to == "rim" else -depth_mm))
    assert hole is not None
    assert signed_area(hole.rim_mm) > 0
    assert np.quantile(off(hole.rim_mm), 0.5) < 0.1
    assert np.quantile(off(hole.rim_mm), 0.95) < 0.2
    assert 0.34 * hole.depth_mm == pytest.approx(0.34 * depth_mm, abs=0.2)
    found = located(light, view, hole)
    assert np.quantile(off(found.loops[0].points_mm), 0.5) < 0.02
    assert np.quantile(off(found.loops[0].points_mm), 0.95) < 0.083
    assert -0.34 * found.seen.wall.lower_mm == pytest.approx(0.34 * depth_mm, abs=0.042)


def test_normals_of_a_rim_point_into_the_panel() -> None:
    """What is empty is on the left of travel, so the right-hand normal points away from the opening's middle."""
    view = from_the_left()
    light = photo(view, 4.0, 0.0, 3)
    hole = explain_opening(light, view, rough(view, 0.0))
    assert hole is not None
    found = located(light, view, hole).loops[0]
    inside = Polygon(rim())
    assert all(not inside.contains(Point(p + 0.5 * n)) for p, n in zip(found.points_mm, found.normals, strict=True))


def test_where_no_wall_is_seen_any_depth_will_do() -> None:
    """Straight from above, far away: the wall of a small opening is hidden under its own rim."""
    view = from_the_left()
    far = View(view.parameters * np.r_[np.ones(5), 40.0, 40.0, 1, 1, 1], view.covariance, SIZE)
    light = photo(far, 2.0, 0.0, 3)
    hole = explain_opening(light, far, rough(far, 0.0))
    assert hole is not None
    assert np.quantile(off(located(light, far, hole).loops[0].points_mm), 0.95) < 0.06


def test_a_thing_in_the_opening_is_no_part_of_the_rim() -> None:
    """A pale boss 6 mm across that stands in the floor, of the panel's own light: one loop comes out, the rim's."""
    view = from_the_left()

    def boss(picture: np.ndarray) -> None:
        at = view.pixels(np.array([[60.0, -20.0]]))[0]
        cv2.circle(picture, tuple(int(v) for v in np.round((at + 0.5) * FINER)), int(3 * PX_PER_MM * FINER), TABLE, -1)

    light = photo(view, 4.0, 0.0, 3, boss)
    hole = explain_opening(light, view, rough(view, 0.0))
    assert hole is not None
    assert np.quantile(off(located(light, view, hole).loops[0].points_mm), 0.95) < 0.06


def test_a_stroke_says_what_is_opening() -> None:
    """A bar of the panel's own light across the notch parts it from the opening, until somebody strokes over it."""
    view = from_the_left()

    def bar(picture: np.ndarray) -> None:
        low, high = view.pixels(np.array([[54.0, -8.2], [66.0, -6.0]]))
        ends = [tuple(int(v) for v in np.round((p + 0.5) * FINER)) for p in (low, high)]
        cv2.rectangle(picture, *ends, TABLE, -1)

    light = photo(view, 1.5, 0.0, 3, bar)
    stroke = view.pixels(np.array([[60.0, -12.0], [60.0, -5.0]]))
    alone, told = (explain_opening(light, view, rough(view, 0.0), strokes=s) for s in (Strokes(), Strokes((stroke,))))
    assert alone is not None
    assert told is not None
    assert float(alone.rim_mm[:, 1].max()) == pytest.approx(-6.0, abs=0.3)
    assert float(told.rim_mm[:, 1].max()) == pytest.approx(-4.0, abs=0.3)


@pytest.mark.parametrize(("wall", "plainly"), [(WALL, True), (TABLE, False), (FLOOR, False)])
def test_a_wall_that_looks_like_the_panel_is_said(wall: float, plainly: bool) -> None:
    """Then nothing tells where the rim is. A wall as dark as the floor leaves it plain, but no wall is seen where
    one must be: that is said as well, once too often rather than once too seldom."""
    view = from_the_left()
    hole = explain_opening(photo(view, 4.0, 0.05, 3, wall=wall), view, rough(view, 0.0))
    assert hole is not None
    assert hole.wall_told is not None
    assert (hole.wall_told > PLAINLY_DEEP) == plainly
