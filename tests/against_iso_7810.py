"""ISO/IEC 7810, identification cards: size ID-1 and the sizes that are not it.

Nominal sizes, corner radius and thickness as encyclopedias and a reseller's scope note print them; the limits of unused
cards are from memory. Sizes of business and playing cards: trade pages. Derived figures are calculated here.
"""

import math

import numpy as np
import pytest

from calib.reference.reference import ID_1, LOOK_ALIKES, look_alikes
from calib.view.view import View

INCH = 25.4


def test_nominal_size() -> None:
    r = ID_1.rectangle
    assert (r.width_mm, r.height_mm) == (85.60, 53.98)
    assert r.corner_mm == 3.18
    assert r.thickness_mm == 0.76


def test_metric_size_is_the_inch_size_rounded() -> None:
    """3.370 × 2.125 in: the original sizes, 85.598 × 53.975 mm."""
    assert ID_1.rectangle.width_mm == pytest.approx(3.370 * INCH, abs=0.005)
    assert ID_1.rectangle.height_mm == pytest.approx(2.125 * INCH, abs=0.0051)


def test_limits() -> None:
    """Radius 3.18 ± 0.30 and thickness 0.76 ± 0.08 as printed; width and height from memory."""
    assert ID_1.limits.corner_mm == pytest.approx((3.18 - 0.30, 3.18 + 0.30))
    assert ID_1.limits.thickness_mm == pytest.approx((0.76 - 0.08, 0.76 + 0.08))
    assert ID_1.limits.width_mm == (85.47, 85.72)
    assert ID_1.limits.height_mm == (53.92, 54.03)


def test_standard_deviations_fit_the_limits() -> None:
    """Nearly all cards lie inside the limits, which are not far wider than the cards: 1.7 to 3.5 deviations."""
    r, lim = ID_1.rectangle, ID_1.limits
    for nominal, sd, (low, high) in (
        (r.width_mm, r.width_sd_mm, lim.width_mm),
        (r.height_mm, r.height_sd_mm, lim.height_mm),
        (r.thickness_mm, r.thickness_sd_mm, lim.thickness_mm),
    ):
        assert low < nominal < high
        assert 1.7 < (high - low) / 2 / sd < 3.5


def test_derived_figures() -> None:
    """Diagonal 101.199 mm, ratio 1.5858: calculated from 85.60 × 53.98."""
    assert math.hypot(ID_1.rectangle.width_mm, ID_1.rectangle.height_mm) == pytest.approx(101.199, abs=0.0006)
    assert ID_1.ratio == pytest.approx(1.5858, abs=0.00005)


@pytest.mark.parametrize(
    ("width", "height", "ratio"),
    [(85, 55, 1.545), (88.9, 50.8, 1.750), (91, 55, 1.655), (90, 54, 1.667), (88.9, 63.5, 1.400), (88.9, 57.15, 1.556)],
)
def test_look_alikes_are_named_by_their_ratio(width: float, height: float, ratio: float) -> None:
    assert width / height == pytest.approx(ratio, abs=0.0006)
    named = look_alikes(width / height, 0.002)
    assert [x.ratio for x in named] == pytest.approx([width / height], rel=1e-6)


def test_no_look_alike_comes_near_the_card() -> None:
    """Bridge cards are nearest, 1.9 % off: a doubt of half a per cent tells them apart."""
    nearest = min(abs(math.log(x.ratio / ID_1.ratio)) for x in LOOK_ALIKES)
    assert nearest == pytest.approx(0.019, abs=0.0005)
    assert look_alikes(ID_1.ratio, 0.005) == ()


def test_doubtful_ratios_name_both() -> None:
    """1.551 lies between a bridge card, 1.556, and a business card, 1.545."""
    assert {x.width_mm for x in look_alikes(1.551, 0.003)} == {85.0, 88.9}


@pytest.mark.parametrize(("height_mm", "percent"), [(250, 0.304), (300, 0.253), (400, 0.190), (500, 0.152)])
def test_thickness_shifts_the_scale(height_mm: float, percent: float) -> None:
    """A face 0.76 mm nearer than the table shows larger by 0.76 / Z: calculated figures."""
    straight_down = np.r_[np.pi, 0, 0, 0, 0, height_mm, 3000, 2015.5, 1511.5, 0.0]
    view = View(straight_down, np.zeros((10, 10)), (4032, 3024))
    ends = np.array([[-42.8, 0.0], [42.8, 0.0]])
    face, table = (np.ptp(view.pixels(ends, z)[:, 0]) for z in (ID_1.rectangle.thickness_mm, 0.0))
    assert 100 * (1 - table / face) == pytest.approx(percent, abs=0.0006)
