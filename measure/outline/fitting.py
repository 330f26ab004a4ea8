"""Orthogonal-distance fits of one line, circle or arc to plain points, each with its covariance.

Errors are taken square to the curve, never along an axis. A fit that can't be made comes back as a `FailedFit`, which
is false and says why; nothing here raises for want of good points.

Sources: K. Pearson, "On lines and planes of closest fit" (1901); D. York, "Least-squares fitting of a straight line"
(1966) for unequal errors in both axes; G. Taubin (1991) for the circle's starting value, in the form given by
N. Chernov, "Circular and linear regression" (2010), section 5.10; W. Gander, G. Golub and R. Strebel,
"Least-squares fitting of circles and ellipses" (1994) for the geometric fit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from measure.geometry.features import Array, Turn

_STEPS = 60


@dataclass(frozen=True, slots=True)
class FailedFit:
    """A fit that could not be made, and why. False in a condition."""

    reason: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True)
class LineFit:
    """A straight line of closest fit.

    Attributes:
        centre: (2,) the point on the line about which offset and turn are uncorrelated or nearly so, mm.
        angle_rad: direction of the line, from the first point towards the last.
        covariance: (2, 2) of the offset along the right-hand normal (mm) and the turn (rad) about `centre`.
        residuals_mm: (n,) signed distances of the points, positive on the right of travel.
        chi2: sum of squared residuals over their variances.
        degrees: points less parameters.
    """

    centre: Array
    angle_rad: float
    covariance: Array
    residuals_mm: Array
    chi2: float
    degrees: int


@dataclass(frozen=True, slots=True)
class CircleFit:
    """A circle of closest fit.

    Attributes:
        centre: (2,) mm.
        radius: mm.
        covariance: (3, 3) of centre x, centre y and radius, mm².
        residuals_mm: (n,) signed distances of the points, positive outside.
        chi2: sum of squared residuals over their variances.
        degrees: points less parameters.
    """

    centre: Array
    radius: float
    covariance: Array
    residuals_mm: Array
    chi2: float
    degrees: int


@dataclass(frozen=True, slots=True)
class ArcFit:
    """A circle fit together with the part of the circle that points in order of travel cover.

    Attributes:
        circle: the fit.
        start, end: (2,) feet of the first and the last point on the circle, mm.
        turn: sense of travel.
        sweep_rad: signed angle covered, counter-clockwise positive.
    """

    circle: CircleFit
    start: Array
    end: Array
    turn: Turn
    sweep_rad: float


def _checked(points: ArrayLike, sigma_mm: ArrayLike | None, least: int) -> tuple[Array, Array] | FailedFit:
    """Points (n, 2) and standard deviations (n, 2) along x and y, or why they can't be used."""
    p = np.asarray(points, float)
    if p.ndim != 2 or p.shape[1] != 2:
        return FailedFit("points must be given as rows of x and y")
    s = np.ones_like(p) if sigma_mm is None else np.asarray(sigma_mm, float)
    if s.ndim == 1:
        s = s[:, None]
    if s.ndim == 0 or s.shape[0] not in (1, len(p)):
        return FailedFit("there must be one standard deviation for each point")
    s = np.broadcast_to(s, p.shape)
    if not np.isfinite(p).all() or np.isnan(s).any() or (s <= 0).any():
        return FailedFit("points and standard deviations must be finite and positive")
    if np.isfinite(s).all(1).sum() < least:
        return FailedFit(f"at least {least} points are needed")
    return p, s


