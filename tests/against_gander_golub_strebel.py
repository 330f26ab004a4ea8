"""W. Gander, G. Golub, R. Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994) 558-578: circles.

The points are quoted from published teaching code for the paper. The fitted values are from memory of the paper, and
agree with an independent recomputation by general-purpose minimisation to the digits given.
"""

import numpy as np
import pytest

from measure.outline.fitting import CircleFit, algebraic_circle, fit_circle

SIX = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], float)
EIGHT = np.array([[0.7, 4], [3.3, 4.7], [5.6, 4], [7.5, 1.3], [6.4, -1.1], [4.4, -3], [0.3, -2.5], [-1.1, 1.3]])


@pytest.mark.parametrize(
    ("points", "centre", "radius", "sum_of_squares"),
    [
        (SIX, (4.7398, 2.9835), 4.7142, 1.2276),  # from memory; the paper's first example, residual norm 1.1080
        (EIGHT, (3.04324, 0.74568), 4.10586, 0.29595),  # from memory; sum of squares recomputed, not published
    ],
)
def test_geometric_circle(points, centre, radius, sum_of_squares):
    fit = fit_circle(points)
    assert isinstance(fit, CircleFit)
    digits = 5e-5 if len(points) == 6 else 5e-6
    assert fit.centre == pytest.approx(centre, abs=digits)
    assert fit.radius == pytest.approx(radius, abs=digits)
    assert fit.chi2 == pytest.approx(sum_of_squares, abs=5e-5)
    assert fit.degrees == len(points) - 3


def test_residual_norm_is_the_published_one():
    fit = fit_circle(SIX)
    assert isinstance(fit, CircleFit)
    assert np.linalg.norm(fit.residuals_mm) == pytest.approx(1.1080, abs=5e-5)  # from memory


def test_algebraic_start_is_worse_than_the_geometric_fit_but_near():
    centre, radius = algebraic_circle(SIX)
    norm = np.linalg.norm(np.hypot(*(SIX - centre).T) - radius)
    assert 1.1080 < norm < 1.1825  # the linear fit of the same points leaves 1.1825 (recomputed)
