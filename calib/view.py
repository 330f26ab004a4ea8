"""The view: where the camera stood over the reference's plane, its focal length and lens term, with their covariance.

World: millimetres, origin at the reference's centre, x along its long side, y up, z towards the camera; the plane that
reference and part lie on is z = 0. The photo follows a pinhole with one radial coefficient:

    p = R X + t;  x = p_x / p_z, y = p_y / p_z;  u = f x (1 + k1 r²) + cx,  v = f y (1 + k1 r²) + cy,  r² = x² + y²

with pixel centres at whole numbers (Brown 1971, first radial term).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NAMES = ("turn_x", "turn_y", "turn_z", "shift_x", "shift_y", "shift_z", "focal", "centre_x", "centre_y", "radial")
"""The view's parameters: rotation vector (rad), translation (mm), focal length and principal point (px), k1."""


def rotation(vector_rad: Array) -> Array:
    """(3, 3) rotation matrix of a rotation vector (Rodrigues 1840)."""
    a = float(np.linalg.norm(vector_rad))
    if a < 1e-12:
        return np.eye(3)
    k = vector_rad / a
    K = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    return np.asarray(np.eye(3) + np.sin(a) * K + (1 - np.cos(a)) * K @ K)


def project(parameters: Array, points_mm: Array) -> Array:
    """(n, 2) pixels of (n, 3) world points under the ten parameters of NAMES."""
    p = points_mm @ rotation(parameters[:3]).T + parameters[3:6]
    q = p[:, :2] / p[:, 2:]
    q = q * (1 + parameters[9] * (q**2).sum(1, keepdims=True))
    return np.asarray(q * parameters[6] + parameters[7:9])


def derivative(function: Callable[[Array], Array], at: Array, steps: Array) -> Array:
    """Central differences: (..., p) change of function's value with each of its p arguments."""
    columns = []
    for i, h in enumerate(steps):
        d = np.zeros(len(at))
        d[i] = h
        columns.append((function(at + d) - function(at - d)) / (2 * h))
    return np.stack(columns, -1)


STEPS = np.array([1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-2, 1e-2, 1e-2, 1e-6])
"""Steps for differences, well above rounding and well below curvature."""


@dataclass(frozen=True, slots=True)
class View:
    """A solved view.

    Attributes:
        parameters: (10,) see NAMES.
        covariance: (10, 10).
        size_px: width and height of the photo.
    """

    parameters: Array
    covariance: Array
    size_px: tuple[int, int]

    @property
    def centre_mm(self) -> Array:
        """(3,) position of the camera; its first two are the foot point, its third the height over the plane."""
        return np.asarray(-rotation(self.parameters[:3]).T @ self.parameters[3:6])

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plane's normal."""
        return float(np.degrees(np.arccos(np.clip(-rotation(self.parameters[:3])[2, 2], -1, 1))))

    def pixels(self, points_mm: Array, height_mm: Array | float = 0.0) -> Array:
        """(n, 2) pixels of (n, 2) points at a height over the plane."""
        return project(self.parameters, np.c_[points_mm, np.broadcast_to(height_mm, len(points_mm))])

    def plane(self, points_px: Array, height_mm: Array | float = 0.0) -> Array:
        """(n, 2) points on the plane at a height, mm, of (n, 2) pixels: the inverse of `pixels`."""
        return to_plane(self.parameters, points_px, height_mm)

    def plane_sensitivity(self, points_px: Array, height_mm: Array | float = 0.0) -> Array:
        """(n, 2, 10) change of `plane` with each parameter."""
        return derivative(lambda q: to_plane(q, points_px, height_mm), self.parameters, STEPS)

    def mm_per_px(self, point_mm: Array) -> float:
        """Size of a pixel on the plane at a point."""
        a = self.pixels(point_mm + np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]]))
        return float(1 / np.sqrt(abs(np.linalg.det(np.stack([a[1] - a[0], a[3] - a[2]])))))


