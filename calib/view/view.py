"""The view: where the camera stood over the reference's plane, its focal length and lens term, with their covariance.

World: millimetres, origin at the reference's centre, x along its long side, y up, z towards the camera; the plane that
reference and part lie on is z = 0. The photo follows a pinhole with one radial coefficient:

    p = R X + t;  x = p_x / p_z, y = p_y / p_z;  u = f x (1 + k1 r²) + cx,  v = f y (1 + k1 r²) + cy,  r² = x² + y²

with pixel centres at whole numbers (Brown 1971, first radial term).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.view.settling import settle

NAMES = ("turn_x", "turn_y", "turn_z", "shift_x", "shift_y", "shift_z", "focal", "centre_x", "centre_y", "radial")
"""The view's parameters: rotation vector (rad), translation (mm), focal length and principal point (px), k1."""
CAMERA = slice(6, 10)
"""Where the camera stands among them."""
PRIOR_NAMES = ("focal", "radial", "width", "height", "thickness")
"""What is known beforehand of the camera, and of the reference's own size."""


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


def projection_derivative(parameters: Array, points_mm: Array) -> tuple[Array, Array]:
    """Change of `project` with the parameters, (n, 2, 10), and with the points themselves, (n, 2, 3)."""
    R = rotation(parameters[:3])
    f, k = parameters[6], parameters[9]
    p = points_mm @ R.T + parameters[3:6]
    q = p[:, :2] / p[:, 2:]
    r2 = (q**2).sum(1)
    by_q = (1 + k * r2)[:, None, None] * np.eye(2) + 2 * k * q[:, :, None] * q[:, None, :]
    q_by_p = np.concatenate([np.broadcast_to(np.eye(2), (len(p), 2, 2)), -q[:, :, None]], 2) / p[:, 2, None, None]
    by_p = f * by_q @ q_by_p
    turns = derivative(lambda v: rotation(v), parameters[:3], np.full(3, 1e-6))
    by_turn = np.einsum("nij,jkl,nk->nil", by_p, turns, points_mm)
    by_focal = q * (1 + k * r2)[:, None]
    by_centre = np.broadcast_to(np.eye(2), (len(p), 2, 2))
    by_radial = f * q * r2[:, None]
    columns = [by_turn, by_p, by_focal[:, :, None], by_centre, by_radial[:, :, None]]
    return np.concatenate(columns, 2), by_p @ R


def derivative(function: Callable[[Array], Array], at: Array, steps: Array) -> Array:
    """Central differences: (..., p) change of function's value with each of its p arguments."""
    columns = []
    for i, h in enumerate(steps):
        d = np.zeros(len(at))
        d[i] = h
        columns.append((function(at + d) - function(at - d)) / (2 * h))
    return np.stack(columns, -1)


@dataclass(frozen=True, slots=True)
class View:
    """A solved view.

    Attributes:
        parameters: (10,) see NAMES.
        covariance: (10, 10).
        size_px: width and height of the photo.
        by_prior: (10, 5) what a standard deviation of each thing in PRIOR_NAMES does to the parameters. It is part of
            the covariance, and the part that photos of one reference, or by one camera, have in common. None where
            it is not known.
    """

    parameters: Array
    covariance: Array
    size_px: tuple[int, int]
    by_prior: Array | None = None

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
        """(n, 2, 10) change of `plane` with each parameter: the point must move so that its pixel stays."""
        points = np.c_[self.plane(points_px, height_mm), np.broadcast_to(height_mm, len(points_px))]
        by_parameter, by_point = projection_derivative(self.parameters, points)
        return np.asarray(-np.linalg.solve(by_point[:, :, :2], by_parameter), float)

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


