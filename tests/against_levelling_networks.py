"""Published levelling networks: GNU Gama's one-dimensional sample, C. Ghilani's and J. Mahun's textbook examples.

Levelling is linear, and has the same matrices as photo and readings: the very functions of the adjustment are used.
"""

import math

import numpy as np
import pytest

from measure.adjustment.least_squares import LeastSquares, Observations, along, chi2_limit, snoop, solve


def levelled(
    runs: list[tuple[str, str, float]], fixed: dict[str, float], variances: list[float] | float
) -> tuple[LeastSquares, dict[str, float], list[str]]:
    """Heights from differences `to - from`; sizes are those of the source."""
    names = sorted({n for a, b, _ in runs for n in (a, b)} - set(fixed))
    design, observed = np.zeros((len(runs), len(names))), np.zeros(len(runs))
    for i, (a, b, dh) in enumerate(runs):
        observed[i] = dh + fixed.get(a, 0.0) - fixed.get(b, 0.0)
        for n, sign in ((a, -1.0), (b, 1.0)):
            if n in names:
                design[i, names.index(n)] = sign
    s = solve([Observations(design, observed, np.broadcast_to(np.array(variances, float), len(runs)).copy())])
    return s, dict(zip(names, s.x, strict=True)), names


GAMA = [
    ("1a", "4", -1.225),
    ("4", "3", -0.848),
    ("3", "2", 1.342),
    ("2", "1a", 0.720),
    ("1a", "2", -0.724),
    ("2", "3", -1.335),
    ("3", "4", 0.842),
    ("4", "1a", 1.231),
]


def test_gama_sample() -> None:
    """The published output of GNU Gama's one-dimensional sample: 1a fixed at 1000 m, 5 mm for each difference."""
    s, heights, _ = levelled(GAMA, {"1a": 1000.0}, 0.005**2)
    assert [heights[n] for n in "432"] == pytest.approx([998.77513, 997.93325, 999.27487], abs=6e-6)
    assert s.freedom == 5
    assert s.chi2 * 25 == pytest.approx(146.625, abs=1e-6)  # [pvv] in mm²
    assert math.sqrt(s.chi2 / s.freedom) * 5 == pytest.approx(5.42, abs=0.005)
    sd = np.sqrt(np.diag(s.covariance)) * 1000
    # The published standard deviations are scaled by the a priori 5 mm.
    assert sd == pytest.approx([3.1, 3.5, 3.1], abs=0.05)
    tested = s.groups[0]
    w = tested.standardised()
    assert int(np.argmax(np.abs(w))) + 1 == 6
    assert abs(w[5]) == pytest.approx(1.68, abs=0.005)
    # Calculated from the sample, to all digits: residuals (here observed minus adjusted), redundancy, test, MDE.
    residuals_mm = [0.125, 6.125, -0.375, 5.125, -1.125, -6.625, -0.125, -6.125]
    assert -tested.residuals * 1000 == pytest.approx(residuals_mm, abs=1e-9)
    assert tested.redundancy == pytest.approx([0.625] * 8)
    assert s.chi2 == pytest.approx(5.865)
    assert s.chi2 < chi2_limit(5, 0.05)
    assert tested.detectable() * 1000 == pytest.approx([26.13] * 8, abs=0.01)
    assert snoop(tested) == []
    assert snoop(tested, critical=1.96) == []


@pytest.mark.parametrize("wrong", range(8))
def test_gama_sample_with_a_blunder(wrong: int) -> None:
    """A run misread by 60 mm, more than twice what is just detectable, is found, and nothing else is."""
    spoiled = [(a, b, dh + (0.060 if i == wrong else 0.0)) for i, (a, b, dh) in enumerate(GAMA)]
    s, _, _ = levelled(spoiled, {"1a": 1000.0}, 0.005**2)
    assert snoop(s.groups[0]) == [wrong]
    assert along(s.groups[0].weighted, s.groups[0].cofactor, np.eye(8)[wrong])[0] * 1000 == pytest.approx(60, abs=12)


