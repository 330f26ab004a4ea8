"""ISO 286-2 tolerance zones and ISO 273 clearance holes, as trade tables print them, and worked fits."""

import math

import pytest

from calib.tools.fits import CLEARANCE_HOLES_MM, FITS, ZONES_UM, clearance_hole, pin_in_hole_mm, zone_mm


def test_25_h7_g6():
    """25 H7/g6 clears 7 to 41 µm: worked example in the documentation of a fits package."""
    low, high = pin_in_hole_mm("g6", "H7", 25)
    assert (round(1000 * low), round(1000 * high)) == (7, 41)


def test_3_mm_pin_pressed_into_a_reamed_hole():
    """m6 in H7 up to 3 mm: hole 0/+10, pin +2/+8 µm; from 8 µm tight to 8 µm loose, by hand."""
    assert pin_in_hole_mm("m6", "H7", 3.0) == pytest.approx((-0.008, 0.008))


@pytest.mark.parametrize("grade", [("h6", 10), ("H7", 16), ("h8", 25)])
@pytest.mark.parametrize(("above", "to"), [(3, 6), (6, 10), (10, 18), (18, 30)])
def test_width_of_zones_by_the_standard_tolerance_unit(grade, above, to):
    """ISO 286-1 (formula from memory): i = 0.45 D^(1/3) + 0.001 D µm, D the band's geometric mean; IT6 is 10 i,
    IT7 16 i, IT8 25 i, rounded to whole micrometres."""
    zone, times = grade
    mean = math.sqrt(above * to)
    unit = 0.45 * mean ** (1 / 3) + 0.001 * mean
    low, high = zone_mm(zone, to)
    assert 1000 * (high - low) == pytest.approx(times * unit, abs=1.0)


def test_bands_run_up_to_and_including():
    assert zone_mm("h6", 6.0) == (-0.008, 0.0)
    assert zone_mm("h6", 6.01) == (-0.009, 0.0)
    with pytest.raises(ValueError, match="30 mm"):
        zone_mm("h6", 31)
    with pytest.raises(ValueError, match="30 mm"):
        zone_mm("h6", 0)


def test_h6_between_18_and_30_is_no_misprint():
    """A maker's table prints −30 µm here; ISO 286-2 has −13."""
    assert ZONES_UM["h6"][-1] == (30, -13, 0)


def test_clearance_holes():
    """ISO 273: M3 has 3.2, 3.4 and 3.6 mm, M4 has 4.3, 4.5 and 4.8 mm."""
    assert CLEARANCE_HOLES_MM["M3"] == (3.2, 3.4, 3.6)
    assert clearance_hole(4.48, 0.05) == ("M4", "medium")
    assert clearance_hole(3.5, 0.12) is None  # medium or coarse: nobody can tell
    assert clearance_hole(7.6, 0.1) is None


def test_fits_leave_more_room_one_after_the_other():
    room = [f.side_mm for f in FITS.values()]
    assert room == sorted(room)
    assert [f.number for f in FITS.values()] == [1, 2, 3, 4]