RADIAL, RADIAL_SD = 0.02, 0.035
"""k1 of phones' main cameras, as their photos come: corrected by the maker or not, mean and standard deviation. Makers
that correct leave about 0; calibrations that people published, several terms taken together over the inner half of the
frame, come to -0.01, 0.04, 0.06 and 0.08 (reports and calibration files of phones in public repositories, as read in
2026); eight photos of one phone solved by cards to 0.03 to 0.05."""
FURTHER_SHARE = 0.25
"""What a lens does beyond its first term, as a share of what it does by that, standard deviation."""
UNLIKE = 1.5
"""How many standard deviations off a lens is unlike others."""
BROAD = 0.1
"""A relative standard deviation of a focal length from which on its logarithm is what is known."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a camera before its photo is looked at: best values and standard deviations.

    `correlation` is that of focal length, centre's x and y, and k1, (4, 4); None where they are known independently.
    """

    focal_px: float
    focal_relative: float
    centre_px: tuple[float, float]
    centre_sd_px: float
    radial: float = RADIAL
    radial_sd: float = RADIAL_SD
    correlation: tuple[tuple[float, ...], ...] | None = None

    @property
    def camera(self) -> Array:
        """(4,) best values of focal length, centre and k1."""
        return np.array([self.focal_px, *self.centre_px, self.radial])

    @property
    def covariance(self) -> Array:
        """(4, 4) of the same."""
        sd = np.array([self.focal_px * self.focal_relative, self.centre_sd_px, self.centre_sd_px, self.radial_sd])
        return np.asarray(np.outer(sd, sd) * (np.eye(4) if self.correlation is None else np.array(self.correlation)))

    def near(self, focal_px: float) -> Prior:
        """As it is near a focal length: one that is hardly known is known by its logarithm."""
        if self.focal_relative < BROAD:
            return self
        by_logarithm = focal_px * (1 - float(np.log(focal_px / self.focal_px)))
        return replace(self, focal_px=by_logarithm, focal_relative=abs(self.focal_relative * focal_px / by_logarithm))

    def of_lens(self, radial: float) -> Prior:
        """As it is for a lens unlike all that were known: what is known of others then says little of it."""
        return replace(self, radial_sd=max(self.radial_sd, abs(radial - self.radial) / UNLIKE))

    def beside(self, sd: Array) -> Array:
        """(p, p) information of p unknowns with independent priors, the camera's four among them as CAMERA has them.

        Args:
            sd: (p,) standard deviations of the others; infinite for none.
        """
        out = np.diag(np.where(np.isfinite(sd), 1 / sd**2, 0.0))
        out[CAMERA, CAMERA] = np.linalg.inv(self.covariance)
        return out


FRAME_MM, FRAME_DIAGONAL_MM = 36.0, 43.2666
"""Long side and diagonal of the 24 × 36 mm frame."""
ROUNDED_MM, FOCAL_RELATIVE = 0.29, 0.01
"""Standard deviation of what is rounded to whole millimetres (1 / √12), and of focal lengths as told (chosen)."""
UNKNOWN_FOCAL_MM, UNKNOWN_RELATIVE = 31.0, 0.32
"""Mean and relative spread of phones' focal lengths (common practice, no source; see below)."""
CENTRE_SHARE = 0.01
"""How far the optical axis passes from the picture's middle, standard deviation, of half its width (chosen)."""


def camera_prior(size_px: tuple[int, int], focal_35mm: float | None) -> Prior:
    """Prior of a phone's camera.

    FocalLengthIn35mmFilm is rounded to whole millimetres, and makers relate it either to the frame's long side (36 mm)
    or to its diagonal (43.27 mm); the difference goes into the uncertainty. Without it: phones' main cameras lie about
    26 mm, a second one, that takes a third of such photos, about twice as far (common practice, no source): mean and
    standard deviation of the logarithm.
    """
    w, h = size_px
    by_side, by_diagonal = max(w, h) / FRAME_MM, float(np.hypot(w, h)) / FRAME_DIAGONAL_MM
    if focal_35mm and focal_35mm > 0:
        focal = focal_35mm * (by_side + by_diagonal) / 2
        relative = float(np.hypot(abs(by_diagonal - by_side) / (by_side + by_diagonal), ROUNDED_MM / focal_35mm))
        relative = float(np.hypot(relative, FOCAL_RELATIVE))
    else:
        focal, relative = UNKNOWN_FOCAL_MM * by_side, UNKNOWN_RELATIVE
    return Prior(focal, relative, ((w - 1) / 2, (h - 1) / 2), CENTRE_SHARE * w / 2)


SHAPES = 3
"""What a side's points may have in common: all of it off, its ends off the two ways, its middle against its ends."""
COMMON_SD_PX, BOW_SD_PX = 0.12, 0.08
"""Standard deviations of a side's offset and bow: shadow and rim seen a little wrongly. Found with rendered photos."""


def shapes(along: Array) -> Array:
    """(n, SHAPES) the shapes of a side at positions -0.5 to 0.5 along it, each at most 1."""
    return np.stack([np.ones_like(along), 2 * along, 1 - 8 * along**2], 1)


def shape_covariance(offset_sd_px: float, slope_sd_px: float = 0.0, bow_sd_px: float = BOW_SD_PX) -> Array:
    """(3, 3) covariance of a side's shapes, where one has nothing to do with the other."""
    return np.diag(np.array([offset_sd_px, slope_sd_px, bow_sd_px]) ** 2)


