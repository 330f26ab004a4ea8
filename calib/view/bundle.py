"""Known points in one photo or several: one camera, one sheet, a pose for each photo, solved together.

Unknowns are the camera (focal length, principal point, k1), the pose of each photo, how the sheet departs from its
drawing, and each point's own place on the sheet, which all photos share. All but the poses have priors. Gauss-Newton
steps; points that fit badly are left out (Huber 1981, chapter 7, on rejecting at several standard deviations).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.view.settling import MAD_TO_SD
from calib.view.view import Prior, View, project, projection_derivative

CAMERA, POSE, SHAPE = 4, 6, 6
"""Parameters of a camera, of a pose, and of a sheet's shape, which is how it departs from its drawing: relative stretch
along x and y, shear (rad), and three bows, mm, which are heights over the plane: z = bow_xx ξ² + bow_xy ξη + bow_yy η²,
with ξ = x / half width, η = y / half height."""


@dataclass(frozen=True, slots=True)
class PointBearer:
    """What is known of the thing that bears the points.

    Attributes:
        half_mm: (2,) half its size, to which bows refer.
        shape: (6,) best values of its shape, see SHAPE; shape_sd: standard deviations, 0 for what is exact.
        point_sd_mm: standard deviation of each point's place, each way.
    """

    half_mm: Array
    shape: Array
    shape_sd: Array
    point_sd_mm: float


def exact(points_mm: Array) -> PointBearer:
    """A plane whose points lie exactly where they are said to."""
    return PointBearer(np.maximum(np.abs(points_mm).max(0), 1.0), np.zeros(SHAPE), np.zeros(SHAPE), 0.0)


@dataclass(frozen=True, slots=True)
class Points:
    """Known points located in one photo.

    Attributes:
        which: (n,) number of each in the sheet's list.
        points_px: (n, 2); sigma_px: (n,) standard deviation each way.
    """

    which: NDArray[np.intp]
    points_px: Array
    sigma_px: Array


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The solution.

    Attributes:
        views: of each photo, with the covariance of its ten parameters.
        camera: (4,) focal length, principal point, k1; camera_covariance: (4, 4).
        shape: (6,) of the sheet, see SHAPE; shape_sd: (6,) afterwards.
        standardised: for each photo (n,) the residuals' lengths in standard deviations.
        used: for each photo (n,) whether a point counted.
        rms_px: for each photo, of the points used, each way.
        spread: by how much the residuals are larger than stated, at least 1; it is in all covariances.
        cost: what was minimised: squares of all residuals and of all departures from the priors, in standard
            deviations.
    """

    views: tuple[View, ...]
    camera: Array
    camera_covariance: Array
    shape: Array
    shape_sd: Array
    standardised: tuple[Array, ...]
    used: tuple[NDArray[np.bool_], ...]
    rms_px: Array
    spread: float
    cost: float


TURNS, ROUNDS = 25, 4
SETTLED = 0.002
"""Last step, in standard deviations of what the solution leaves unsure: seen from straight above, the principal point
and the pose may still slide along together where nothing else comes of it."""
REJECTED = 4.5
"""Residual, in standard deviations each way, beyond which a point does not count."""


def adjust(
    seen: Sequence[Points], points_mm: Array, sheet: PointBearer, prior: Prior, size_px: tuple[int, int]
) -> Adjusted:
    """Camera, poses and sheet from located points.

    Args:
        seen: located points of each photo, eight or more.
        points_mm: (m, 2) all points of the sheet, as drawn.
        sheet: what is known of it.
        prior: of the camera.
        size_px: of the photos.

    Raises:
        numpy.linalg.LinAlgError: the points don't determine the views, or the solution does not settle.
    """
    problem = _Problem(seen, points_mm, sheet, prior)
    poses = [first_pose(points_mm[s.which], s.points_px, prior) for s in seen]
    v = np.r_[prior.camera, np.zeros(SHAPE), np.concatenate(poses)]
    v = np.r_[v, np.zeros(problem.unknowns - len(v))]
    used = np.ones(len(problem.photo), bool)
    for _ in range(ROUNDS):
        v, N = problem.settled(v, used)
        length = np.abs(problem.misfit(v)[0]).reshape(-1, 2).max(1)
        spread = max(1.0, MAD_TO_SD * float(np.median(np.abs(problem.misfit(v)[0].reshape(-1, 2)[used]))))
        now = length < REJECTED * spread
        if (now == used).all():
            break
        used = now
    return problem.judged(v, N, used, spread, size_px)


def first_pose(points_mm: Array, points_px: Array, prior: Prior) -> Array:
    """(6,) pose from (n, 2) points of a plane and their pixels (Collins & Bartoli 2014), the better of two.

    Raises:
        numpy.linalg.LinAlgError: there is none.
    """
    import cv2

    K = np.array([[prior.focal_px, 0, prior.centre_px[0]], [0, prior.focal_px, prior.centre_px[1]], [0, 0, 1]])
    lens = np.array([prior.radial, 0.0, 0.0, 0.0])
    X = np.ascontiguousarray(np.c_[points_mm, np.zeros(len(points_mm))])
    try:
        found, turns, shifts, _ = cv2.solvePnPGeneric(
            X, np.ascontiguousarray(points_px, float), K, lens, flags=cv2.SOLVEPNP_IPPE
        )
    except cv2.error as why:
        raise np.linalg.LinAlgError("no pose fits the points") from why
    if not found:
        raise np.linalg.LinAlgError("no pose fits the points")
    return np.asarray(np.r_[np.ravel(turns[0]), np.ravel(shifts[0])], float)


