"""Where in the photo a job's features are seen: the view, the job's own frame in it, and the wall's two edges.

The upper edge of a part hides the lower one on the side away from the camera; on the near side the wall shows down to
its foot. An outline that is to lie on what a person sees must follow that, through the lens and all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.view.view import View
from measure.edges.sight import Wall
from measure.geometry.features import FINEST_MM, Feature, Line, flatten
from measure.geometry.motion import Motion

BLEND = 0.3
"""Where the upper edge gives way to the lower one the drawn outline goes over within this much of the normal's turn."""
SETTLED = 6
"""Turns in which a place on the outline is found for a pixel (chosen: the last ones move it by less than a pixel)."""
STRAIGHT_POINTS = 24
"""Into so many points a straight edge is laid out, for the lens bends it."""


@dataclass(frozen=True, slots=True)
class Sighted:
    """How a traced part lies in its photo.

    Attributes:
        view: of the plane that the reference lies on.
        frame: (2, 3) from the features' frame to that plane: ``frame[:, :2] @ point + frame[:, 2]``, mm.
        wall: heights of the part's edges over that plane.
        opening: whether the outline is an opening's rim.
    """

    view: View
    frame: Array
    wall: Wall
    opening: bool

    def points_px(self, f: Feature) -> Array:
        """(n, 2) pixels of the photo along a feature of the job."""
        points = path_of(f) @ self.frame[:, :2].T + self.frame[:, 2]
        return as_seen(self.view, points, f.loop, self.wall, self.opening)

    def at_height_px(self, points_mm: Array, height_mm: float) -> Array:
        """(n, 2) pixels of the photo at places (n, 2) of the job's frame, at a height over the reference's plane."""
        return self.view.pixels(points_mm @ self.frame[:, :2].T + self.frame[:, 2], height_mm)

    def edge_px(self, f: Feature, height_mm: float) -> Array:
        """(n, 2) pixels of the photo along a feature of the job, at a height over the reference's plane."""
        return self.at_height_px(path_of(f), height_mm)

    def place_mm(self, at_px: Array, from_mm: Array) -> Array:
        """(2,) where a pixel lies in the features' frame, on a stretch of the outer boundary that leads there.

        Args:
            at_px: (2,) pixel of the photo.
            from_mm: (2,) where the stretch begins.
        """
        back = np.linalg.inv(self.frame[:, :2])
        on_plane = self.view.plane(at_px[None], self.wall.upper_mm)[0]
        for _ in range(SETTLED):  # which edge is seen there hangs on which way the stretch goes
            there = back @ (on_plane - self.frame[:, 2])
            way = Line("", 0, (float(from_mm[0]), float(from_mm[1])), (float(there[0]), float(there[1])))
            missed = at_px - self.points_px(way)[-1]
            heights = self.wall.upper_mm, self.wall.lower_mm
            height = min(heights, key=lambda h: float(np.hypot(*(self.view.plane(at_px[None], h)[0] - on_plane))))
            step = self.view.plane((at_px + missed)[None], height)[0] - self.view.plane(at_px[None], height)[0]
            on_plane = on_plane + step
        return np.asarray(back @ (on_plane - self.frame[:, 2]))

    def laid_anew(self, before: Sequence[Feature], now: Sequence[Feature]) -> Sighted:
        """The same when the features have got other coordinates, each one a partner of the old one in its place: a turn
        and a shift lead to the old ones, and a change of size, as several photos have made them more exact."""
        old, new = (np.concatenate([_telling(f) for f in fs]) @ [1, 1j] for fs in (before, now))
        away = new - new.mean()
        size = float(np.vdot(away, away).real)
        a = np.vdot(away, old) / size if size > 1e-6 else 1.0
        b = old.mean() - a * new.mean()
        back = np.array([[a.real, -a.imag, b.real], [a.imag, a.real, b.imag]])
        return replace(self, frame=after(self.frame, back))


def after(second: Array, first: Array) -> Array:
    """(2, 3) one affine map after another."""
    return np.asarray(np.c_[second[:, :2] @ first[:, :2], second[:, :2] @ first[:, 2] + second[:, 2]])


def frame_back(motion: Motion) -> Array:
    """(2, 3) the way back from a frame that was reached by a motion."""
    back = motion.matrix().T
    return np.asarray(np.c_[back, -back @ np.array(motion.shift_mm)])


def path_of(f: Feature) -> Array:
    """(n, 2) points along a feature, close enough for a picture."""
    points = flatten(f, FINEST_MM)
    return np.linspace(points[0], points[1], STRAIGHT_POINTS) if len(points) == 2 else points


def as_seen(view: View, points_mm: Array, loop: int, wall: Wall, opening: bool) -> Array:
    """(n, 2) pixels along a stretch of outline (n, 2), given on the reference's plane, as the photo shows it.

    Of a hole that is the upper rim; of the outside the upper edge on the far side, the lower one on the near side.
    """
    along = np.gradient(points_mm, axis=0)
    outward = np.stack([along[:, 1], -along[:, 0]], 1) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    away = points_mm - view.centre_mm[:2]
    facing = (outward * away).sum(1) / np.maximum(np.hypot(*away.T), 1e-9) * (-1 if opening else 1)
    upper_share = np.clip(0.5 + facing / BLEND, 0.0, 1.0)
    if opening or loop > 0:
        upper_share[:] = 1.0  # of a hole the eye sees the rim
    return view.pixels(points_mm, wall.lower_mm + upper_share * (wall.upper_mm - wall.lower_mm))


def _telling(f: Feature) -> Array:
    """(n, 2) points that a feature and its partner have in common: ends and centre."""
    if f.kind == "curve":
        return np.array([f.start, f.end])
    if f.kind == "circle":
        return np.array([f.centre])
    return np.array([f.start, f.end, *([f.centre] if f.kind == "arc" else [])])
