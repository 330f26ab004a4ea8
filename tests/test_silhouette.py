"""The silhouette of drawn parts: tables, shadows, prints, two colours, openings, and what must be refused."""

import cv2
import numpy as np
import pytest

from measure.candidates import survey
from measure.silhouette import NoSilhouette, silhouette
from tests.drawn_photos import CARD_PX, HEIGHT, PX_PER_MM, WIDTH, Scene, circle, rounded_bar

HOLES = (circle((140, 285), 8), circle((270, 370), 22))  # 3.2 mm and 8.8 mm


def look(photo, card=CARD_PX, subject="part", thickness=0.0):
    return silhouette(photo, card, subject, PX_PER_MM, thickness)


def gaps_mm(found, true):
    """Distances both ways between two closed outlines, mm."""
    out = []
    for a, b in ((found, true), (true, found)):
        ring = b.astype(np.float32).reshape(-1, 1, 2)
        out += [abs(cv2.pointPolygonTest(ring, (float(x), float(y)), True)) for x, y in a]
    return np.array(out) / PX_PER_MM


def assert_found(result, *loops, p95=0.5):
    assert result, result.reason
    assert len(result.contours_px) == len(loops)
    for found, true in zip(result.contours_px, loops, strict=True):
        assert np.percentile(gaps_mm(found, true), 95) < p95


@pytest.mark.parametrize("kind", ["paper", "grey", "grain", "weave", "stripes", "grid", "speckle", "desk"])
def test_part_and_holes_on_many_tables(kind):
    scene = Scene(kind=kind, holes=HOLES)
    assert_found(look(scene.photo()), scene.part, HOLES[1], HOLES[0])


@pytest.mark.parametrize("colour", [(0.03, 0.03, 0.03), (0.3, 0.3, 0.29), (0.75, 0.74, 0.7)])
@pytest.mark.parametrize("kind", ["paper", "grey"])
def test_neutral_parts_on_neutral_tables(kind, colour):
    scene = Scene(kind=kind, colour=colour, holes=HOLES)
    assert_found(look(scene.photo()), scene.part, HOLES[1], HOLES[0])


def test_part_of_the_tables_own_colour_is_seen_by_its_shadow_and_edges():
    scene = Scene(kind="paper", colour=(0.53, 0.53, 0.51), holes=HOLES[1:])
    assert_found(look(scene.photo()), scene.part, HOLES[1])


@pytest.mark.parametrize("shadow", [(18, 24), (-16, 4), (4, -22)])
def test_shadow_is_left_out(shadow):
    scene = Scene(kind="grey", shadow_px=shadow, shadow_blur_px=4)
    assert_found(look(scene.photo()), scene.part)


def test_two_colours_are_one_part():
    scene = Scene(kind="grain", colour=(0.05, 0.2, 0.4), second=(0.5, 0.45, 0.1), holes=HOLES[:1])
    assert_found(look(scene.photo()), scene.part, HOLES[0])


def test_prints_and_specks_are_no_holes():
    dots = (circle((150, 300), 9), circle((200, 330), 5), rounded_bar((260, 352), 60, 6, 35), circle((230, 300), 12))
    scene = Scene(colour=(0.6, 0.55, 0.2), prints=dots, holes=(circle((280, 385), 12),))
    assert_found(look(scene.photo()), scene.part, scene.holes[0])


@pytest.mark.parametrize("exposure", [0.35, 1.7])
def test_exposure_does_not_matter(exposure):
    scene = Scene(kind="grid", colour=(0.5, 0.45, 0.3), holes=HOLES, exposure=exposure)
    assert_found(look(scene.photo()), scene.part, HOLES[1], HOLES[0])


def test_noisy_photo():
    scene = Scene(kind="speckle", holes=HOLES, noise=0.03)
    assert_found(look(scene.photo()), scene.part, HOLES[1], HOLES[0])


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_any_orientation(turns):
    scene = Scene(kind="stripes", holes=HOLES)

    def turned(p):
        w, h = WIDTH, HEIGHT
        for _ in range(turns):
            p, w, h = np.stack([p[:, 1], w - 1 - p[:, 0]], 1), h, w
        return p

    photo = np.ascontiguousarray(np.rot90(scene.photo(), turns))
    assert_found(look(photo, turned(CARD_PX)), *(turned(p) for p in (scene.part, HOLES[1], HOLES[0])))