def fit_line(points: ArrayLike, sigma_mm: ArrayLike | None = None) -> LineFit | FailedFit:
    """Straight line of least weighted orthogonal distance.

    Args:
        points: (n, 2) in order of travel, mm.
        sigma_mm: standard deviations, (n,) if alike in x and y, (n, 2) if not; 1 for all if left out. The covariance
            is in their scale: it is not rescaled by the residuals.

    Returns:
        The fit, or a `FailedFit` for fewer than two points or points that all coincide.
    """
    checked = _checked(points, sigma_mm, 2)
    if isinstance(checked, FailedFit):
        return checked
    p, s = checked
    w = 1 / (s**2).sum(1)
    centre = (w[:, None] * p).sum(0) / w.sum()
    d = p - centre
    sxx, syy, sxy = (w * d[:, 0] ** 2).sum(), (w * d[:, 1] ** 2).sum(), (w * d[:, 0] * d[:, 1]).sum()
    if sxx + syy <= 1e-24 * w.sum():
        return FailedFit("the points all coincide")
    angle = 0.5 * math.atan2(2 * sxy, sxx - syy)
    offset = 0.0

    def state(angle: float, offset: float) -> tuple[Array, Array, Array]:
        """Distances to the right, their deviations, and positions along the line."""
        c, si = math.cos(angle), math.sin(angle)
        sd = np.sqrt((si * s[:, 0]) ** 2 + (c * s[:, 1]) ** 2)
        return d[:, 0] * si - d[:, 1] * c - offset, sd, d[:, 0] * c + d[:, 1] * si

    def jacobian(angle: float, e: Array, sd: Array, along: Array) -> Array:
        """(n, 2) of e / sd by offset and angle; the deviations themselves change with the angle (York)."""
        c, si = math.cos(angle), math.sin(angle)
        dsd = c * si * (s[:, 0] ** 2 - s[:, 1] ** 2) / sd
        return np.stack([-1 / sd, (along - e * dsd / sd) / sd], 1)

    for _ in range(_STEPS):
        e, sd, along = state(angle, offset)
        step = np.linalg.lstsq(jacobian(angle, e, sd, along), -e / sd, rcond=None)[0]
        offset, angle = offset + float(step[0]), angle + float(step[1])
        if abs(step[1]) < 1e-14 and abs(step[0]) < 1e-13 * (1 + abs(offset)):
            break
    e, sd, along = state(angle, offset)
    u = np.array([math.cos(angle), math.sin(angle)])
    if (p[-1] - p[0]) @ u < 0:
        angle, e, along, offset, u = angle + math.pi, -e, -along, -offset, -u
    # the points' places along the line are taken where the adjustment puts them, as York recommends: with unequal
    # errors a point moves to the line askew
    sine, cosine = math.sin(angle), math.cos(angle)
    along = along - e * cosine * sine * (s[:, 0] ** 2 - s[:, 1] ** 2) / sd**2
    middle = (along / sd**2).sum() / (1 / sd**2).sum()
    j = np.stack([-1 / sd, (along - middle) / sd], 1)
    return LineFit(
        centre=centre + offset * np.array([u[1], -u[0]]) + middle * u,
        angle_rad=math.remainder(angle, 2 * math.pi),
        covariance=np.linalg.inv(j.T @ j),
        residuals_mm=e,
        chi2=float(((e / sd) ** 2).sum()),
        degrees=int(np.isfinite(sd).sum()) - 2,
    )


def algebraic_circle(points: ArrayLike, weights: ArrayLike | None = None) -> tuple[Array, float] | FailedFit:
    """Taubin's circle: close to the geometric fit, found without a starting value.

    Args:
        points: (n, 2), mm.
        weights: (n,), 1 for all if left out.

    Returns:
        Centre (2,) and radius in mm, or a `FailedFit` when the points are too few or lie on a straight line.
    """
    p = np.asarray(points, float)
    w = np.ones(len(p)) if weights is None else np.asarray(weights, float)
    if len(p) < 3:
        return FailedFit("at least 3 points are needed")
    w = w / w.sum()
    centre = w @ p
    x, y = (p - centre).T
    z = x * x + y * y
    mxx, myy, mxy = w @ (x * x), w @ (y * y), w @ (x * y)
    mxz, myz, mzz = w @ (x * z), w @ (y * z), w @ (z * z)
    mz = mxx + myy
    cov = mxx * myy - mxy * mxy
    if not cov > 1e-14 * mz * mz:
        return FailedFit("the points lie on a straight line")
    a2 = -3 * mz * mz - mzz
    a1 = mzz * mz + 4 * cov * mz - mxz**2 - myz**2 - mz**3
    a0 = mxz**2 * myy + myz**2 * mxx - mzz * cov - 2 * mxz * myz * mxy + mz * mz * cov
    root = 0.0
    for _ in range(_STEPS):
        slope = a1 + root * (2 * a2 + 12 * mz * root)
        step = (a0 + root * (a1 + root * (a2 + root * 4 * mz))) / slope if slope else 0.0
        root -= step
        if abs(step) <= 1e-14 * mz:
            break
    det = 2 * (root * root - root * mz + cov)
    if det == 0:
        return FailedFit("the points lie on a straight line")
    c = np.array([mxz * (myy - root) - myz * mxy, myz * (mxx - root) - mxz * mxy]) / det
    return centre + c, math.sqrt(float(c @ c) + mz)


