"""A view's uncertainty as independent terms of unit variance.

Pose and focal length are so strongly correlated that sums over their raw covariance lose half of a double's digits.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def view_root(covariance: Array) -> Array:
    """(10, 10) what each of ten independent terms of unit variance does to a view's parameters."""
    sd = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(sd, sd))
    return np.asarray(sd[:, None] * vectors * np.sqrt(np.maximum(values, 0.0)))