@dataclass(frozen=True, slots=True)
class SideEdges:
    """Located edge points along the straight run of one side of a rectangle.

    Attributes:
        side: 0 to 3: bottom, right, top, left.
        along: (n,) position along the side, -0.5 to 0.5 of its length, counter-clockwise.
        upper: whether the points belong to the upper rim (else to the lower one).
        points_px: (n, 2) located points; normals_px: (n, 2) the direction they were located in, outwards.
        sigma_px: (n,) standard deviation of each.
        shape_px2: (3, 3) covariance of what all of them have in common, see `SHAPES`.
    """

    side: int
    along: Array
    upper: bool
    points_px: Array
    normals_px: Array
    sigma_px: Array
    shape_px2: Array = field(default_factory=lambda: shape_covariance(COMMON_SD_PX))


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
        chi2, loss: see `calib.view.settling.Settled`; residuals_px: per side, of the points.
        size_sd_mm: posterior standard deviations of width and height.
        strain: how far camera, size and shapes of the sides are from what was known of them, see `REDUNDANT`.
    """

    view: View
    rectangle: Rectangle
    chi2: float
    loss: float
    residuals_px: tuple[Array, ...]
    size_sd_mm: tuple[float, float]
    strain: float


FOCAL_TURNS = 4
"""How often a view is solved until what is known of a focal length is known near the right one."""
OF_SHAPES = 13
"""Where the sides' shapes begin among the unknowns: after the view's ten and the rectangle's three."""
LEAST_SHAPE_PX = 1e-4
"""Standard deviation that stands for none."""
REDUNDANT = 12 - 6
"""What four sides tell beyond a pose: each has a place, a direction and a bow. How far camera, size, offsets and bows
must be strained for the sides to agree says by how much the view's covariance is too small (Birge 1932): a shadow or a
print was taken for a side, or the lens has more than one term."""


def side_points(side: int, along: Array, width_mm: float, height_mm: float, z_mm: float) -> Array:
    """(n, 3) points on a side of the rectangle, counter-clockwise from the bottom side."""
    x, y = _side(side, along)
    return np.stack([x * width_mm, y * height_mm, np.full_like(along, z_mm)], 1)


def _side(side: int, along: Array) -> tuple[Array, Array]:
    """Points on a side as shares of width and height."""
    half = np.full_like(along, 0.5)
    return [(along, -half), (half, along), (-along, half), (-half, -along)][side]


@dataclass(frozen=True, slots=True)
class _SidePoints:
    """All sides' points in one piece, for the solver."""

    side: NDArray[np.intp]
    x: Array
    y: Array
    upper: Array
    shapes: Array
    points_px: Array
    normals_px: Array
    sigma_px: Array

    @classmethod
    def of(cls, sides: list[SideEdges]) -> _SidePoints:
        x, y = (np.concatenate(c) for c in zip(*(_side(s.side, s.along) for s in sides), strict=True))
        return cls(
            np.concatenate([np.full(len(s.along), s.side) for s in sides]),
            x,
            y,
            np.concatenate([np.full(len(s.along), float(s.upper)) for s in sides]),
            np.concatenate([shapes(s.along) for s in sides]),
            *(np.concatenate([getattr(s, k) for s in sides]) for k in ("points_px", "normals_px", "sigma_px")),
        )

    def misfit(self, v: Array) -> Array:
        """(n,) located points less the model's, along the normals; v: view, size (3), each side's shapes."""
        X = np.stack([self.x * v[10], self.y * v[11], self.upper * v[12]], 1)
        r = ((self.points_px - project(v[:10], X)) * self.normals_px).sum(1)
        return np.asarray(r - (self.shapes * v[OF_SHAPES:].reshape(4, SHAPES)[self.side]).sum(1))

    def derivative(self, v: Array) -> Array:
        """(n, 25) change of `misfit`."""
        X = np.stack([self.x * v[10], self.y * v[11], self.upper * v[12]], 1)
        by_view, by_point = projection_derivative(v[:10], X)
        along = np.concatenate([by_view, by_point * np.stack([self.x, self.y, self.upper], 1)[:, None]], 2)
        A = np.zeros((len(X), len(v)))
        A[:, :OF_SHAPES] = -np.einsum("nk,nkp->np", self.normals_px, along)
        A[np.arange(len(X))[:, None], OF_SHAPES + SHAPES * self.side[:, None] + np.arange(SHAPES)] = -self.shapes
        return A