def fit_circle(points: ArrayLike, sigma_mm: ArrayLike | None = None) -> CircleFit | FailedFit:
    """Circle of least weighted orthogonal distance (Gauss-Newton from Taubin's circle, steps halved when they fail).

    Args:
        points: (n, 2), mm, in any order.
        sigma_mm: (n,) standard deviations along the normal; 1 for all if left out. The covariance is in their scale.

    Returns:
        The fit, or a `FailedFit` for fewer than three points, points on a straight line, or no convergence.
    """
    checked = _checked(points, sigma_mm, 3)
    if isinstance(checked, FailedFit):
        return checked
    p, sd = checked[0], checked[1][:, 0]
    start = algebraic_circle(p, 1 / sd**2)
    if isinstance(start, FailedFit):
        return start
    x = np.append(*start)

    def state(x: Array) -> tuple[Array, Array]:
        d = p - x[:2]
        away = np.hypot(*d.T)
        j = -np.column_stack([d / np.maximum(away, 1e-12)[:, None], np.ones(len(p))])
        return (away - x[2]) / sd, j / sd[:, None]

    r, j = state(x)
    for _ in range(_STEPS):
        step = np.linalg.lstsq(j, -r, rcond=None)[0]
        share = 1.0
        while True:
            trial, jt = state(x + share * step)
            if trial @ trial <= r @ r * (1 + 1e-12) or share < 1e-6:
                break
            share /= 2
        x, r, j = x + share * step, trial, jt
        if np.abs(step).max() < 1e-12 * (1 + abs(x[2])):
            break
    else:
        # slow convergence: far from every circle or nearly straight; accept it only at a true minimum
        if np.abs(j.T @ r).max() > 1e-5 * np.sqrt((j**2).sum(0) * (r @ r + 1e-300)).max():
            return FailedFit("the circle fit does not settle: the points are nearly straight or far from round")
    normal = j.T @ j
    if not np.isfinite(normal).all() or np.linalg.cond(normal) > 1e15 or x[2] <= 0:
        return FailedFit("the points lie on a straight line")
    residuals = np.hypot(*(p - x[:2]).T) - x[2]
    covariance = np.asarray(np.linalg.inv(normal), float)
    return CircleFit(x[:2], float(x[2]), covariance, residuals, float(r @ r), int(np.isfinite(sd).sum()) - 3)


def fit_arc(points: ArrayLike, sigma_mm: ArrayLike | None = None) -> ArcFit | FailedFit:
    """Arc through points in order of travel: `fit_circle`, and the part of it that they cover.

    Args:
        points: (n, 2) in order of travel, less than once round, neighbours less than half a turn apart, mm.
        sigma_mm: (n,) as for `fit_circle`.

    Returns:
        The fit, or the `FailedFit` of the circle.
    """
    circle = fit_circle(points, sigma_mm)
    if isinstance(circle, FailedFit):
        return circle
    d = np.asarray(points, float) - circle.centre
    a = np.unwrap(np.arctan2(d[:, 1], d[:, 0]))
    sweep = float(a[-1] - a[0])
    start, end = (circle.centre + circle.radius * np.array([math.cos(t), math.sin(t)]) for t in (a[0], a[-1]))
    return ArcFit(circle, start, end, "ccw" if sweep > 0 else "cw", sweep)
