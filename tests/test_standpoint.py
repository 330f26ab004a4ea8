"""Where the camera stood, told by a part's walls. The pictures are drawn here by a pinhole's formula; invented."""

from __future__ import annotations

from itertools import count

import cv2
import numpy as np
import pytest

from calib.arrays import Array
from calib.light.profile import Light
from calib.light.srgb import coded
from calib.view.view import View, project
from measure.edges.rounded import Rim
from measure.edges.sight import Wall
from measure.edges.standpoint import Standpoint, apart_mm, by_walls, feet_as_expected
from measure.rim import RimWord
from measure.tracing import following

FOCAL_PX, CAMERA_MM, SIZE_PX = 3000.0, 300.0, (1600, 1200)
HEIGHT_MM = 8.0
FACE, WALL, GROUND = 0.6, 0.3, 0.1
FINE = 4
"""Drawn so much finer than seen."""
BLUR_PX = 0.8


def camera(focal_px: float = FOCAL_PX, sd: float = 0.3) -> View:
    """Straight above the origin, its focal length and its height known together by a relative standard deviation: the
    plane's scale is known, the angle of view is not."""
    at = np.array([np.pi, 0, 0, 0, 0, CAMERA_MM * focal_px / FOCAL_PX, focal_px, *np.subtract(SIZE_PX, 1) / 2, 0])
    along = np.zeros(10)
    along[5], along[6] = sd * at[5], sd * at[6]
    rest = np.diag(np.array([1e-4, 1e-4, 1e-5, 1e-3, 1e-3, 1e-2, 1e-2, 1e-1, 1e-1, 1e-4]) ** 2)
    return View(at, np.outer(along, along) + rest, SIZE_PX, np.c_[along, np.zeros((10, 4))])


def box(x_mm: float, y_mm: float, inset_mm: float = 0.0) -> Array:
    """(4, 2) a part of 40 by 24 mm, its middle at a point."""
    w, h = 20 - inset_mm, 12 - inset_mm
    return np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) + np.array([x_mm, y_mm])


def picture(outline: Array, face: Array) -> Light:
    """Wall and face over the ground, as the true camera sees them."""
    out = np.full((SIZE_PX[1] * FINE, SIZE_PX[0] * FINE), GROUND, np.float32)
    true = camera().parameters
    for share in np.linspace(0, 1, 60):
        _fill(out, project(true, np.c_[outline, np.full(4, share * HEIGHT_MM)]), WALL)
    _fill(out, project(true, np.c_[face, np.full(4, HEIGHT_MM)]), FACE)
    return _developed(out)


def _developed(fine: Array) -> Light:
    """As a camera sees what was drawn: blurred, and with noise."""
    seen = cv2.resize(cv2.GaussianBlur(fine, (0, 0), BLUR_PX * FINE), SIZE_PX, interpolation=cv2.INTER_AREA)
    codes = 255 * coded(seen) + np.random.default_rng(0).normal(0, 1, seen.shape)
    return Light.of(np.repeat(np.clip(np.round(codes), 0, 255).astype(np.uint8)[:, :, None], 3, 2))