class _Problem:
    """The observations of all photos in one piece, for the solver."""

    def __init__(self, seen: Sequence[Points], points_mm: Array, sheet: PointBearer, prior: Prior) -> None:
        self.photos, self.sheet, self.points_mm = len(seen), sheet, points_mm
        self.photo = np.concatenate([np.full(len(s.which), k) for k, s in enumerate(seen)])
        self.which = np.concatenate([s.which for s in seen])
        self.points_px = np.concatenate([s.points_px for s in seen])
        self.sigma_px = np.concatenate([s.sigma_px for s in seen])
        self.first_point = CAMERA + SHAPE + POSE * self.photos
        own = 2 * len(points_mm) if sheet.point_sd_mm > 0 else 0
        self.unknowns = self.first_point + own
        # shape and points are counted in their own standard deviations: what is exact then stays put
        loose = np.zeros(POSE * self.photos)
        self.information = np.diag(np.r_[np.zeros(CAMERA), np.ones(SHAPE), loose, np.ones(own)])
        self.information[:CAMERA, :CAMERA] = np.linalg.inv(prior.covariance)
        self.mean = np.r_[prior.camera, np.zeros(self.unknowns - CAMERA)]

    def shape(self, v: Array) -> Array:
        return np.asarray(self.sheet.shape + self.sheet.shape_sd * v[CAMERA : CAMERA + SHAPE])

    def misfit(self, v: Array) -> tuple[Array, Array]:
        """(2n,) residuals in standard deviations, seen less model, and (2n, p) their change."""
        n, u = len(self.photo), self.sheet.shape_sd
        at = self.points_mm[self.which].copy()
        own = self.first_point < self.unknowns
        if own:
            at += self.sheet.point_sd_mm * v[self.first_point :].reshape(-1, 2)[self.which]
        s = self.shape(v)
        x, y = at.T
        xi, eta = (at / self.sheet.half_mm).T
        X = np.stack([x * (1 + s[0]) + y * s[2], y * (1 + s[1]), s[3] * xi**2 + s[4] * xi * eta + s[5] * eta**2], 1)
        zero = np.zeros(n)
        by_shape = np.stack(
            [
                np.stack([x, zero, y, zero, zero, zero], 1),
                np.stack([zero, y, zero, zero, zero, zero], 1),
                np.stack([zero, zero, zero, xi**2, xi * eta, eta**2], 1),
            ],
            1,
        )
        r, A = np.empty((n, 2)), np.zeros((n, 2, self.unknowns))
        for k in range(self.photos):
            rows = np.flatnonzero(self.photo == k)
            first = CAMERA + SHAPE + POSE * k
            q = np.r_[v[first : first + POSE], v[:CAMERA]]
            r[rows] = self.points_px[rows] - project(q, X[rows])
            by_view, by_point = projection_derivative(q, X[rows])
            A[rows, :, :CAMERA] = by_view[:, :, POSE:]
            A[rows, :, CAMERA : CAMERA + SHAPE] = by_point @ by_shape[rows] * u
            A[rows, :, first : first + POSE] = by_view[:, :, :POSE]
            if own:
                for axis in (0, 1):
                    column = self.first_point + 2 * self.which[rows] + axis
                    A[rows, :, column] = by_point[:, :, axis] * self.sheet.point_sd_mm
        weight = 1 / self.sigma_px
        return (r * weight[:, None]).ravel(), (-A * weight[:, None, None]).reshape(2 * n, -1)

    def settled(self, v: Array, used: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Solution and normal matrix with the points that count."""
        count = np.repeat(used, 2)
        for _ in range(TURNS):
            r, A = self.misfit(v)
            N = A[count].T @ A[count] + self.information
            step = np.linalg.solve(N, -(A[count].T @ r[count]) - self.information @ (v - self.mean))
            v = v + step
            if not np.all(np.isfinite(v)):
                break
            if float(step @ N @ step) < SETTLED**2:
                return v, N
        raise np.linalg.LinAlgError("the views do not settle")

    def judged(self, v: Array, N: Array, used: NDArray[np.bool_], spread: float, size_px: tuple[int, int]) -> Adjusted:
        if v[0] <= 0:
            raise np.linalg.LinAlgError("a focal length below nought")
        # what the points say is less sure by their spread; priors are as sure as they were
        data = (N - self.information) / spread**2
        covariance = np.linalg.inv(data + self.information)
        r = self.misfit(v)[0].reshape(-1, 2)
        views, rms = [], []
        for k in range(self.photos):
            at = np.r_[CAMERA + SHAPE + POSE * k + np.arange(POSE), np.arange(CAMERA)]
            views.append(View(v[at], covariance[np.ix_(at, at)], size_px))
            mine = used & (self.photo == k)
            rms.append(float(np.sqrt(((r[mine] * self.sigma_px[mine, None]) ** 2).mean())) if mine.any() else np.inf)
        by_photo = [self.photo == k for k in range(self.photos)]
        length = np.abs(r).max(1)
        off = v - self.mean
        cost = np.minimum((r**2).sum(1) / spread**2, 2 * REJECTED**2).sum() + off @ self.information @ off
        sd = np.sqrt(np.diag(covariance))[CAMERA : CAMERA + SHAPE] * self.sheet.shape_sd
        return Adjusted(
            tuple(views),
            v[:CAMERA],
            covariance[:CAMERA, :CAMERA],
            self.shape(v),
            sd,
            tuple(length[b] for b in by_photo),
            tuple(used[b] for b in by_photo),
            np.array(rms),
            spread,
            float(cost),
        )
