"""Whether an outline runs along an edge: invented edge points and faces."""

import numpy as np
import pytest

from calib.errors import PartRefused
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.edge_loop import EdgeLoop
from measure.edges.plausible import burnt_out, doubtful_edges, require_edges
from measure.geometry.features import Circle, Estimate
from measure.tracing.parts import too_bright


def loop(sigma_mm):
    n = len(sigma_mm)
    return EdgeLoop(np.zeros((n, 2)), np.zeros((n, 2)), np.array(sigma_mm), np.zeros((n, 1)))


def test_points_that_are_sure_pass():
    require_edges([loop([0.005] * 90 + [0.2] * 10)], lambda _: 0.0)


@pytest.mark.parametrize("sigma_mm", [[0.005] * 60 + [0.15] * 40, [np.inf] * 20])
def test_points_that_hang_on_nothing_are_refused(sigma_mm):
    with pytest.raises(PartRefused) as refusal:
        require_edges([loop(sigma_mm)], lambda _: 0.0)
    assert refusal.value.code == "faint-edge"


RADIUS_MM = 15.0


def circle(radius_mm, n=400):
    """(n, 2) counter-clockwise about the origin."""
    t = np.arange(n) * 2 * np.pi / n
    return radius_mm * np.stack([np.cos(t), np.sin(t)], 1)


def found():
    features = (Circle("D1", 0, (0.0, 0.0), RADIUS_MM),)
    return Estimate(features, np.zeros((3, 3)), (), np.zeros((3, 0)), np.zeros((0, 0)))


def located(sigma_mm):
    points = circle(RADIUS_MM)
    return EdgeLoop(points, points / RADIUS_MM, np.broadcast_to(sigma_mm, len(points)), np.zeros((len(points), 0)))


def test_an_outline_on_its_edge_has_no_caution():
    assert doubtful_edges(found(), [located(0.01)], [circle(RADIUS_MM)]) == ()


def test_a_few_faint_points_are_no_caution():
    sigma = np.where(np.arange(400) < 60, 0.3, 0.01)
    assert doubtful_edges(found(), [located(sigma)], [circle(RADIUS_MM)]) == ()


def test_an_outline_that_is_hardly_seen_has_one():
    sigma = np.where(np.arange(400) < 160, 0.3, 0.01)
    (caution,) = doubtful_edges(found(), [located(sigma)], [circle(RADIUS_MM)])
    assert caution.code == "faint-edge"
    assert "D1" in caution.text


def test_an_outline_away_from_its_face_has_one():
    away = circle(RADIUS_MM)
    away[:40] *= (RADIUS_MM - 0.6) / RADIUS_MM  # the face's colour ends 0.6 mm farther in, over a tenth of the circle
    (caution,) = doubtful_edges(found(), [located(0.01)], [away])
    assert caution.code == "faint-edge"


def test_an_opening_is_judged_by_its_points_alone():
    assert doubtful_edges(found(), [located(0.01)], ()) == ()


def test_a_speck_at_the_faces_boundary_is_no_doubt():
    away = circle(RADIUS_MM)
    away[:2] *= (RADIUS_MM - 0.6) / RADIUS_MM
    assert doubtful_edges(found(), [located(0.01)], [away]) == ()


def test_single_points_of_teeth_say_nothing():
    """Teeth are drawn by their mean."""
    sigma = np.full(400, 0.2)
    assert doubtful_edges(found(), [located(sigma)], [circle(RADIUS_MM)]) != ()
    assert doubtful_edges(found(), [located(sigma)], [circle(RADIUS_MM)], {0}) == ()


@pytest.mark.parametrize(
    ("face", "share", "of_two"), [((255, 255, 255), 1, 1), ((255, 255, 200), 0, 1), ((255, 200, 200), 0, 0)]
)
def test_a_face_is_burnt_out_where_it_has_lost_all_its_colours(face, share, of_two):
    """A white disc on grey, seen from straight above at 12 pixels a millimetre."""
    rgb = np.full((600, 600, 3), 120, np.uint8)
    y, x = np.mgrid[:600, :600] - 299.5
    rgb[np.hypot(x, y) < 12 * RADIUS_MM] = face
    view = View(np.array([np.pi, 0, 0, 0, 0, 300.0, 3600.0, 299.5, 299.5, 0.0]), np.eye(10) * 1e-9, (600, 600))
    assert burnt_out(Light.of(rgb), view, 0.0, circle(RADIUS_MM)) == share
    assert burnt_out(Light.of(rgb), view, 0.0, circle(RADIUS_MM), colours=2) == of_two


@pytest.mark.parametrize(
    ("burnt", "told", "refused"), [(0.2, 1.0, False), (0.9, 4.0, True), (0.9, None, True), (0.9, 12.0, False)]
)
def test_a_burnt_out_face_with_a_plain_wall_will_do(burnt, told, refused):
    """Its wall, where it is seen and has not lost its own light, says where the face ends."""
    assert too_bright(burnt, told) == refused
