"""W. Gander, G. Golub, R. Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994) 558-578: circles.

The points are quoted from published teaching code for the paper. The fitted values are from memory of the paper, and
agree with an independent recomputation by general-purpose minimisation to the digits given.
"""

import numpy as np
import pytest

from measure.outline.moments import running_sums
from tests.single_fits import one

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
    circle, equations = one(points, arc=True)
    digits = 5e-5 if len(points) == 6 else 5e-6
    assert circle.centre()[0] == pytest.approx(centre, abs=digits)
    assert abs(circle.radius()[0]) == pytest.approx(radius, abs=digits)
    assert (equations.residual**2).sum() == pytest.approx(sum_of_squares, abs=5e-5)


def test_residual_norm_is_the_published_one():
    _, equations = one(SIX, arc=True)
    assert np.linalg.norm(equations.residual) == pytest.approx(1.1080, abs=5e-5)  # from memory


def test_algebraic_start_is_worse_than_the_geometric_fit_but_near():
    start = running_sums(SIX, np.ones(len(SIX))).fits(np.array([0]), np.array([len(SIX)]))
    norm = np.linalg.norm(np.hypot(SIX[:, 0] - start.cx, SIX[:, 1] - start.cy) - start.radius)
    assert 1.1080 < norm < 1.1825  # the linear fit of the same points leaves 1.1825 (recomputed)
