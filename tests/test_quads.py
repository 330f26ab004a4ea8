"""Candidate quadrilaterals: found on any table, in order, and near the truth before anything is solved."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calib.rectangle.closing import Camera, close
from calib.rectangle.quads import ordered, quadrilaterals, reduced
from calib.rectangle.seen_shape import far_side, likeness, seen_shape
from calib.rectangle.segments import join
from calib.view.view import project, rotation
from tests.drawn_cards import Drawing, corners_px, photo, prior

TABLES = {
    "plain": Drawing(),
    "wood": Drawing(table="wood", ground=(0.42, 0.26, 0.14), turn=91.0),
    "grid, and a white half": Drawing(table="grid", ground=(0.03, 0.15, 0.1), second=(0.7, 0.7, 0.68), turn=-8.0),
    "speckle": Drawing(table="speckle", ground=(0.6, 0.58, 0.5), face=(0.75, 0.74, 0.72), turn=47.0),
    "stripes": Drawing(table="stripes", ground=(0.66, 0.62, 0.55), turn=0.0),
    "white on white": Drawing(ground=(0.78, 0.78, 0.76), face=(0.74, 0.74, 0.73), turn=180.0),
    "small": Drawing(camera_height=480.0, table="wood", face=(0.02, 0.02, 0.02)),
    "large": Drawing(camera_height=120.0, table="grid", turn=5.0),
    "oblique": Drawing(tilt=38.0, camera_height=190.0),
}


def error_px(found: np.ndarray, true: np.ndarray) -> float:
    """Farthest corner, whichever end of the card is counted as first."""
    return min(float(np.hypot(*(np.roll(found, k, 0) - true).T).max()) for k in (0, 2))


@pytest.mark.parametrize("name", TABLES)
def test_the_card_is_among_the_first_within_three_pixels(name: str) -> None:
    quads = quadrilaterals(photo(TABLES[name]), prior().focal_px)
    errors = [error_px(q.corners_px, corners_px(TABLES[name])) for q in quads]
    assert min(errors[:3]) < 3.0, errors
    found = quads[int(np.argmin(errors))]
    assert found.seen > 1.4
    assert found.seen == pytest.approx(found.support.mean() + found.support.min())


def test_a_side_without_contrast_is_put_where_the_proportions_want_it() -> None:
    """The card's right end has the table's colour, and no rim or shadow shows there."""
    d = Drawing(shadow=(0.0, 0.0, 0.0), thickness=0.0, turn=0.0)
    picture = photo(d)
    true = corners_px(d)
    x0, x1 = int(true[1, 0]) - 24, int(true[1, 0]) + 6
    y0, y1 = int(true[2, 1]) - 6, int(true[1, 1]) + 6
    picture[y0:y1, x0:x1] = picture[y0 - 20, x1 + 10]
    quads = quadrilaterals(picture, prior().focal_px)
    assert min(error_px(q.corners_px, true) for q in quads) < 6.0


def test_dark_photos_are_lightened() -> None:
    dark = (photo(TABLES["plain"]) * 0.25).astype(np.uint8)
    fine, _ = reduced(dark)
    assert np.percentile(fine, 99) > 3 * np.percentile(dark, 99)
    quads = quadrilaterals(dark, prior().focal_px)
    assert min(error_px(q.corners_px, corners_px(TABLES["plain"])) for q in quads) < 3.0


def test_a_bare_table_has_no_sound_quadrilateral() -> None:
    rng = np.random.default_rng(3)
    bare = np.clip(rng.normal(120, 3, (600, 800, 3)), 0, 255).astype(np.uint8)
    assert all(q.seen < 1.2 for q in quadrilaterals(bare))
    assert quadrilaterals(np.full((300, 400, 3), 90, np.uint8)) == []


@pytest.mark.parametrize("turn", range(0, 360, 20))
def test_corners_are_ordered_from_the_lower_left(turn: float) -> None:
    a = np.radians(turn + 1.0)
    box = np.array([[-40, -20], [40, -20], [40, 20], [-40, 20]]) @ [[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]
    seen = np.c_[box[:, 0], -box[:, 1]]  # y points down in a photo
    for k in range(4):
        for q in (np.roll(seen, k, 0), np.roll(seen[::-1], k, 0)):
            o = ordered(q)
            side = o[1] - o[0]
            assert np.hypot(*side) == pytest.approx(80)  # the first side is a long one
            assert side[0] > 0  # and runs to the right
            up = o[3] - o[0]
            assert side[0] * -up[1] - -side[1] * up[0] > 0  # counter-clockwise as seen


def views(n: int) -> list[np.ndarray]:
    """Random cameras above the table: parameters without lens."""
    rng = np.random.default_rng(8)
    out = []
    for _ in range(n):
        lean = rotation(np.append(rng.normal(0, 0.3, 2), 0)) @ rotation(np.array([np.pi, 0, 0]))
        R = lean @ rotation(np.array([0, 0, rng.uniform(0, 6.28)]))
        vector = cv2.Rodrigues(R)[0].ravel()
        out.append(np.r_[vector, rng.normal(0, 30, 2), rng.uniform(200, 500), 3000, 2000, 1500, 0])
    return out


CORNERS_MM = np.array([[-42.8, -26.99, 0], [42.8, -26.99, 0], [42.8, 26.99, 0], [-42.8, 26.99, 0]])


def test_shape_of_a_seen_rectangle_is_exact() -> None:
    for v in views(20):
        q = project(v, CORNERS_MM)
        ratio, cosine, tilt = seen_shape(q[None], 3000, (2000, 1500))[0]
        assert ratio == pytest.approx(85.6 / 53.98, rel=1e-9)
        assert cosine == pytest.approx(0, abs=1e-9)
        assert tilt == pytest.approx(np.degrees(np.arccos(abs(rotation(v[:3])[2, 2]))), abs=1e-6)
        assert likeness(q[None], 3000, (2000, 1500), 85.6 / 53.98)[0] == pytest.approx(1)
        assert likeness(q[None], 3000, (2000, 1500), 1.2)[0] < 1e-6


def test_far_side_follows_from_three_sides() -> None:
    for v in views(20):
        q = project(v, CORNERS_MM)
        for a, b, c, d, depth in ((0, 1, 2, 3, 53.98 / 85.6), (1, 2, 3, 0, 85.6 / 53.98)):
            far = far_side(q[[a]], q[[b]], 0.3 * (q[[d]] - q[[a]]), 0.3 * (q[[c]] - q[[b]]), depth, 3000, (2000, 1500))
            assert far[0] == pytest.approx(q[[d, c]], abs=1e-6)


def test_pieces_in_line_are_joined_and_others_are_not() -> None:
    pieces = np.array([[[0, 0], [40, 0]], [[55, 0.4], [90, 0.6]], [[0, 6], [38, 6]], [[200, 0], [230, 0]]], float)
    lines = join(pieces, 10)
    assert len(lines) == 3
    assert lines.seen() == pytest.approx([75, 38, 30], abs=0.5)


def test_lines_that_run_on_rank_below_lines_that_end() -> None:
    """Two squares of the same size: one of four sides, one cut out of the long lines of a grid."""
    box = np.array([[0, 0], [100, 0], [100, 63], [0, 63]], float)
    ends = np.stack([box, np.roll(box, -1, 0)], 1)
    card = ends + np.array([60, 60])
    across = [[[300, y], [690, y]] for y in (200, 263)] + [[[x, 100], [x, 500]] for x in (400, 500)]
    lines = join(np.concatenate([card, np.array(across, float)]), 20)
    found = close(lines, Camera((700, 525), 540.0, 85.6 / 53.98), 4)
    assert found[0].mean(0) == pytest.approx([110, 91.5], abs=1)
