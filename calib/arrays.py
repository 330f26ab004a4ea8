"""The type of array that everybody uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Real numbers; which shape and unit, the place says where it is used."""
