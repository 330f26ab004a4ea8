"""How easily a part is taken for its mirror image."""

from measure.dimensioning.handedness import handedness
from tests.simulated_parts import circle, polygon
from tests.simulated_traces import features_of

PLATE = [(0, 0, 2), (40, 0, 2), (40, 20, 2), (0, 20, 2)]


def of(corners, *holes):
    return handedness(features_of([polygon(corners), *holes]))


def test_its_own_mirror_image():
    found = of(PLATE, circle(10, 10, 3), circle(30, 10, 3))
    assert found.kind == "same"
    assert not found.warning()
    assert "either face" in found.words()


def test_only_the_holes_tell():
    found = of(PLATE, circle(10, 7, 3))
    assert found.kind == "holes"
    assert 4 < found.gap_mm <= 6  # mirrored, the hole lies 6 mm higher; its upper edge 4 mm from the rim
    assert "only the holes" in found.warning()


def test_nearly():
    found = of([(0, 0, 2), (40, 0, 2), (40, 20, 3), (0, 19.2, 2)])
    assert found.kind == "nearly"
    assert 0.1 < found.gap_mm < 2
    assert "only, at" in found.warning()
    assert found.words() == found.warning()


def test_different_at_first_glance():
    found = of([(0, 0, 0), (40, 0, 0), (40, 8, 0), (10, 8, 0), (10, 30, 0), (0, 30, 0)])
    assert found.kind == "different"
    assert not found.warning()
    assert "not easily" in found.words()
