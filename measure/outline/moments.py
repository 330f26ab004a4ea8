"""Lines and circles through many stretches of a loop at once, from running sums.

Sums of the points' monomials up to the fourth order give, for any stretch from i to j, the best line (K. Pearson,
1901) and Taubin's circle (G. Taubin, 1991; N. Chernov, "Circular and linear regression", 2010, section 5.10) with their
mean square distances, in a fixed number of operations however long the stretch is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.outline.pieces import FLATTEST, Index, Mask, Pieces, along, joined, slid

_NEWTON_STEPS = 7


@dataclass(frozen=True, slots=True)
class Fits:
    """Best line and circle of each of k stretches (any shape of arrays).

    Attributes:
        weight: sum of the weights.
        x, y: centroid, mm.
        angle: direction of the line in (-pi/2, pi/2], rad.
        line_ms: mean square distance from the line, mm².
        cx, cy, radius: the circle, mm; infinite where the points are straight.
        circle_ms: mean square distance from the circle, to first order, mm².
    """

    weight: Array
    x: Array
    y: Array
    angle: Array
    line_ms: Array
    cx: Array
    cy: Array
    radius: Array
    circle_ms: Array


@dataclass(frozen=True, slots=True)
class RunningSums:
    """Running sums over a loop gone round twice, so that any stretch is one difference.

    Attributes:
        sums: (9, 2n + 1) of w times 1, x, y, xx, xy, yy, xz, yz, zz with z = xx + yy, about `middle`.
        middle: (2,) mm.
        points: (n, 2) mm.
    """

    sums: Array
    middle: Array
    points: Array

    def fits(self, start: Index, stop: Index) -> Fits:
        """Fits of the stretches of points start .. stop - 1, with 0 <= start < stop <= 2n."""
        m = self.sums[:, stop] - self.sums[:, start]
        w = np.maximum(m[0], 1e-300)
        a, b, xx, xy, yy, xz, yz, zz = m[1:] / w
        z = xx + yy
        mxx, mxy, myy = xx - a * a, xy - a * b, yy - b * b
        mz = np.maximum(mxx + myy, 1e-30)
        half = np.hypot((mxx - myy) / 2, mxy)
        line = np.maximum(mz / 2 - half, 0)
        # moments of z about the centroid, by way of those about the middle of the loop
        cxz, cyz, czz = xz - a * z, yz - b * z, zz - z * z
        mxz, myz = cxz - 2 * a * mxx - 2 * b * mxy, cyz - 2 * a * mxy - 2 * b * myy
        mzz = czz - 4 * a * cxz - 4 * b * cyz + 4 * (a * a * mxx + 2 * a * b * mxy + b * b * myy) + mz * mz
        cov = mxx * myy - mxy * mxy
        a2 = -3 * mz * mz - mzz
        a1 = mzz * mz + 4 * cov * mz - mxz**2 - myz**2 - mz**3
        a0 = mxz**2 * myy + myz**2 * mxx - mzz * cov - 2 * mxz * myz * mxy + mz * mz * cov
        root = np.zeros_like(mz)
        for _ in range(_NEWTON_STEPS):
            slope = a1 + root * (2 * a2 + 12 * mz * root)
            value = a0 + root * (a1 + root * (a2 + root * 4 * mz))
            root = np.clip(root - value / np.where(slope == 0, np.inf, slope), 0, line)
        det = 2 * (root * root - root * mz + cov)
        flat = det <= 1e-14 * mz * mz
        det = np.where(flat, np.inf, det)
        dx, dy = (mxz * (myy - root) - myz * mxy) / det, (myz * (mxx - root) - mxz * mxy) / det
        radius = np.where(flat, np.inf, np.sqrt(dx * dx + dy * dy + mz))
        return Fits(
            weight=m[0],
            x=a + self.middle[0],
            y=b + self.middle[1],
            angle=0.5 * np.arctan2(2 * mxy, mxx - myy),
            line_ms=line,
            cx=a + dx + self.middle[0],
            cy=b + dy + self.middle[1],
            radius=radius,
            circle_ms=np.where(flat, line, root),
        )

    def pieces(self, start: Index, stop: Index, arc: Mask) -> Pieces:
        """The fits as pieces with the sense of travel, their frames near the middle of the stretch."""
        n = len(self.points)
        f = self.fits(start, stop)
        first, last = self.points[start % n], self.points[(stop - 1) % n]
        mid = (start + stop - 1) // 2
        here = self.points[mid % n]
        quarter = np.maximum((stop - start) // 4, 1)  # neighbours alone may run backwards, where points are jagged
        ahead, behind = np.minimum(mid + quarter, stop - 1), np.maximum(mid - quarter, start)
        travel = self.points[ahead % n] - self.points[behind % n]
        # line: its angle, turned round where it runs against the points
        way = np.where(np.cos(f.angle) * (last - first)[:, 0] + np.sin(f.angle) * (last - first)[:, 1] < 0, np.pi, 0.0)
        line = Pieces(np.stack([f.x, f.y], 1), f.angle + way, np.zeros(len(start)), np.zeros(len(start), bool))
        # arc: origin at the foot of its middle point
        curved = np.isfinite(f.radius) & (f.radius < 1 / FLATTEST)
        r = np.where(curved, f.radius, 1.0)
        d = here - np.stack([np.where(curved, f.cx, 0), np.where(curved, f.cy, 0)], 1)
        size = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-9)
        u = d / size[:, None]
        left = travel[:, 0] * u[:, 1] - travel[:, 1] * u[:, 0] < 0  # the centre lies on the left of travel
        turn = np.where(left, 1.0, -1.0)
        angle = np.arctan2(u[:, 0] * turn, -u[:, 1] * turn)
        bent = Pieces(here + (r - size)[:, None] * u, angle, turn / r, np.ones(len(start), bool))
        # an arc too flat to tell from its line starts at the least curvature
        flat = Pieces(line.origin, line.angle, np.full(len(start), FLATTEST), np.ones(len(start), bool))
        both = joined([line, bent, flat])
        k = len(start)
        which = np.arange(k) + np.where(arc, np.where(curved, k, 2 * k), 0)
        chosen = both.take(which)
        return slid(chosen, np.where(chosen.arc, 0.0, along(chosen, (first + last) / 2)))


def running_sums(points: Array, weight: Array) -> RunningSums:
    """Running sums of a loop.

    Args:
        points: (n, 2) in order of travel, mm.
        weight: (n,), 0 for points that have no say.
    """
    middle = points.mean(0)
    x, y = (points - middle).T
    z = x * x + y * y
    rows = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x * z, y * z, z * z]) * weight
    sums = np.zeros((9, 2 * len(x) + 1))
    np.cumsum(np.concatenate([rows, rows], 1), axis=1, out=sums[:, 1:])
    return RunningSums(sums, middle, points)
