"""Parameters of a feature relative to another one of its kind, and about another point."""

from __future__ import annotations

import math

import numpy as np

from calib.arrays import Array
from measure.geometry.features import PARAMETERS, Feature, as_line, as_round, direction, middle, right_normal


def off(f: Feature, known: Feature) -> Array:
    """(p,) parameters of a feature relative to one of its kind that it all but is."""
    if f.kind == "line":
        known = as_line(known)
        u, w = direction(known), direction(f)
        shift = float(right_normal(known) @ (middle(f) - middle(known)))
        return np.array([shift, math.atan2(u[0] * w[1] - u[1] * w[0], u @ w)])
    f, known = as_round(f), as_round(known)
    return np.array([*np.subtract(f.centre, known.centre), f.radius - known.radius])


def relative(f: Feature, known: Feature) -> Array:
    """(p,) parameters of a line, arc or circle as seen from one of its kind that lies near it: about its middle."""
    if f.kind != "line":
        return off(f, known)
    known = as_line(known)
    u, n = direction(f), right_normal(f)
    turn = float(off(f, known)[1])
    along = float((middle(known) - middle(f)) @ u)
    foot = middle(f) + along * u
    return np.array([float(n @ (foot - middle(known))), turn])


def about(f: Feature, point: Array) -> Array:
    """(p, p) from a feature's parameters to those about another point along it: only lines differ."""
    out = np.eye(PARAMETERS[f.kind])
    if f.kind == "line":
        out[0, 1] = -float((point - middle(f)) @ direction(f))
    return out
