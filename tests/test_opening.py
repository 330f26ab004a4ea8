"""Rims of openings in drawn photos: how deep the wall goes, and the rim where grain or the wall's foot mislead."""

import cv2
import numpy as np
import pytest
from shapely import LinearRing, Point, Polygon, box

from calib.light.profile import Light
from calib.view.view import View
from measure.edges.edges import locate
from measure.edges.opening import wall_of_opening
from measure.edges.sight import Wall
from measure.geometry.polylines import at_lengths

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


def photo(view: View, depth_mm: float, grain: float, seed: int) -> Light:
    """The opening in a table with grain of so much light, wall and floor even."""

    def covered(height_mm: float) -> np.ndarray:
        at = (view.pixels(rim(), height_mm) + 0.5) * FINER - 0.5
        mask = np.zeros((SIZE[1] * FINER, SIZE[0] * FINER), np.uint8)
        return cv2.fillPoly(mask, [np.round(at * 16).astype(np.int32)], 1, cv2.LINE_8, 4) > 0

    rng = np.random.default_rng(seed)
    upper, lower = covered(0.0), covered(-depth_mm)
    speckle = cv2.GaussianBlur(rng.normal(size=SIZE[::-1]), (0, 0), 3.0)
    table = TABLE + grain * speckle / speckle.std()
    picture = np.where(upper & lower, FLOOR, np.where(upper, WALL, cv2.resize(table, None, fx=FINER, fy=FINER)))
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


@pytest.mark.parametrize(
    ("depth_mm", "grain", "keeps_to"),
    [(1.5, 0.0, "rim"), (4.0, 0.0, "foot"), (4.0, 0.1, "rim"), (6.0, 0.1, "foot")],
)
def test_rim_and_depth(depth_mm: float, grain: float, keeps_to: str) -> None:
    """Whichever edge of the wall the rough contour follows, and on a table whose grain varies by a fifth of its light.
    A tenth of the depth is the slack that the wall's foot is given; 0.12 mm is what a rim may be off in a photo, and of
    points that no line or arc has been laid through yet, a tenth may lie in a corner that the contour cuts."""
    view = from_the_left()
    light = photo(view, depth_mm, grain, 3)
    contour = rough(view, 0.0 if keeps_to == "rim" else -depth_mm)
    wall = wall_of_opening(light, view, contour)
    assert -wall.lower_mm == pytest.approx(depth_mm, rel=0.1)
    found = locate(light, view, [contour], wall, opening=True)[0].points_mm
    true = LinearRing(rim())
    assert np.quantile([true.distance(Point(p)) for p in found], 0.9) <= 0.12


def test_waves_of_the_rough_contour_do_not_grow() -> None:
    """Along the straight side at y = -36 mm a foot is seen 1 mm beside its rim: a wave of 0.12 mm in the contour must
    leave less than a sixth of it, else the outline ripples from stage to stage."""
    view = from_the_left()
    light = photo(view, 4.0, 0.0, 3)
    found = locate(light, view, [rough(view, 0.0)], Wall(0.0, -4.0), opening=True)[0].points_mm
    side = found[(np.abs(found[:, 1] + 36) < 0.5) & (np.abs(found[:, 0] - 60) < 15)]
    assert len(side) > 80
    assert side[:, 1].std() < 0.02


def test_where_no_wall_is_seen_any_depth_will_do() -> None:
    """Straight from above, far away: the wall of a small opening is hidden under its own rim."""
    view = from_the_left()
    far = View(view.parameters * np.r_[np.ones(5), 40.0, 40.0, 1, 1, 1], view.covariance, SIZE)
    wall = wall_of_opening(photo(view, 2.0, 0.0, 3), far, rough(view, 0.0))
    assert wall.upper_mm == 0.0
    assert wall.lower_mm < 0