GHILANI = [
    ("X", "A", 5.10),
    ("A", "Y", 2.34),
    ("Y", "C", -1.25),
    ("C", "X", -6.13),
    ("A", "B", -0.68),
    ("Y", "B", -3.00),
    ("B", "C", 1.70),
]
MARKS = {"X": 100.00, "Y": 107.50}


def test_ghilani_unweighted() -> None:
    """C. Ghilani, Adjustment Computations, chapter 12 (figures from memory, recomputed)."""
    s, h, _ = levelled(GHILANI, MARKS, 1.0)
    assert [h[n] for n in "ABC"] == pytest.approx([105.141, 104.483, 106.188], abs=5e-4)
    s0 = math.sqrt(s.chi2 / s.freedom)
    assert s0 == pytest.approx(0.050, abs=5e-4)
    assert np.sqrt(np.diag(s.covariance)) * s0 == pytest.approx([0.031, 0.033, 0.031], abs=5e-4)
    r = s.groups[0].redundancy
    assert r == pytest.approx([0.619, 0.619, 0.619, 0.619, 0.476, 0.571, 0.476], abs=6e-4)
    assert r.sum() == pytest.approx(4)


def test_ghilani_weighted() -> None:
    """The same with weights 12 / length, lengths 4 3 2 3 2 2 2 (from memory, recomputed)."""
    s, h, _ = levelled(GHILANI, MARKS, [n / 12 for n in (4, 3, 2, 3, 2, 2, 2)])
    assert [h[n] for n in "ABC"] == pytest.approx([105.150, 104.489, 106.197], abs=5e-4)
    assert math.sqrt(s.chi2 / s.freedom) == pytest.approx(0.107, abs=5e-4)


MAHUN = [
    ("A", "Q", 8.91),
    ("B", "Q", -2.92),
    ("C", "Q", -4.67),
    ("D", "Q", -8.66),
    ("A", "R", -3.56),
    ("C", "R", -17.12),
    ("D", "R", -21.10),
    ("Q", "R", -12.47),
]
BENCHMARKS = {"A": 806.520, "B": 818.320, "C": 820.120, "D": 824.040}
"""Only in a figure of the source; found from its adjusted lines, hence the tolerance of 1.5 mm."""


def test_mahun_unweighted() -> None:
    """J. Mahun, Least Squares Lite, chapter D."""
    s, h, _ = levelled(MAHUN, BENCHMARKS, 1.0)
    assert [h["Q"], h["R"]] == pytest.approx([815.418, 802.962], abs=0.0015)
    assert s.freedom == 6
    s0 = math.sqrt(s.chi2 / s.freedom)
    assert s0 == pytest.approx(0.028, abs=0.0015)
    assert np.sqrt(np.diag(s.covariance)) * s0 == pytest.approx([0.013, 0.014], abs=0.001)


def test_mahun_weighted() -> None:
    """J. Mahun, Least Squares Lite, chapter E: weights 12 / setups."""
    s, h, _ = levelled(MAHUN, BENCHMARKS, [n / 12 for n in (3, 2, 1, 3, 3, 4, 2, 3)])
    assert [h["Q"], h["R"]] == pytest.approx([815.424, 802.958], abs=0.0015)
    s0 = math.sqrt(s.chi2 / s.freedom)
    assert s0 == pytest.approx(0.067, abs=0.003)
    assert np.sqrt(np.diag(s.covariance)) * s0 == pytest.approx([0.012, 0.016], abs=0.001)


def test_mikhail_ackermann_triangle() -> None:
    """Mikhail and Ackermann (1976), example 7.1: a plane triangle; result by hand: misclosure -3″, -1″ … each."""
    angles = np.array([40 * 3600 + 19 * 60 + 2, 70 * 3600 + 30 * 60 + 1, 69 * 3600 + 11 * 60 + 0], float)
    design = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])
    s = solve([Observations(design, angles - [0, 0, 180 * 3600], np.ones(3))])
    assert s.groups[0].residuals == pytest.approx([1, 1, 1], abs=1e-6)
    assert s.chi2 / s.freedom == pytest.approx(3, abs=1e-6)
