"""Over how many neighbouring samples an error reaches."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def correlation_length(residuals: Array) -> float:
    """How many neighbouring samples share their error: the mean of so many counts as one.

    The autocorrelation is summed up to the first lag at which nothing is shared any more (integrated autocorrelation
    time, initial positive sequence: Geyer 1992, Practical Markov chain Monte Carlo).

    Args:
        residuals: (m, n) of m rows of samples, whose mean is zero.

    Returns:
        1 where all are independent.
    """
    n = residuals.shape[1]
    shared = np.array([(residuals[:, : n - k] * residuals[:, k:]).mean() for k in range(n // 2)])
    end = int(np.argmin(np.append(shared, -1.0) > 0))
    return max(2 * float(shared[:end].sum() / max(shared[0], np.finfo(float).tiny)) - 1, 1.0)
