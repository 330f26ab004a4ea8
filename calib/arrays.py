"""The type of array that everybody uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Real numbers; which shape and unit, the place says where it is used."""


def root_of(covariance: Array) -> Array:
    """(n, n) matrix whose product with its transpose is a covariance (n, n), which rounding may leave a little below
    none."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
