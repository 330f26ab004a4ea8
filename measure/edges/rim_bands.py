"""Light across short stretches of a part's boundary, over its face's: what tells of the upper rim.

Only stretches where it is known what lies beyond the rim: the ground, if the wall is hidden; the wall, if it is seen
so wide that its foot is out of reach; or both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import OPPONENT, Light
from calib.view.view import View
from measure.edges.rough import resampled
from measure.edges.sight import Body, Wall

STEP_PX, INNER_PX, OUTER_PX = 0.5, 12.0, 6.0
"""Spacing of samples; how far they reach inwards and outwards."""
WIDEST_MM = 0.4
"""Radius of the widest rounding that is looked for."""
STRETCH_MM, SMOOTH_MM, LEAST_POINTS = 2.0, 0.25, 4
"""Length of a stretch, at least so many pixels; smoothing of the outline before it is sampled."""
NORMAL_MM = 0.05
"""Step along an outline's normal that shows where it runs in the photo."""
HIDDEN_PX, NARROW_PX, WHOLE = 1.0, OUTER_PX + 1, 0.9
"""A wall that is seen narrower counts as hidden; one so narrow has its foot in the profile; a stretch is one kind where
so much of it is."""
BENT = 0.6
"""A stretch whose normal turns by more, rad, faces no one way."""
TURNED = 0.6
"""So much a round hole turns along a stretch at the most, rad: most of a hole's stretches are then used (chosen)."""
DARKEST, LIGHTEST = 0.004, 0.93
"""A face that is darker, of full light, shows no shades; a colour in which it is lighter is cut off."""
FACE_SAMPLES, OUTER_SAMPLES, GRAIN_SAMPLES = 12, 4, 7
"""Of a profile: the innermost ones are the face's, and of these the first ones show the noise; the outermost ones."""
NOISE, UNLIKE = 0.01, 0.03
"""What a sample may be off besides noise, standard deviation: share of the face's light; and of the step, which the
coding of JPEG and the optics do not show as the bell's integral (64 rendered photos)."""
SLOPE_BIN, NOISE_BIN = 0.15, 0.4
"""Stretches are judged in one go whose slopes, and logarithms of noise, differ by less."""


@dataclass(frozen=True, slots=True)
class Bands:
    """Light across short stretches of outline.

    Attributes:
        light: (b, n) light over the face's, less 1, at `offsets()`.
        near: (b,) whether a wall is seen that reaches beyond the samples.
        slope: (b,) how far a point is displaced outwards in the photo by a millimetre of depth, mm.
        noise: (b,) standard deviation of a sample.
        foot_px: (b,) where the foot of a narrow wall is seen; 0 where there is none in the samples.
        outwards: (b, 2) the way that the wall faces; points_mm: (b, 2) where on the outline.
        told_by: (b,) share of lightness that the colours make up in which the face is not cut off: the light is theirs.
    """

    light: Array
    near: NDArray[np.bool_]
    slope: Array
    noise: Array
    foot_px: Array
    outwards: Array
    points_mm: Array
    told_by: Array

    @property
    def narrow(self) -> NDArray[np.bool_]:
        """(b,) whether a wall is seen so narrow that its foot is in the samples."""
        return np.asarray(self.foot_px > 0)

    @property
    def hidden(self) -> NDArray[np.bool_]:
        """(b,) whether no wall is seen."""
        return np.asarray(~self.near & ~self.narrow)

    @classmethod
    def all(cls, some: list[Bands]) -> Bands:
        """Those of several loops."""
        return cls(*(np.concatenate([getattr(s, f.name) for s in some]) for f in fields(cls)))

    def groups(self) -> Iterator[tuple[Bands, NDArray[np.intp]]]:
        """Those that are alike, side by side, with what they have in common rounded; and which ones they are."""
        slope = np.round(self.slope / SLOPE_BIN) * SLOPE_BIN
        noise = np.exp(np.round(np.log(self.noise) / NOISE_BIN) * NOISE_BIN)
        alike = np.stack([self.near, slope, noise, np.round(self.foot_px)], 1)
        _, group = np.unique(alike, axis=0, return_inverse=True)
        for k in range(int(group.max(initial=-1)) + 1):
            at = np.flatnonzero(group.ravel() == k)
            foot = np.round(self.foot_px[at])
            own = self.light[at], self.near[at], slope[at], noise[at], foot, self.outwards[at], self.points_mm[at]
            yield Bands(*own, self.told_by[at]), at


