"""Which feature of one outline is which of another that has been laid on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from measure.geometry.features import PARAMETERS, PLAIN_MM, Feature, as_line, direction, flatten, length, same_kind

NEAR_MM = 0.6
"""Partners lie within this of each other along the stretch that they share."""
SHARED_LONG, SHARED_SHORT = 0.8, 0.7
"""How much of the shorter and of the longer of two partners the other must cover."""
SAME_WAY = 0.97
"""Cosine of the angle between two straight partners."""


def partners(first: Sequence[Feature], second: Sequence[Feature]) -> list[tuple[int, int]]:
    """Pairs of positions in both lists, one to one: of a kind, on the same kind of loop, at the same place.

    Args:
        first: all loops.
        second: likewise, laid on the first.
    """
    from scipy.optimize import linear_sum_assignment

    value = _values(first, second)
    rows, columns = linear_sum_assignment(value, maximize=True)
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if value[i, j] > 0]


def _values(first: Sequence[Feature], second: Sequence[Feature]) -> Array:
    """(n, m) how much two features have in common, mm; 0 where they can't be the same."""
    import shapely

    lines = [[shapely.LineString(flatten(f, PLAIN_MM)) for f in fs] for fs in (first, second)]
    around = [shapely.buffer(g, NEAR_MM) for g in lines]
    tree = shapely.STRtree(lines[1])
    out = np.zeros((len(first), len(second)))
    for i, f in enumerate(first):
        for j in tree.query(around[0][i]):
            if not _alike(f, second[j]):
                continue
            common = shapely.intersection(lines[0][i], around[1][j]).length
            back = shapely.intersection(lines[1][j], around[0][i]).length
            share = sorted((common / max(lines[0][i].length, 1e-9), back / max(lines[1][j].length, 1e-9)))
            if share[0] >= SHARED_SHORT and share[1] >= SHARED_LONG:
                apart = shapely.hausdorff_distance(lines[0][i], lines[1][j])
                out[i, j] = min(common, back) / (1 + apart)
    return out


def _alike(a: Feature, b: Feature) -> bool:
    """Whether two features are of a kind, both of the outside or both of a hole, and run the same way."""
    if not same_kind(a, b) or not PARAMETERS[a.kind] or (a.loop == 0) != (b.loop == 0):
        return False
    return a.kind != "line" or float(direction(a) @ direction(as_line(b))) > SAME_WAY


def covered(features: Sequence[Feature], which: Sequence[int]) -> float:
    """How much of an outline some of its features make up, by length."""
    sizes = np.array([length(f) for f in features])
    return float(sizes[list(which)].sum() / max(sizes.sum(), 1e-9))
