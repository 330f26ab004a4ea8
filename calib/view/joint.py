"""One view from several rectangles that lie in one plane: their sides, and what is known of each one's size.

The first rectangle defines the frame, see `calib.view.view`; where the others lie in the plane (x, y, turn) is unknown.
Beside the offset and the bow that optics give a side, a side of something cut is a little askew, bowed and wavy itself:
what its points have in common must not pass for so many independent witnesses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.view.settling import settle
from calib.view.view import (
    BROAD,
    CAMERA,
    REDUNDANT,
    SHAPES,
    Prior,
    Rectangle,
    SideEdges,
    View,
    of_further_terms,
    project,
    projection_derivative,
    shapes,
    side_points,
)

MODES = 7
"""How many shapes a cut side may have: all of it off, a slope, a bow, then waves of ever shorter length. A side that is
hollow between its corners is off and bowed."""
VIEW, OWN, PLACE = 10, 7 + 4 * MODES, 3
"""How many unknowns a view has, a rectangle (3 of its size, 4 offsets, each side's modes), a place in the plane."""
FALLING = np.array([0.7, 1.0, 1.5, *(2 / k for k in range(3, MODES))])
"""Standard deviations of the modes, in those of the first."""
SHAPE_TURNS, ALIKE = 4, 1.05
"""How often all is solved again with sides as much worse cut, or more curled, than was thought as they turned out to be
(a component of variance, estimated), and with what is known of a focal length near the right one."""
UNSEEN = SideEdges(0, np.empty(0), True, np.empty((0, 2)), np.empty((0, 2)), np.empty(0))
"""A side without points."""
NONE = 1e-4
"""Standard deviation that stands for none."""


@dataclass(frozen=True, slots=True)
class LyingRectangle:
    """A rectangle that lies in the plane.

    Attributes:
        sides: located points of its four sides.
        rectangle: its nominal size.
        cut_sd_mm: how far a side's ends and its middle stray from the straight and square line, standard deviation: at
            least, as sides that stray farther are seen to. 0 for sides that are straight.
        base_mm: height of its underside over the plane.
        place: (3,) x, y, mm, and turn, rad, in the frame of the first; first guess.
    """

    sides: tuple[SideEdges, ...]
    rectangle: Rectangle
    cut_sd_mm: float = 0.0
    base_mm: float = 0.0
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Placed:
    """A rectangle as adjusted.

    Attributes:
        rectangle: its size.
        size_covariance: (2, 2) of width and height.
        place: (3,) x, y and turn.
        residuals: per side, of its points, in units of one point's standard deviation.
    """

    rectangle: Rectangle
    size_covariance: Array
    place: Array
    residuals: tuple[Array, ...]


@dataclass(frozen=True, slots=True)
class JointView:
    """The view, the rectangles in it in the order given, and by what solutions are compared, see
    `calib.view.settling.Settled`."""

    view: View
    bodies: tuple[Placed, ...]
    loss: float


def modes(along: Array) -> Array:
    """(n, m) shapes of a side at positions -0.5 to 0.5 along it, each at most 1."""
    waves = np.cos(np.arange(SHAPES, MODES) * np.pi * (along[:, None] + 0.5))
    return np.concatenate([shapes(along), waves], 1)


def placed(points_mm: Array, place: Array) -> Array:
    """(n, 2) points of a rectangle's own frame in that of the first one."""
    c, s = np.cos(place[2]), np.sin(place[2])
    return np.asarray(points_mm @ np.array([[c, s], [-s, c]]) + place[:2])


@dataclass(frozen=True, slots=True)
class _BodyPoints:
    """All points of one body in one piece, for the solver.

    Attributes:
        shares: (n, 2) where on the rectangle, as shares of width and height; upper: (n,) 1 on the upper rim.
        own: (n, 4 + 4 m) what offsets and modes of the four sides do to each.
        points_px, normals_px: (n, 2) as located.
    """

    shares: Array
    upper: Array
    own: Array
    points_px: Array
    normals_px: Array

    @classmethod
    def of(cls, sides: tuple[SideEdges, ...]) -> _BodyPoints:
        own = []
        for s in sides:
            block = np.zeros((len(s.along), OWN - 3))
            block[:, s.side] = 1
            block[:, 4 + MODES * s.side : 4 + MODES * (s.side + 1)] = modes(s.along)
            own.append(block)
        return cls(
            np.concatenate([side_points(s.side, s.along, 1.0, 1.0, 0.0)[:, :2] for s in sides]),
            np.concatenate([np.full(len(s.along), float(s.upper)) for s in sides]),
            np.concatenate(own),
            np.concatenate([s.points_px for s in sides]),
            np.concatenate([s.normals_px for s in sides]),
        )


class _AllPoints:
    """All points of all bodies, for `settle`."""

    def __init__(self, bodies: list[LyingRectangle]) -> None:
        self.bases_mm = [b.base_mm for b in bodies]
        self.points = [_BodyPoints.of(b.sides) for b in bodies]
        self.sigma_px = np.concatenate([s.sigma_px for b in bodies for s in b.sides])
        self.unknowns = VIEW + OWN * len(bodies) + PLACE * (len(bodies) - 1)

    def own(self, k: int) -> slice:
        """Where a body's own unknowns stand."""
        return slice(VIEW + OWN * k, VIEW + OWN * (k + 1))

    def shapes(self, k: int) -> slice:
        """Where the shapes of a body's sides stand, side by side."""
        return slice(self.own(k).start + 7, self.own(k).stop)

    def place(self, k: int) -> slice:
        """Where a body's place stands; empty for the first."""
        at = VIEW + OWN * len(self.points) + PLACE * (k - 1)
        return slice(at, at + PLACE) if k else slice(0, 0)

    def place_of(self, v: Array, k: int) -> Array:
        """(3,) a body's place."""
        return v[self.place(k)] if k else np.zeros(3)

    def misfit(self, v: Array) -> Array:
        """(n,) located points less the model's, along the normals."""
        out = []
        for k, p in enumerate(self.points):
            seen = project(v[:VIEW], self._in_world(v, k))
            out.append(((p.points_px - seen) * p.normals_px).sum(1) - p.own @ v[self.own(k)][3:])
        return np.concatenate(out)

    def derivative(self, v: Array) -> Array:
        """(n, p) change of `misfit`."""
        return np.concatenate([self._derivative(v, k) for k in range(len(self.points))])

    def _in_world(self, v: Array, k: int) -> Array:
        p, size = self.points[k], v[self.own(k)][:3]
        return np.asarray(np.c_[placed(p.shares * size[:2], self.place_of(v, k)), self.bases_mm[k] + p.upper * size[2]])

    def _derivative(self, v: Array, k: int) -> Array:
        p, at = self.points[k], self.own(k).start
        by_view, by_point = projection_derivative(v[:VIEW], self._in_world(v, k))
        along = -np.einsum("nk,nkp->np", p.normals_px, np.concatenate([by_view, by_point], 2))
        dx, dy, dz = along[:, VIEW:].T
        turn = self.place_of(v, k)[2]
        c, s = np.cos(turn), np.sin(turn)
        to_width, to_height = dx * c + dy * s, dy * c - dx * s
        A = np.zeros((len(dx), self.unknowns))
        A[:, :VIEW] = along[:, :VIEW]
        A[:, at : at + 3] = np.stack([to_width * p.shares[:, 0], to_height * p.shares[:, 1], dz * p.upper], 1)
        A[:, at + 3 : at + OWN] = -p.own
        if k:
            local = p.shares * v[at : at + 2]
            A[:, self.place(k)] = np.stack([dx, dy, to_height * local[:, 0] - to_width * local[:, 1]], 1)
        return A


def solve_jointly(bodies: list[LyingRectangle], prior: Prior, start: Array, size_px: tuple[int, int]) -> JointView:
    """View and sizes from the located sides of one or more rectangles in a plane.

    Args:
        bodies: the rectangles; the first one's frame is the world's.
        prior: of the camera.
        start: (10,) first guess of the view.
        size_px: of the photo.

    Raises:
        numpy.linalg.LinAlgError: the sides don't determine a view, or it does not settle.
    """
    seen = _AllPoints(bodies)
    mean, sd = np.zeros(seen.unknowns), np.full(seen.unknowns, np.inf)
    mean[CAMERA] = prior.camera
    q = mean.copy()
    q[:VIEW] = start
    seen_sd, cut_sd = [], []
    for k, b in enumerate(bodies):
        r, own = b.rectangle, seen.own(k)
        q[own.start : own.start + 3] = mean[own.start : own.start + 3] = r.width_mm, r.height_mm, r.thickness_mm
        sides = {x.side: x for x in b.sides}
        seen_px = np.array([np.sqrt(np.diag(sides[j].shape_px2)) if j in sides else (1.0, 0, 0) for j in range(4)])
        sizes = np.maximum([r.width_sd_mm, r.height_sd_mm, r.thickness_sd_mm], NONE)
        sd[own] = np.r_[sizes, seen_px[:, 0], np.full(4 * MODES, NONE)]
        seen_sd.append(seen_px[:, 1:])
        cut_sd.append(np.array([b.cut_sd_mm * _px_per_mm(start, b, j) for j in range(4)])[:, None] * FALLING)
        if k:
            q[seen.place(k)] = b.place
    for _ in range(SHAPE_TURNS):
        for k in range(len(bodies)):
            shapes = cut_sd[k].copy()
            shapes[:, 1:3] = np.hypot(shapes[:, 1:3], seen_sd[k])
            sd[seen.shapes(k)] = np.maximum(shapes, NONE).ravel()
        known = prior.near(float(q[6])).of_lens(float(q[9]))
        mean[CAMERA] = known.camera
        settled = settle(seen, q, mean, known.beside(sd))
        q = settled.values
        strained = [float(np.mean((q[seen.shapes(k)] / sd[seen.shapes(k)]) ** 2)) for k in range(len(bodies))]
        worse = [np.sqrt(max(x, 1.0)) if b.cut_sd_mm else 1.0 for x, b in zip(strained, bodies, strict=True)]
        cut_sd = [c * w for c, w in zip(cut_sd, worse, strict=True)]
        unlike = prior.of_lens(float(q[9])).radial_sd > prior.radial_sd
        if max(worse) < ALIKE and not unlike and not prior.focal_relative > BROAD:
            break
    v, cov = settled.values, settled.covariance
    out, scaled = [], settled.residuals_px / seen.sigma_px
    at = 0
    for k, b in enumerate(bodies):
        own = seen.own(k)
        size = v[own]
        residuals = []
        for s in b.sides:
            residuals.append(scaled[at : at + len(s.along)])
            at += len(s.along)
        i = own.start
        out.append(
            Placed(
                replace(b.rectangle, width_mm=float(size[0]), height_mm=float(size[1]), thickness_mm=float(size[2])),
                cov[i : i + 2, i : i + 2],
                seen.place_of(v, k),
                tuple(residuals),
            )
        )
    covariance = _strain(bodies, seen, v - mean, known.beside(sd)) * of_further_terms(cov[:VIEW, :VIEW], v[9], prior)
    return JointView(View(v[:VIEW], covariance, size_px), tuple(out), settled.loss)


def _strain(bodies: list[LyingRectangle], seen: _AllPoints, off: Array, information: Array) -> float:
    """By how much the covariance is too small, as `calib.view.view.solve` has it: of the straight body that camera
    and shapes are strained most for; a cut one's shapes have their own component of variance."""
    out = [1.0]
    for k, b in enumerate(bodies):
        if not b.cut_sd_mm:
            at = np.r_[CAMERA, seen.own(k)]
            out.append(float(off[at] @ information[np.ix_(at, at)] @ off[at]) / REDUNDANT)
    return max(out)


def _px_per_mm(view: Array, b: LyingRectangle, side: int) -> float:
    """How many pixels a millimetre across a side is, at its middle."""
    middle = side_points(side, np.zeros(1), b.rectangle.width_mm, b.rectangle.height_mm, 0.0)[:, :2]
    ends = placed(np.concatenate([middle, middle * (1 + 1 / np.hypot(*middle[0]))]), np.array(b.place))
    return float(np.hypot(*np.diff(project(view, np.c_[ends, np.zeros(2)]), axis=0)[0]))


__all__ = ["JointView", "LyingRectangle", "Placed", "modes", "placed", "solve_jointly"]