def offsets(more_px: float = 0.0) -> Array:
    """Places of samples across the outline, outwards, px; with so many pixels more at both ends."""
    return np.arange(-INNER_PX - more_px, OUTER_PX + more_px + STEP_PX / 2, STEP_PX)


def bands_of(light: Light, view: View, outlines_mm: tuple[Array, ...], wall: Wall) -> Bands:
    """Light across a part's boundaries.

    Args:
        light: the photo around the part, not sharpened.
        view: the solved view.
        outlines_mm: (n, 2) closed outlines, the outer boundary first.
        wall: heights of the part's edges.
    """
    body = Body.of(view, list(outlines_mm), wall, False)
    return Bands.all([_of_loop(light, view, o, wall, body, hole=k > 0) for k, o in enumerate(outlines_mm)])


def _of_loop(light: Light, view: View, outline_mm: Array, wall: Wall, body: Body, *, hole: bool) -> Bands:
    """Light across one boundary. In a hole it fades towards the foot, so walls are not looked at there."""
    px_mm = view.mm_per_px(outline_mm.mean(0))
    around = float(np.hypot(*np.diff(outline_mm, axis=0, append=outline_mm[:1]).T).sum())
    width = max(round(min(STRETCH_MM, TURNED * around / (2 * np.pi)) / px_mm), LEAST_POINTS)
    rough = resampled(outline_mm, px_mm, SMOOTH_MM, width)
    upper, lower = (view.pixels(rough.points_mm, z) for z in (wall.upper_mm, wall.lower_mm))
    normal = view.pixels(rough.points_mm + NORMAL_MM * rough.normals, wall.upper_mm) - upper
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    wall_px = ((lower - upper) * normal).sum(1)

    def by_stretch(x: Array | NDArray[np.bool_] | NDArray[np.float32]) -> Array:
        return np.asarray(x.reshape(-1, width, *x.shape[1:]).mean(1), float)

    slope = by_stretch(wall_px) * px_mm / max(wall.upper_mm - wall.lower_mm, 1e-6)
    outwards = by_stretch(rough.normals)
    straight = np.hypot(*outwards.T) > np.sinc(BENT / (2 * np.pi))
    rounding_px = np.repeat((1 + np.maximum(slope, 0)) * WIDEST_MM / px_mm, width)
    hidden, narrow = wall_px < HIDDEN_PX, (wall_px >= HIDDEN_PX) & (wall_px < NARROW_PX)
    is_near = (by_stretch(wall_px > OUTER_PX + rounding_px) > WHOLE) & (not hole)
    is_narrow = (by_stretch(narrow & ~body.covers(lower + OUTER_PX * normal)) > WHOLE) & (not hole)
    is_hidden = by_stretch(hidden & ~body.covers(upper + OUTER_PX * normal)) > WHOLE
    rgb = by_stretch(light.sample(upper[:, None] + offsets()[:, None] * normal[:, None], cubic=False))
    weights, told_by = _uncut(np.median(rgb[:, :FACE_SAMPLES], (0, 1)))
    across = rgb @ weights
    face = np.median(across[:, :FACE_SAMPLES], 1)
    use = (is_near | is_narrow | is_hidden) & straight & (face > DARKEST)
    over = across[use] / face[use, None] - 1
    step = np.median(over[:, -OUTER_SAMPLES:], 1)
    grain = np.std(np.diff(over[:, :GRAIN_SAMPLES], axis=1), axis=1)
    noise = np.sqrt(NOISE**2 + grain**2 + (UNLIKE * step) ** 2)
    foot = np.where(is_narrow, by_stretch(wall_px), 0.0)[use]
    way = outwards[use] / np.maximum(np.hypot(*outwards[use].T), 1e-9)[:, None]
    points = by_stretch(rough.points_mm)[use]
    return Bands(over, is_near[use], slope[use], noise, foot, way, points, np.full(len(points), told_by))


def _uncut(face_rgb: Array) -> tuple[Array, float]:
    """(3,) weights of the colours in which a face's light is not cut off, as others tell of no shades; and the share of
    lightness that they make up."""
    lightness = OPPONENT[:, 0]
    weights = np.where(face_rgb < LIGHTEST, lightness, 0.0)
    told_by = float(weights.sum())
    return weights / told_by if told_by else weights, told_by / float(lightness.sum())