def _fill(out: Array, corners_px: Array, light: float) -> None:
    at = np.round(((corners_px + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(out, [at], light, shift=4)


def told(
    thought: View,
    x_mm: float,
    y_mm: float,
    inset_mm: float = 0.0,
    height_mm: float = HEIGHT_MM,
    rim: RimWord = "unknown",
) -> Standpoint:
    """What walls say to a view of a part at a place whose face was found in the photo."""
    true, outline, face = camera(), box(x_mm, y_mm), box(x_mm, y_mm, inset_mm)
    found = thought.plane(true.pixels(face, HEIGHT_MM), height_mm)
    return by_walls(picture(outline, face), thought, (found,), Wall(height_mm, 0.0), BLUR_PX, rim)


@pytest.mark.parametrize("wrong", [0.75, 1.25])
def test_a_wall_tells_the_focal_length_that_a_card_does_not(wrong: float) -> None:
    stand = told(camera(FOCAL_PX * wrong), 55.0, 10.0, rim="sharp")
    focal, sd = stand.view.parameters[6], float(np.sqrt(stand.view.covariance[6, 6]))
    assert focal == pytest.approx(FOCAL_PX, rel=0.05)
    assert sd < 0.05 * FOCAL_PX  # it was 0.3
    assert abs(focal - FOCAL_PX) < 2 * sd
    assert stand.view.by_prior is not None
    assert np.abs(stand.view.by_prior[6, 0]) < 0.05 * FOCAL_PX
    assert stand.rounded == pytest.approx(0.0526, abs=1e-3)  # odds of 0.4 to 0.6, by 1 to 12, which is the least


def test_it_says_how_far_the_edge_moves() -> None:
    thought = camera(FOCAL_PX * 1.25)
    stand = told(thought, 55.0, 0.0)
    far = 75.0  # the outline's farthest edge from the foot point; its parallax is height · distance / camera's height
    before, after = (HEIGHT_MM * far / (v.centre_mm[2] - HEIGHT_MM) for v in (thought, stand.view))
    assert apart_mm(thought, stand.view, box(55.0, 0.0), Wall(HEIGHT_MM, 0.0)) == pytest.approx(
        after - before, rel=0.15
    )


def test_where_no_wall_is_seen_nothing_is_told() -> None:
    thought = camera(FOCAL_PX * 1.2)
    assert told(thought, 0.0, 0.0) == Standpoint(thought)


def test_who_knows_is_not_told() -> None:
    thought = camera(sd=0.001)
    assert told(thought, 55.0, 10.0).view is thought


def test_a_wall_that_is_seen_too_wide_has_a_rounded_rim() -> None:
    sharp, rounded = (told(camera(sd=0.02), 55.0, 10.0, inset).rounded for inset in (0.0, 0.15))
    assert sharp is not None
    assert rounded is not None
    assert sharp < 0.45 < 0.8 < rounded


def test_a_thickness_that_the_wall_contradicts_moves_no_camera() -> None:
    """Of a part 1.5 times as thick as it is; the focal length is known by 2 %."""
    thought = camera(sd=0.02)
    stand = told(thought, 55.0, 10.0, height_mm=1.5 * HEIGHT_MM)
    assert stand.contradicted
    assert stand.view is thought


HOLE = box(50.0, 10.0, 6.0)
"""(4, 2) a hole far from the foot point in a part that has no other walls in sight."""


def holed(ground: float) -> Light:
    """A hole in a face that fills the picture: down its wall the light fades to nothing, the ground has its own."""
    out = np.full((SIZE_PX[1] * FINE, SIZE_PX[0] * FINE), FACE, np.float32)
    true, inside = camera().parameters, np.zeros(out.shape, np.float32)
    _fill(inside, project(true, np.c_[HOLE, np.full(4, HEIGHT_MM)]), 1.0)
    for share in [*np.linspace(1, 0, 60), 0.0]:
        level = np.zeros_like(inside)
        _fill(level, project(true, np.c_[HOLE, np.full(4, share * HEIGHT_MM)]), 1.0)
        out[(inside * level) > 0] = WALL * share
    out[(inside * level) > 0] = ground
    return _developed(out)


def told_by_a_hole(thought: View, ground: float) -> Standpoint:
    true = camera()
    outer, hole = (thought.plane(true.pixels(o, HEIGHT_MM), HEIGHT_MM) for o in (box(0.0, 0.0, -70.0), HOLE[::-1]))
    return by_walls(holed(ground), thought, (outer, hole), Wall(HEIGHT_MM, 0.0), BLUR_PX, "sharp")


@pytest.mark.parametrize("wrong", [0.75, 1.25])
def test_a_hole_tells_where_light_comes_back_at_its_foot(wrong: float) -> None:
    stand = told_by_a_hole(camera(FOCAL_PX * wrong), GROUND)
    focal, sd = stand.view.parameters[6], float(np.sqrt(stand.view.covariance[6, 6]))
    assert focal == pytest.approx(FOCAL_PX, rel=0.05)
    assert abs(focal - FOCAL_PX) < 2 * sd


def test_a_hole_over_dark_ground_tells_nothing() -> None:
    thought = camera(FOCAL_PX * 1.2)
    assert told_by_a_hole(thought, 0.0) == Standpoint(thought)


@pytest.mark.parametrize(("leaps", "contradicted"), [(0.0, False), (0.3, True)])
def test_a_view_that_never_settles_is_left_as_the_card_has_it(
    leaps: float, contradicted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    thought, outline, turn = camera(), box(55.0, 10.0), count()

    def leaping(*_: object) -> Standpoint:
        return Standpoint(camera(FOCAL_PX * (1 + leaps * (-1) ** next(turn))))

    monkeypatch.setattr(following, "by_walls", leaping)
    rough = thought.pixels(outline)
    part = following.followed_part(
        picture(outline, outline), thought, [rough], Wall(HEIGHT_MM, 0.0), Rim.known("unknown")
    )
    assert part.contradicted == contradicted
    assert next(turn) == (following.MOST_TURNS if contradicted else 1)
    assert (part.view is thought) == contradicted


@pytest.mark.parametrize(("height_mm", "expected"), [(HEIGHT_MM, True), (0.6 * HEIGHT_MM, False)])
def test_feet_bear_a_wall_out_where_they_are_expected(height_mm: float, expected: bool) -> None:
    thought, outline = camera(), box(55.0, 10.0)
    found = thought.plane(thought.pixels(outline, HEIGHT_MM), height_mm)
    seen = feet_as_expected(picture(outline, outline), thought, (found,), Wall(height_mm, 0.0), BLUR_PX)
    assert seen == expected
