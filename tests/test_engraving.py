"""The mark on the photographed face: within it, and never the same as its mirror image."""

import pytest
import shapely
from shapely import affinity

from calib.tools.fits import FITS
from measure.printing.engraving import engraving


def unlike_its_mirror_image(mark):
    """Share of a mark that its mirror image does not cover, slid to where the two go together best."""
    flipped = affinity.scale(mark, -1, 1, origin=(mark.centroid.x, 0))
    tall = mark.bounds[3] - mark.bounds[1]
    slides = [affinity.translate(flipped, 0.02 * tall * k, 0) for k in range(-40, 41)]
    return min(mark.difference(f).area for f in slides) / mark.area


@pytest.mark.parametrize("number", [0, *(f.number for f in FITS.values())])
@pytest.mark.parametrize("radius", [2.1, 3.0, 6.0, 20.0])
def test_lies_in_the_face_and_has_a_right_way_round(radius, number):
    face = shapely.Point(3, -2).buffer(radius)
    found = engraving(face, number)
    assert found
    assert face.contains(found.shape)
    assert unlike_its_mirror_image(found.shape) > 0.15


def test_letters_where_there_is_room_for_a_nozzle():
    assert engraving(shapely.Point(0, 0).buffer(6), 3).lettered
    assert not engraving(shapely.Point(0, 0).buffer(2.5), 3).lettered
    least = engraving(shapely.Point(0, 0).buffer(4.6), 0)
    assert least.lettered
    assert not least.shape.buffer(-0.2).is_empty  # its strokes are broader than a nozzle of 0.4 mm


@pytest.mark.parametrize("radius", [2.5, 8.0])
def test_numbers_tell_fits_apart(radius):
    face = shapely.Point(0, 0).buffer(radius)
    marks = [engraving(face, n).shape for n in (0, 1, 2, 3, 4)]
    for i, a in enumerate(marks):
        assert all(a.symmetric_difference(b).area > 0.005 * a.area for b in marks[i + 1 :])


def test_no_room():
    assert engraving(shapely.box(0, 0, 30, 3.5), 0) is None
