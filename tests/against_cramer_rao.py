"""Edge location against the Cramér–Rao bound of a Gaussian-blurred step.

The bound exists in A. Gatherer, "The Cramér–Rao Bound for Discrete-Time Edge Position Estimation", Stanford
CSL-TR-93-560 (1993). The closed form used here, sigma_x >= 1.8827 sqrt(s) sigma_n / A px for one sample a pixel with
only the position unknown, is our own derivation; with contrast and offset unknown too the bound rises by about 6 %.
"""

import numpy as np
import pytest
from scipy.special import ndtr

from calib.light.path import vertex
from calib.light.profile import OPPONENT, Profiles, evidence


def bound(s, contrast, noise, offsets):
    """Bound on the position with both levels unknown, samples at the offsets, by the information matrix."""
    slope = -contrast * np.exp(-0.5 * (offsets / s) ** 2) / (s * np.sqrt(2 * np.pi))
    J = np.stack([slope, ndtr(offsets / s), np.ones_like(offsets)], 1)
    return noise * np.sqrt(np.linalg.inv(J.T @ J)[0, 0])


def test_closed_form():
    """Hand calculation: s = 1, contrast 100, noise 2: 1.8827 * 2 / 100 = 0.03766 px."""
    offsets = np.arange(-15.0, 15.01)
    slope = 100 * np.exp(-0.5 * offsets**2) / np.sqrt(2 * np.pi)
    assert 2 / np.sqrt((slope**2).sum()) == pytest.approx(0.03766, abs=2e-5)
    assert bound(1.0, 100, 2, offsets) == pytest.approx(0.04001, abs=2e-5)


@pytest.mark.parametrize("contrast", [0.2, 0.5])
def test_scatter_near_the_bound(contrast):
    """Grey steps, white noise in every sample: the scatter stays within a quarter of the bound for the levels unknown.

    The three channels carry the same grey step and independent noise; the locator looks at lightness, whose noise is
    the norm of its weights times that of one channel.
    """
    rng = np.random.default_rng(8)
    s = np.arange(-15, 15.01, 0.5)
    n, noise = 400, 0.012
    x = rng.uniform(-0.5, 0.5, n)
    light = 0.2 + contrast * ndtr(s[None] - x[:, None])
    rgb = light[..., None] + rng.normal(0, noise, (n, len(s), 3))
    xs = np.arange(-3, 3.01, 0.25)
    e = evidence(Profiles(s, rgb @ OPPONENT, np.zeros(n)), np.zeros(n), xs, np.zeros(1), 1.0)
    found, _ = vertex(e.cost[:, :, 0], xs, e.cost[:, :, 0].argmin(1))
    least = bound(1.0, contrast, noise * np.hypot(*np.hypot(OPPONENT[:2, 0], [OPPONENT[2, 0], 0])), s)
    ratio = np.std(found - x) / least
    print(f"contrast {contrast}: scatter {np.std(found - x):.4f} px, bound {least:.4f} px, ratio {ratio:.2f}")
    assert 0.9 < ratio < 1.35
