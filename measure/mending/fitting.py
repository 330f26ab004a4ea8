"""A line, an arc or a full circle fitted to edge points, with its covariance: as one feature, whatever was seen there.

Points that lie off it hardly count: a person has said that they belong to one feature, so a nick or a burr is none of
it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.arrays import Array
from measure.edges.edge_loop import EdgeLoop

OFF_SD = 2.0
"""Residuals count in full up to so many standard deviations, then less and less (chosen)."""
LEAST_SD_MM = 0.003
"""No edge is known better than this for a point (rendered photos: 0.004 to 0.02 mm)."""
SHARED_BY = (2.0, 20.0)
"""Neighbouring points share their noise: so many make one independent one, at least and at most (as measured of noise
in `measure.outline`: 2 to 12)."""
LEAST_POINTS = 6
"""Fewer tell nothing of an arc and its noise."""
MOST_STEPS = 60
MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal noise over its median absolute deviation (arithmetic)."""

Model = Callable[[Array], Array]
"""(n,) residuals of parameters (p,)."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """Parameters (p,) with white covariance (p, p) and (p, s) change with each shared term; `rms_mm` is left."""

    parameters: Array
    white: Array
    sensitivity: Array
    rms_mm: float


def line_through(edge: EdgeLoop) -> Fitted:
    """The straight line through points: middle x, y and angle of travel; covariance of offset to the right and turn."""
    p = edge.points_mm
    middle = p.mean(0)
    way = p[-1] - p[0]
    first = math.atan2(way[1], way[0])

    def off(x: Array) -> Array:
        return np.asarray((p - middle) @ [math.sin(x[1]), -math.cos(x[1])] - x[0])

    sd = _sd(edge, off(np.array([0.0, first])))
    found = _robust(off, sd, np.array([0.0, first]))
    n = np.array([math.sin(found[1]), -math.cos(found[1])])
    along = (p - middle) @ [math.cos(found[1]), math.sin(found[1])]
    slopes = np.stack([np.ones(len(p)), -along], 1)
    white, sensitivity, rms = _covariance(edge, slopes, n[None], off(found))
    at = middle + found[0] * n
    return Fitted(np.array([at[0], at[1], found[1]]), white, sensitivity, rms)


def circle_through(edge: EdgeLoop) -> Fitted:
    """The circle through points: centre and radius, with the covariance of those."""
    p = edge.points_mm

    def off(x: Array) -> Array:
        return np.asarray(np.hypot(*(p - x[:2]).T) - x[2])

    a = np.c_[2 * p, np.ones(len(p))]  # the algebraic circle is a start (I. Kåsa, 1976)
    b = np.linalg.lstsq(a, (p**2).sum(1), rcond=None)[0]
    start = np.array([b[0], b[1], math.sqrt(max(b[2] + b[0] ** 2 + b[1] ** 2, LEAST_SD_MM**2))])
    sd = _sd(edge, off(start))
    found = _robust(off, sd, start)
    u = (p - found[:2]) / np.maximum(np.hypot(*(p - found[:2]).T), LEAST_SD_MM)[:, None]
    white, sensitivity, rms = _covariance(edge, np.c_[u, np.ones(len(p))], u, off(found))
    return Fitted(found, white, sensitivity, rms)


def _robust(off: Model, sd: Array, start: Array) -> Array:
    """(p,) parameters that leave the least, where what lies far off hardly counts."""
    from scipy.optimize import least_squares

    def weighed(x: Array) -> Array:
        return off(x) / sd

    found = least_squares(weighed, start, loss="soft_l1", f_scale=OFF_SD, max_nfev=MOST_STEPS)
    return np.asarray(found.x, np.float64)


def _sd(edge: EdgeLoop, residual: Array) -> Array:
    """(n,) by which residuals are judged: as stated, or as they are seen to spread."""
    spread = MAD_TO_SIGMA * float(np.median(np.abs(residual - np.median(residual))))
    return np.where(np.isfinite(edge.sigma_mm), np.maximum(edge.sigma_mm, LEAST_SD_MM), 1e3 * (1 + spread))


def _covariance(edge: EdgeLoop, slopes: Array, across: Array, residual: Array) -> tuple[Array, Array, float]:
    """White covariance, sensitivity to shared terms, and the root of the mean square of what is left."""
    sd = _sd(edge, residual)
    share = 1 / np.sqrt(1 + (residual / sd / OFF_SD) ** 2)
    weight = share / sd**2
    normal = slopes.T @ (slopes * weight[:, None])
    least = np.finfo(float).eps * float(np.trace(normal))  # of points in a straight line a circle is not determined
    inverse = np.linalg.inv(normal + np.eye(len(normal)) * least)
    gain = inverse @ (slopes * weight[:, None]).T
    facing = (edge.normals * across).sum(1)
    r = residual * np.sqrt(share)
    chi = float((r**2 / sd**2)[np.isfinite(edge.sigma_mm)].sum()) / max(len(r) - len(normal), 1)
    like = float(np.clip((r[1:] @ r[:-1]) / max(float(r @ r), LEAST_SD_MM**2), 0.0, 1 - 1 / SHARED_BY[1]))
    shared_by = float(np.clip((1 + like) / (1 - like), *SHARED_BY))
    by_shared = np.asarray(gain @ (edge.sensitivity * facing[:, None]), np.float64)
    return np.asarray(inverse * max(chi, 1.0) * shared_by, np.float64), by_shared, float(np.sqrt((r**2).mean()))


def part_of(edge: EdgeLoop, start: int, stop: int) -> EdgeLoop:
    """The points start … stop - 1 of a loop, round its end where stop is larger than it has."""
    at = np.arange(start, stop) % len(edge.points_mm)
    return EdgeLoop(edge.points_mm[at], edge.normals[at], edge.sigma_mm[at], edge.sensitivity[at])


Better = Literal["line", "arc"]


def better(line: Fitted, arc: Fitted, points: int) -> Better:
    """Which of both explains points better, an arc for the price of one more parameter (Schwarz's criterion)."""
    gain = points / SHARED_BY[0] * math.log(max(line.rms_mm, LEAST_SD_MM) / max(arc.rms_mm, LEAST_SD_MM)) * 2
    return "arc" if gain > math.log(max(points, 2)) else "line"