def to_plane(parameters: Array, points_px: Array, height_mm: Array | float = 0.0) -> Array:
    """(n, 2) points where the rays of (n, 2) pixels meet the plane at a height, mm."""
    d = (points_px - parameters[7:9]) / parameters[6]
    r = np.hypot(d[:, 0], d[:, 1])
    k = parameters[9]
    u = r.copy()
    for _ in range(6):
        u -= (u * (1 + k * u**2) - r) / (1 + 3 * k * u**2)
    d = d * np.where(r > 0, u / np.maximum(r, 1e-12), 1)[:, None]
    R = rotation(parameters[:3])
    ray = np.c_[d, np.ones(len(d))] @ R
    C = -R.T @ parameters[3:6]
    s = (np.asarray(height_mm) - C[2]) / ray[:, 2]
    return np.asarray(C[:2] + s[:, None] * ray[:, :2])


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a camera before its photo is looked at: best values and standard deviations."""

    focal_px: float
    focal_relative: float
    centre_px: tuple[float, float]
    centre_sd_px: float
    radial: float = 0.0
    radial_sd: float = 0.02


def camera_prior(size_px: tuple[int, int], focal_35mm: float | None) -> Prior:
    """Prior of a phone's camera.

    FocalLengthIn35mmFilm is rounded to whole millimetres, and makers relate it either to the frame's long side (36 mm)
    or to its diagonal (43.27 mm); the difference goes into the uncertainty. Without it phones' main cameras lie about
    26 mm (common practice, no source), a second camera up to twice that.
    """
    w, h = size_px
    by_side, by_diagonal = max(w, h) / 36.0, float(np.hypot(w, h)) / 43.2666
    if focal_35mm and focal_35mm > 0:
        focal = focal_35mm * (by_side + by_diagonal) / 2
        relative = float(np.hypot(abs(by_diagonal - by_side) / (by_side + by_diagonal), 0.29 / focal_35mm))
        relative = float(np.hypot(relative, 0.01))
    else:
        focal, relative = 28.0 * by_side, 0.22
    return Prior(focal, relative, ((w - 1) / 2, (h - 1) / 2), 0.01 * w / 2)


@dataclass(frozen=True, slots=True)
class SideEdges:
    """Located edge points along the straight run of one side of a rectangle.

    Attributes:
        side: 0 to 3: bottom, right, top, left.
        along: (n,) position along the side, -0.5 to 0.5 of its length, counter-clockwise.
        upper: whether the points belong to the upper rim (else to the lower one).
        points_px: (n, 2) located points; normals_px: (n, 2) the direction they were located in, outwards.
        sigma_px: (n,) standard deviation of each.
    """

    side: int
    along: Array
    upper: bool
    points_px: Array
    normals_px: Array
    sigma_px: Array


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Nominal size of a flat rectangular reference, with standard deviations: millimetres."""

    width_mm: float
    height_mm: float
    thickness_mm: float
    width_sd_mm: float
    height_sd_mm: float
    thickness_sd_mm: float
    corner_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Solution:
    """A least-squares view with what is needed to judge it.

    Attributes:
        view: the camera; rectangle: the reference's size as adjusted.
        chi2: weighted sum of squares, priors included; residuals_px: per side, of the points.
        size_sd_mm: posterior standard deviations of width and height.
    """

    view: View
    rectangle: Rectangle
    chi2: float
    residuals_px: tuple[Array, ...]
    size_sd_mm: tuple[float, float]


SIDE_SD_PX, BOW_SD_PX = 0.12, 0.08
"""Standard deviations of what all points of one side have in common, shadow and rim seen a little wrongly: an offset of
the whole side, and a bow of its middle against its ends. Found with rendered photos."""


def side_points(side: int, along: Array, width_mm: float, height_mm: float, z_mm: float) -> Array:
    """(n, 3) points on a side of the rectangle, counter-clockwise from the bottom side."""
    w, h = width_mm / 2, height_mm / 2
    n = np.ones_like(along)
    x, y = [
        (along * 2 * w, -h * n),
        (w * n, along * 2 * h),
        (-along * 2 * w, h * n),
        (-w * n, -along * 2 * h),
    ][side]
    return np.stack([x, y, z_mm * n], 1)


