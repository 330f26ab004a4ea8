"""How what was drawn goes along when readings move what was seen.

The affine motion of the plane that fits the seen features' changes best carries the drawn ones: a part that a reading
makes larger as a whole keeps its drawn boundary where it belongs. It is linear in the seen parameters, so the
covariance follows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from measure.geometry.features import PARAMETERS, Arc, Feature, Line, direction, flatten, length, middle, right_normal

COEFFICIENTS = 6
"""Of an affine motion: two of the shift, four of turn, size and shear."""
KNOWN_SHARE = 1e-6
"""Motions that the seen features tell nothing of are left out: those whose singular value is a smaller share."""


def carried(seen: Sequence[Feature], slices: dict[str, slice], size: int) -> tuple[Array, Array]:
    """The motion that goes along with the seen features.

    Args:
        seen: the features that carry it.
        slices: where their parameters stand.
        size: of the stack.

    Returns:
        (6, size) change of its coefficients with each parameter, and (2,) the point that they are about.
    """
    about = np.concatenate([flatten(f) for f in seen]).mean(0)
    rows, sources = [np.zeros((0, COEFFICIENTS))], [np.zeros((0, size))]
    for f in seen:
        at = slices[f.label]
        if f.kind == "line":
            for s in (-length(f) / 2, length(f) / 2):
                source = np.zeros((1, size))
                source[0, at] = [1.0, -s]
                rows.append(right_normal(f) @ _field(middle(f) + s * direction(f) - about))
                sources.append(source)
        elif f.kind != "curve":
            source = np.zeros((2, size))
            source[:, at] = np.eye(2, PARAMETERS[f.kind])
            rows.append(_field(np.array(f.centre) - about))
            sources.append(source)
    return np.linalg.pinv(np.vstack(rows), rcond=KNOWN_SHARE) @ np.vstack(sources), about


def _field(at: Array) -> Array:
    """(2, 6) shift of a point with the coefficients: x, y, and the shares of each in both."""
    x, y = float(at[0]), float(at[1])
    return np.array([[1.0, 0, x, y, 0, 0], [0, 1.0, 0, 0, x, y]])


def rows_along(f: Line | Arc, motion: Array, about: Array, *, size_stays: bool) -> Array:
    """(p, size) change of a drawn feature's parameters with the seen ones.

    Args:
        f: the feature.
        motion, about: see `carried`.
        size_stays: whether its radius was told, and stays.
    """
    if f.kind == "line":
        n, u = right_normal(f), direction(f)
        turn = -n @ _field(u)
        turn[:2] = 0  # a shift turns nothing
        return np.stack([n @ _field(middle(f) - about), turn]) @ motion
    larger = np.zeros((1, COEFFICIENTS))
    if not size_stays:
        larger[0, [2, 5]] = f.radius / 2
    return np.vstack([_field(np.array(f.centre) - about), larger]) @ motion