def test_corners_of_the_card_may_be_rough():
    scene = Scene(kind="grain", holes=HOLES)
    rough = CARD_PX + np.array([[2, -3], [-3, 1], [3, 2], [-1, -2]])
    assert_found(look(scene.photo(), rough), scene.part, HOLES[1], HOLES[0])


def test_visible_wall_belongs_to_the_part():
    # The photo's middle is the foot point: the part stands left of it and shows its wall on the right.
    part = rounded_bar((130, 340), 220, 90, 90)
    lower = np.array([13.0, 0.0])
    scene = Scene(kind="paper", part=part, colour=(0.45, 0.45, 0.44), wall_px=tuple(lower), shadow_px=(0, 0))
    focal, distance = 700.0, 700.0 / PX_PER_MM
    height = distance * 13 / (13 + 320)  # moves the upper edge, about 320 px off the middle, by 13 px
    square = np.array([[500.0, 100.0], [769.9, 100.0], [769.9, 528.0], [500.0, 528.0]])
    photo = scene.photo()
    found = silhouette(photo, CARD_PX, "part", PX_PER_MM, height, focal)
    hull = cv2.convexHull(np.vstack([part, part + lower]).astype(np.float32))[:, 0].astype(float)
    assert found
    assert np.percentile(gaps_mm(found.contours_px[0], hull), 95) < 0.5
    assert len(square) == 4


def test_opening():
    rim = rounded_bar((210, 330), 260, 110, 20)
    scene = Scene(kind="speckle", part=rim, colour=(0.02, 0.02, 0.02), shadow_px=(0, 0), shadow_blur_px=0.5)
    assert_found(look(scene.photo(), subject="opening"), rim)


def test_contours_go_round_and_come_in_order():
    scene = Scene(holes=HOLES)
    photo = scene.photo()
    first, again = look(photo), look(photo.copy())
    areas = [cv2.contourArea(c.astype(np.float32), oriented=True) for c in first.contours_px]
    assert areas[0] > 0
    assert areas[1] < areas[2] < 0
    for a, b in zip(first.contours_px, again.contours_px, strict=True):
        np.testing.assert_array_equal(a, b)


def test_crumbs_are_passed_over():
    crumbs = ((circle((60, 600), 6), (0.1, 0.05, 0.02)), (circle((330, 80), 9), (0.5, 0.1, 0.1)))
    scene = Scene(others=crumbs, holes=HOLES)
    assert_found(look(scene.photo()), scene.part, HOLES[1], HOLES[0])


@pytest.mark.parametrize("kind", ["paper", "grain", "grid", "stripes", "speckle", "weave"])
def test_no_part(kind):
    result = look(Scene(kind=kind, part=None).photo())
    assert isinstance(result, NoSilhouette)
    assert result.reason == "no-part"


def test_part_that_touches_the_card():
    part = rounded_bar((340, 330), 260, 110, 20)
    result = look(Scene(part=part, shadow_px=(2, 3)).photo())
    assert isinstance(result, NoSilhouette)
    assert result.reason == "part-touches-card"


def test_part_that_leaves_the_frame():
    part = rounded_bar((60, 330), 260, 110, 20)
    result = look(Scene(part=part).photo())
    assert isinstance(result, NoSilhouette)
    assert result.reason == "part-at-edge"


def test_two_parts():
    other = (rounded_bar((210, 570), 250, 90, 0), (0.05, 0.15, 0.4))
    result = look(Scene(part=rounded_bar((200, 230), 250, 95, 20), others=(other,)).photo())
    assert isinstance(result, NoSilhouette)
    assert result.reason == "several-parts"
    assert "only the part" in result.text
    assert not result


def test_table_colours_recur_and_part_colours_do_not():
    scene = Scene(kind="stripes")
    seen = survey(scene.photo(), CARD_PX, PX_PER_MM)
    inside = seen.coarse.mask_of(scene.part) > 0
    away = seen.coarse.mask_of(np.array([[0, 0], [400, 0], [400, 120], [0, 120.0]])) > 0
    assert seen.strange[inside].mean() > 0.9
    assert seen.strange[away].mean() < 0.1
