"""Steps within a face: lines that are no holes, and an outermost edge that inner ones are not taken for.

Masks and strips of light are drawn here.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.special import ndtr

from calib.light.profile import FULL_LIGHT, Light
from measure.edges.light_steps import steps_at
from measure.edges.outermost import outermost_at
from measure.edges.upper_edges import UNEVEN_SPREAD_PX
from measure.silhouette.face_lines import LINE_MM, HoleLooks, without_lines
from measure.silhouette.rectified import Rectified

STEP_MM = 0.1


def plan(cells: int = 400) -> Rectified:
    return Rectified(np.zeros((cells, cells, 3), np.float32), np.zeros(2), STEP_MM)


def face() -> np.ndarray:
    """A disc of 36 mm with a round hole of 4 mm, a slot of 2 by 12 mm and a round one of 1.2 mm."""
    out = np.zeros((400, 400), np.uint8)
    cv2.circle(out, (200, 200), 180, 1, -1)
    cv2.circle(out, (120, 200), 20, 0, -1)
    cv2.circle(out, (120, 260), 6, 0, -1)
    out[90:110, 140:260] = 0
    return out


@pytest.mark.parametrize("wide_mm", [0.3, 0.5, 0.7])
def test_a_line_is_no_hole(wide_mm: float) -> None:
    """A ring and a stroke as the wall of a raised figure shows; the holes stay as they are."""
    lined = face()
    cv2.circle(lined, (250, 230), 60, 0, round(wide_mm / STEP_MM))
    cv2.line(lined, (150, 330), (260, 330), 0, round(wide_mm / STEP_MM))
    got, told = without_lines(lined, plan(), np.zeros((400, 400), np.float32))
    assert told
    assert (got == face()).all()


def test_holes_and_slots_are_no_lines() -> None:
    got, told = without_lines(face(), plan(), np.zeros((400, 400), np.float32))
    assert not told
    assert (got == face()).all()


def test_a_slot_that_is_marked_as_not_the_part_stays() -> None:
    narrow, marked = face(), np.zeros((400, 400), np.float32)
    assert LINE_MM > 0.8
    narrow[300:308, 150:250] = 0
    marked[303, 200] = -1
    got, told = without_lines(narrow, plan(), marked)
    assert not told
    assert (got == narrow).all()


HUE_SD = 0.01


def looks(hues: np.ndarray, ground: tuple[float, float]) -> HoleLooks:
    """Of cells' hues less a face's, which strays by HUE_SD."""
    noise = np.random.default_rng(1).normal(0, HUE_SD, hues.shape)
    hue = (hues + noise).astype(np.float32)
    return HoleLooks(hue, np.hypot(*hue.transpose(2, 0, 1)) > 4 * HUE_SD, np.array(ground), np.full(2, HUE_SD))


@pytest.mark.parametrize(("hue", "hole"), [((0.0, 0.0), False), ((-0.3, 0.15), True)])
def test_a_ring_round_the_grounds_hue_is_the_wall_of_a_hole(hue: tuple[float, float], hole: bool) -> None:
    """A dark ring of 3.4 mm: a boss if its inside has the face's hue, else a hole whose wall is seen all round."""
    lined, hues = face(), np.zeros((400, 400, 2))
    cv2.circle(lined, (260, 240), 17, 0, 5)
    within = np.hypot(*(np.mgrid[:400, :400] - np.array([240, 260])[:, None, None])) < 17
    hues[within] = hue
    got, told = without_lines(lined, plan(), np.zeros((400, 400), np.float32), looks(hues, (-0.35, 0.2)))
    assert told != hole
    away = np.hypot(*(np.mgrid[:400, :400] - np.array([240, 260])[:, None, None])) > 22
    assert (got[within] == (not hole)).all()
    assert (got == face())[away].all()


@pytest.mark.parametrize(("share", "hole"), [(0.0, False), (0.2, False), (0.9, True)])
def test_a_narrow_slot_shows_the_grounds_hue_and_a_step_the_faces(share: float, hole: bool) -> None:
    """A stroke 0.8 mm wide: the dark of a step keeps its face's hue, or nearly."""
    narrow, hues, ground = face(), np.zeros((400, 400, 2)), np.array([0.05, -0.15])
    narrow[300:308, 150:250] = 0
    hues[300:308, 150:250] = share * ground
    got, told = without_lines(narrow, plan(), np.zeros((400, 400), np.float32), looks(hues, tuple(ground)))
    assert told != hole
    assert (got == (narrow if hole else face())).all()


def strip(edge: float, inner: float, outer_light: float, rim: float, field: float, seed: int) -> Light:
    """Ground to the right of an edge, then a rim, then the field within: columns of light, blur 0.9 px, noise."""
    x = np.arange(60)
    light = field + (rim - field) * ndtr((x - inner) / 0.9) + (outer_light - rim) * ndtr((x - edge) / 0.9)
    noise = np.random.default_rng(seed).normal(0, 0.004, (60, 60, 3))
    return Light(np.clip((light[None, :, None] + noise) * FULL_LIGHT, 0, FULL_LIGHT).astype(np.uint16))


XS = np.arange(-3.5, 3.51, 0.25)
POINTS, NORMALS = np.c_[np.full(40, 30.0), np.arange(10, 50)], np.tile([1.0, 0.0], (40, 1))


@pytest.mark.parametrize(("rim", "field"), [(0.15, 0.9), (0.15, 0.5), (0.15, 0.3), (0.3, 0.6)])
@pytest.mark.parametrize("wide_px", [2.5, 4.0])
@pytest.mark.parametrize("edge", [29.3, 30.0, 31.1])
def test_the_outermost_edge_is_found_beside_a_stronger_inner_one(
    edge: float, wide_px: float, rim: float, field: float
) -> None:
    """Ground of 0.55, a dark rim, and a field within that mirrors a lamp: its step is up to twice as large."""
    light = strip(edge, edge - wide_px, 0.55, rim, field, seed=3)
    found = XS[outermost_at(light, POINTS, NORMALS, 4, XS, 8.5, 0.9).cost.argmin(1)]
    assert np.abs(found - (edge - 30.0)).max() <= UNEVEN_SPREAD_PX


@pytest.mark.parametrize(("rim", "field"), [(0.15, 0.9), (0.15, 0.5), (0.3, 0.6)])
def test_the_strongest_step_is_the_inner_one(rim: float, field: float) -> None:
    """What is looked for on an even face: it would be more than two pixels too far in."""
    light = strip(30.0, 27.5, 0.55, rim, field, seed=3)
    strongest = XS[steps_at(light, POINTS, NORMALS, 4, XS, 9.5, 8.5, 0.9).cost.argmin(1)]
    assert strongest.mean() < -2.0
