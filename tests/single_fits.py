"""One line or circle through points by the fit that traces outlines, as plain least squares."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest

from calib.arrays import Array
from measure.outline import joining
from measure.outline.chains import Chains
from measure.outline.joining import Normal, refined
from measure.outline.moments import running_sums
from measure.outline.pieces import Pieces


@contextmanager
def least_squares() -> Iterator[None]:
    """No robust weights and no damping of steps.

    Student's t with so many degrees of freedom is the normal distribution; points enough determine their curve.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(joining, "TAIL", 1e12)
        patch.setattr(joining, "_DAMPING", np.zeros(3))
        yield


def one(points: Any, *, arc: bool, variance: Array | None = None) -> tuple[Pieces, Normal]:
    """A line or an arc through points, begun as an outline's are, by Pearson's line or Taubin's circle.

    Args:
        points: (n, 2).
        arc: which of them.
        variance: (n,) square to the curve; 1 for all by default.
    """
    p = np.asarray(points, float)
    v = np.ones(len(p)) if variance is None else variance
    whole = np.array([0]), np.array([len(p)])
    start = running_sums(p, 1 / v).pieces(*whole, np.array([arc]))
    alone, no = np.array([0]), np.array([False])
    c = Chains(p, v, np.full(len(p), np.inf), start, alone, no, no, step_mm=1.0, blur_mm=0.0)
    with least_squares():
        found, equations, _ = refined(c, steps=25)
    return found.pieces, equations
