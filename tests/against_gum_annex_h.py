"""JCGM 100:2008 (GUM), annex H: H.1 end gauge, H.2 resistance and reactance, H.3 thermometer calibration.

Inputs and results as they stand in the annex, and as a published uncertainty library's own tests carry them.
"""

import math

import numpy as np
import pytest
from scipy.stats import t as student

from calib.tools.budget import Cause, combined, rectangular
from measure.adjustment.least_squares import Observations, solve


def test_h1_end_gauge() -> None:
    ls_mm, d_nm, alpha, theta = 50.000623, 215.0, 11.5e-6, -0.1
    ls_nm = ls_mm * 1e6
    # l = ls + d - ls (d_alpha theta + alpha d_theta), both differences estimated as zero
    assert ls_mm + d_nm * 1e-6 == pytest.approx(50.000838, abs=5e-7)
    difference = combined([Cause("mean", 5.8, 24), Cause("random", 3.9, 5), Cause("systematic", 6.7, 8)])
    assert difference.u == pytest.approx(9.68, abs=0.02)
    assert difference.freedom == pytest.approx(25.4, abs=0.2)
    u_theta = math.hypot(0.2, 0.5 / math.sqrt(2))
    assert u_theta == pytest.approx(0.406, abs=0.001)
    expansion = ls_nm * abs(theta) * rectangular(1e-6)
    temperature = ls_nm * alpha * rectangular(0.05)
    assert expansion == pytest.approx(2.89, abs=0.01)
    assert temperature == pytest.approx(16.6, abs=0.05)
    whole = combined(
        [
            Cause("standard", 25.0, 18),
            Cause("difference", difference.u, difference.freedom),
            Cause("expansion", expansion, 50),
            Cause("temperature", temperature, 2),
        ]
    )
    assert whole.u == pytest.approx(31.66, abs=0.01)
    assert whole.freedom == pytest.approx(16.75, abs=0.02)
    # from memory: t for 99 % and 16 degrees of freedom is 2.92, U99 is 93 nm
    assert round(float(student.ppf(0.995, math.floor(whole.freedom))) * round(whole.u)) == 93


def test_h1_second_order() -> None:
    # H.1.7: second-order terms ls u(d_alpha) u(theta) and ls u(alpha) u(d_theta) raise 32 nm to 34 nm
    ls_nm = 50.000623e6
    first = Cause("first order", 31.66)
    one = Cause("d_alpha theta", ls_nm * rectangular(1e-6) * 0.406)
    two = Cause("alpha d_theta", ls_nm * rectangular(2e-6) * rectangular(0.05))
    assert round(combined([first, one, two]).u) == 34


def test_h2_resistance_reactance() -> None:
    v = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    i = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
    phi = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
    sample = np.cov(np.array([v, i, phi]))
    # five simultaneous sets of three readings, three unknowns
    design = np.tile(np.eye(3), (5, 1))
    readings = np.array([v, i, phi]).T.ravel()
    s = solve([Observations(design, readings, np.kron(np.eye(5), sample))])
    mean_v, mean_i, mean_phi = s.x
    assert s.x == pytest.approx([4.9990, 19.6610e-3, 1.04446], abs=5e-6)
    assert np.sqrt(np.diag(s.covariance)) == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.01)
    r = correlation(s.covariance)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.006)
    c, q, z = math.cos(mean_phi), math.sin(mean_phi), mean_v / mean_i
    assert [z * c, z * q, z] == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    jacobian = np.array(
        [
            [c / mean_i, -z * c / mean_i, -z * q],
            [q / mean_i, -z * q / mean_i, z * c],
            [1 / mean_i, -z / mean_i, 0],
        ]
    )
    out = jacobian @ s.covariance @ jacobian.T
    assert np.sqrt(np.diag(out)) == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    r = correlation(out)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=6e-4)


def test_h3_thermometer() -> None:
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    design = np.stack([np.ones(11), t - 20], 1)
    s = solve([Observations(design, b, np.ones(11))])
    assert s.freedom == 9
    sd = math.sqrt(s.chi2 / s.freedom)
    assert s.x == pytest.approx([-0.1712, 0.00218], abs=6e-5)
    assert sd == pytest.approx(0.0035, abs=5e-5)
    assert np.sqrt(np.diag(s.covariance)) * sd == pytest.approx([0.0029, 0.00067], rel=0.02)
    assert correlation(s.covariance)[0, 1] == pytest.approx(-0.930, abs=0.001)
    at_30 = np.array([[1.0, 10.0]])
    assert float((at_30 @ s.x)[0]) == pytest.approx(-0.1494, abs=6e-5)
    assert math.sqrt((at_30 @ s.covariance @ at_30.T)[0, 0]) * sd == pytest.approx(0.0041, abs=5e-5)


def correlation(c: np.ndarray) -> np.ndarray:
    sd = np.sqrt(np.diag(c))
    return c / np.outer(sd, sd)
