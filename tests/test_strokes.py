"""Where a person's strokes say what is part and what is not: scenes that go wrong without them."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.reference.reference import ID_1
from calib.view.view import View, camera_prior, first_guess
from measure.silhouette.candidates import Reduction, Reserved
from measure.silhouette.silhouette import NoSilhouette, Silhouette, silhouette
from measure.silhouette.strokes import NO_STROKES, Strokes
from tests.test_silhouette import BLUE, RED, found, table_with

Pixels = NDArray[np.uint8]
PART = ((600, 180), (200, 200), RED)


def with_strokes(rgb: Pixels, card: Any, part: Any = (), away: Any = ()) -> Silhouette | NoSilhouette:
    """The silhouette with strokes given as corners of polylines, px."""
    size = rgb.shape[1::-1]
    view = View(first_guess(card, ID_1.rectangle, camera_prior(size, None))[0], np.zeros((10, 10)), size)
    strokes = Strokes(*(tuple(np.array(s, float) for s in lines) for lines in (part, away)))
    return silhouette(rgb, view, Reserved((card,)), "part", 0.0, strokes)


def inside(found: Silhouette, x: float, y: float) -> bool:
    """Whether a pixel is part, holes taken off."""
    within = [cv2.pointPolygonTest(c.astype(np.float32), (x, y), False) > 0 for c in found.contours_px]
    return within[0] and not any(within[1:])


def painted(shape: Pixels, change: Any, seed: int = 3) -> Pixels:
    """A drawn photo with more painted on it, blurred and noisy as a photo is."""
    rgb = shape.copy()
    change(rgb)
    noise = np.random.default_rng(seed).normal(0, 1.5, rgb.shape)
    return np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)


def test_no_strokes_change_nothing() -> None:
    rgb, card = table_with([PART])
    plain, _ = found(rgb, card, 0.0)
    again = with_strokes(rgb, card)
    assert isinstance(plain, Silhouette)
    assert isinstance(again, Silhouette)
    assert not NO_STROKES
    assert all((a == b).all() for a, b in zip(plain.contours_px, again.contours_px, strict=True))


def test_a_stroke_tells_which_of_two_things_is_the_part() -> None:
    rgb, card = table_with([((600, 100), (110, 140), RED), ((620, 330), (110, 130), BLUE)])
    assert getattr(with_strokes(rgb, card), "reason", None) == "several-parts"
    for strokes in ({"part": [[(640, 400), (700, 400)]]}, {"away": [[(620, 150), (690, 180)]]}):
        result = with_strokes(rgb, card, **strokes)
        assert isinstance(result, Silhouette)
        assert inside(result, 680, 400)
        assert not inside(result, 650, 170)


def test_a_thing_that_touches_the_part_is_parted_from_it() -> None:
    """A strip of another colour lies against the part and counts as part of it, until it is marked."""
    rgb, card = table_with([PART, ((700, 90), (30, 90), BLUE)])
    taken = with_strokes(rgb, card)
    assert isinstance(taken, Silhouette)
    assert inside(taken, 715, 120)
    result = with_strokes(rgb, card, away=[[(715, 100), (715, 165)]])
    assert isinstance(result, Silhouette)
    assert not inside(result, 715, 120)
    assert inside(result, 715, 200)
    assert np.ptp(result.contours_px[0], axis=0) == pytest.approx([200, 200], abs=6)


def test_a_band_in_the_tables_own_colour_is_part_where_it_is_marked() -> None:
    rgb, card = table_with([PART])

    def band(rgb: Pixels) -> None:
        rgb[330:380, 600:800] = 121

    rgb = painted(rgb, band)
    without = with_strokes(rgb, card)
    assert isinstance(without, Silhouette)
    assert not inside(without, 700, 355)
    result = with_strokes(rgb, card, part=[[(620, 355), (780, 355)], [(700, 300), (700, 355)]])
    assert isinstance(result, Silhouette)
    assert inside(result, 650, 355)


def print_on_part(rgb: Pixels) -> None:
    cv2.circle(rgb, (700, 280), 30, (60, 60, 62), -1, cv2.LINE_AA)
    cv2.circle(rgb, (706, 286), 20, (95, 95, 92), -1, cv2.LINE_AA)


def test_a_print_is_no_hole_where_it_is_marked_as_part_and_one_where_it_is_marked_as_away() -> None:
    rgb, card = table_with([PART])
    rgb = painted(rgb, print_on_part)
    marked = {
        False: with_strokes(rgb, card, part=[[(680, 280), (722, 290)]]),
        True: with_strokes(rgb, card, away=[[(690, 280), (715, 290)]]),
    }
    for hole, result in marked.items():
        assert isinstance(result, Silhouette)
        assert len(result.contours_px) == 1 + hole
        assert inside(result, 705, 285) is not hole


def test_a_hole_that_hardly_shows_is_found_where_it_is_marked() -> None:
    """A bore whose floor is lit as evenly as a print is."""
    rgb, card = table_with([PART])

    def bore(rgb: Pixels) -> None:
        cv2.circle(rgb, (700, 280), 28, (118, 33, 25), -1, cv2.LINE_AA)

    rgb = painted(rgb, bore)
    without = with_strokes(rgb, card)
    assert isinstance(without, Silhouette)
    assert len(without.contours_px) == 1
    result = with_strokes(rgb, card, away=[[(690, 270), (710, 290)]])
    assert isinstance(result, Silhouette)
    assert len(result.contours_px) == 2
    assert np.ptp(result.contours_px[1], axis=0) == pytest.approx([56, 56], abs=6)


def test_one_touch_is_a_stroke() -> None:
    """A single point marks as wide a spot as a line's end does."""
    reduced = Reduction(np.zeros((60, 80, 3), np.uint8), 2, (10, 20))
    touch, line = (np.array(p, float) for p in ([[90, 80]], [[90, 80], [90, 80]]))
    seen = [reduced.marked(Strokes((p,), ()), 8.0) for p in (touch, line)]
    assert seen[0].sum() > 0
    assert (seen[0] == seen[1]).all()