def solve(
    sides: list[SideEdges], rectangle: Rectangle, prior: Prior, start: Array, size_px: tuple[int, int]
) -> Solution:
    """View and reference size from located sides: Gauss-Newton with priors and Tukey weights.

    Args:
        sides: located points of the four sides.
        rectangle: the reference's nominal size.
        prior: of the camera.
        start: (10,) first guess.
        size_px: of the photo.

    Raises:
        numpy.linalg.LinAlgError: the sides don't determine a view.
    """
    q = np.r_[start, rectangle.width_mm, rectangle.height_mm, rectangle.thickness_mm, np.zeros(8)]
    mean = np.r_[np.zeros(6), prior.focal_px, prior.centre_px, prior.radial, q[10], q[11], q[12], np.zeros(8)]
    sd = np.r_[
        np.full(6, np.inf),
        prior.focal_px * prior.focal_relative,
        prior.centre_sd_px,
        prior.centre_sd_px,
        prior.radial_sd,
        rectangle.width_sd_mm,
        rectangle.height_sd_mm,
        max(rectangle.thickness_sd_mm, 1e-6),
        np.full(4, SIDE_SD_PX),
        np.full(4, BOW_SD_PX),
    ]
    steps = np.r_[STEPS, 1e-3, 1e-3, 1e-3, np.full(8, 1e-3)]
    sigma = np.concatenate([s.sigma_px for s in sides])

    def misfit(v: Array) -> Array:
        out = []
        for s in sides:
            X = side_points(s.side, s.along, v[10], v[11], v[12] if s.upper else 0.0)
            out.append(((s.points_px - project(v[:10], X)) * s.normals_px).sum(1) - v[13 + s.side] - v[17 + s.side] * (1 - 8 * s.along**2))
        return np.concatenate(out)

    weight = np.ones_like(sigma)
    inverse = np.where(np.isfinite(sd), 1 / sd**2, 0.0)
    for turn in range(12):
        r = misfit(q)
        A = derivative(misfit, q, steps)
        W = weight / sigma**2
        N = A.T @ (A * W[:, None]) + np.diag(inverse)
        step = np.linalg.solve(N, -(A.T @ (W * r)) - inverse * (q - mean))
        q = q + step
        scaled = np.abs(misfit(q)) / sigma
        spread = max(1.0, 1.48 * float(np.median(scaled)))
        weight = np.clip(1 - (scaled / (4.5 * spread)) ** 2, 0.0, None) ** 2
        if turn > 3 and np.abs(step / steps).max() < 0.1:
            break
    r = misfit(q)
    A = derivative(misfit, q, steps)
    W = weight / (sigma * spread) ** 2
    cov = np.linalg.inv(A.T @ (A * W[:, None]) + np.diag(inverse))
    chi2 = float((W * r**2).sum() + (inverse * (q - mean) ** 2).sum())
    at = np.cumsum([0, *(len(s.along) for s in sides)])
    return Solution(
        View(q[:10], cov[:10, :10], size_px),
        replace(rectangle, width_mm=float(q[10]), height_mm=float(q[11]), thickness_mm=float(q[12])),
        chi2,
        tuple(r[a:b] for a, b in pairwise(at)),
        (float(np.sqrt(cov[10, 10])), float(np.sqrt(cov[11, 11]))),
    )


def first_guess(corners_px: Array, rectangle: Rectangle, prior: Prior) -> list[Array]:
    """(10,) candidate parameters from four corners, counter-clockwise from bottom left as seen on the reference.

    A rectangle seen from afar has two poses that explain it (Collins & Bartoli 2014); both are returned, better first.
    """
    import cv2

    w, h, z = rectangle.width_mm / 2, rectangle.height_mm / 2, rectangle.thickness_mm
    X = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]])
    K = np.array([[prior.focal_px, 0, prior.centre_px[0]], [0, prior.focal_px, prior.centre_px[1]], [0, 0, 1]])
    found: Any = cv2.solvePnPGeneric(X, corners_px.astype(float), K, None, flags=cv2.SOLVEPNP_IPPE)
    out = []
    for vector, shift in zip(found[1], found[2], strict=True):
        t = shift.ravel() - rotation(vector.ravel()) @ np.array([0, 0, z])
        out.append(np.r_[vector.ravel(), t, prior.focal_px, prior.centre_px, prior.radial])
    return out