def solve(
    sides: list[SideEdges], rectangle: Rectangle, prior: Prior, start: Array, size_px: tuple[int, int]
) -> Solution:
    """View and reference size from located sides.

    Args:
        sides: located points of the four sides.
        rectangle: the reference's nominal size.
        prior: of the camera.
        start: (10,) first guess.
        size_px: of the photo.

    Raises:
        numpy.linalg.LinAlgError: the sides don't determine a view, or it does not settle.
    """
    seen = _SidePoints.of(sides)
    size = np.array([rectangle.width_mm, rectangle.height_mm, rectangle.thickness_mm])
    size_sd = [rectangle.width_sd_mm, rectangle.height_sd_mm, max(rectangle.thickness_sd_mm, 1e-6)]
    q = np.r_[start, size, np.zeros(4 * SHAPES)]
    mean = np.r_[np.zeros(6), prior.camera, size, np.zeros(4 * SHAPES)]
    sd = np.r_[np.full(10, np.inf), size_sd, np.full(4 * SHAPES, np.inf)]
    known_of_shapes = np.zeros((len(q), len(q)))
    for s in sides:
        at = OF_SHAPES + SHAPES * s.side + np.arange(SHAPES)
        known_of_shapes[np.ix_(at, at)] = np.linalg.inv(s.shape_px2 + LEAST_SHAPE_PX**2 * np.eye(SHAPES))
    for _ in range(FOCAL_TURNS if prior.focal_relative > BROAD else 1):
        known = prior.near(float(q[6]))
        mean[CAMERA], information = known.camera, known.beside(sd) + known_of_shapes
        settled = settle(seen, q, mean, information)
        q = settled.values
    q, cov, r = settled.values, settled.covariance, settled.residuals_px
    ends = np.cumsum([0, *(len(s.along) for s in sides)])
    own_size = cov[:10, 10:13] / sd[10:13]  # the estimate's change with its priors
    strain = float((q - mean) @ information @ (q - mean)) / REDUNDANT
    by_prior = np.c_[cov[:10, CAMERA] @ _known_of_camera(known), own_size]
    return Solution(
        View(q[:10], max(1.0, strain) * of_further_terms(cov[:10, :10], q[9], prior), size_px, by_prior),
        replace(rectangle, width_mm=float(q[10]), height_mm=float(q[11]), thickness_mm=float(q[12])),
        settled.chi2,
        settled.loss,
        tuple(r[a:b] for a, b in pairwise(ends)),
        (float(np.sqrt(cov[10, 10])), float(np.sqrt(cov[11, 11]))),
        strain,
    )


def of_further_terms(covariance: Array, radial: float, prior: Prior) -> Array:
    """(10, 10) covariance of a view, with what the lens's further terms may do to it.

    They are not solved for: a card or a sheet hardly tells them. Where phones' lenses have been calibrated they came to
    a quarter of the first term's effect over the frame (the calibrations named at `RADIAL`), which counts as doubt of
    that. A profile's term was found together with them.
    """
    if prior.radial_sd < RADIAL_SD:
        return covariance
    along = covariance[:, 9] / covariance[9, 9]
    return np.asarray(covariance + (FURTHER_SHARE * radial) ** 2 * np.outer(along, along))


def _known_of_camera(prior: Prior) -> Array:
    """(4, 2) pull on the camera's equations of a standard deviation of the focal length, and of the lens's own rest.

    What goes along with a focal length goes along here (Cholesky's factor, with the lens next to it).
    """
    order = [0, 3, 1, 2]
    covariance = prior.covariance
    root = np.empty((4, 4))
    root[order] = np.linalg.cholesky(covariance[np.ix_(order, order)])
    return np.asarray(np.linalg.solve(covariance, root[:, :2]))


def first_guess(corners_px: Array, rectangle: Rectangle, prior: Prior) -> list[Array]:
    """(10,) candidate parameters from four corners, counter-clockwise from bottom left as seen on the reference.

    A rectangle seen from afar has two poses that explain it (Collins & Bartoli 2014); both are returned, better first.
    """
    import cv2

    w, h, z = rectangle.width_mm / 2, rectangle.height_mm / 2, rectangle.thickness_mm
    X = np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]])
    K = np.array([[prior.focal_px, 0, prior.centre_px[0]], [0, prior.focal_px, prior.centre_px[1]], [0, 0, 1]])
    lens = np.array([prior.radial, 0.0, 0.0, 0.0])
    found: Any = cv2.solvePnPGeneric(X, corners_px.astype(float), K, lens, flags=cv2.SOLVEPNP_IPPE)
    out = []
    for vector, shift in zip(found[1], found[2], strict=True):
        t = shift.ravel() - rotation(vector.ravel()) @ np.array([0, 0, z])
        out.append(np.r_[vector.ravel(), t, prior.focal_px, prior.centre_px, prior.radial])
    return out
