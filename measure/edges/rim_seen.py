"""Whether the upper rim is rounded, by the light across it.

On a rounding the surface turns from lying flat to standing upright, and its light turns with it: inside the outline
there is a band, as wide as the radius, where light goes over from the face's to the wall's. Diffuse light from a sky
and a lamp is an affine function of the normal (Lambert's law), so along the rounding it is the face's with multiples of
the sine and of one less the cosine of the turn added, whatever lamp and sky; gloss adds some of the sines of its double
and threefold. A sharp rim has no such band: the face and what lies beyond it meet in one blurred step.

For each radius the likelihood of profiles is summed out over how light changes, which is linear with normal priors;
over the place of the outline, of each stretch by itself; and over the blur, which is the photo's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from calib.arrays import Array
from calib.light.profile import OPPONENT, Light
from calib.view.view import View
from measure.edges.rough import resampled
from measure.edges.rounded import ROUNDED_MM, ROUNDED_SD_MM
from measure.edges.sight import Body, Wall

RADII_MM = np.array([0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.4])
"""Radii that are tried, besides none."""
BLURS_PX = (0.7, 0.85, 1.0, 1.2, 1.4)
"""Blurs that are tried, standard deviation: phones' photos, with what sampling adds."""
STEP_PX, INNER_PX, OUTER_PX, OFF_PX = 0.5, 12.0, 6.0, 3.0
"""Spacing of samples; how far they reach inwards and outwards; how far off the outline may lie."""
STRETCH_MM, SMOOTH_MM, LEAST_POINTS = 2.0, 0.25, 4
"""Length of a stretch, at least so many pixels; smoothing of the outline before it is sampled."""
NORMAL_MM = 0.05
"""Step along an outline's normal that shows where it runs in the photo."""
HIDDEN_PX, NARROW_PX, WHOLE = 1.0, OUTER_PX + 1, 0.9
"""A wall that is seen narrower counts as hidden; one so narrow has its foot in the profile; a stretch is one kind where
so much of it is."""
DARKEST, FEWEST = 0.004, 3
"""A face that is darker, of full light, shows no shades; and fewer stretches say nothing."""
FACE_SAMPLES, OUTER_SAMPLES, GRAIN_SAMPLES = 12, 4, 7
"""Of a profile: the innermost ones are the face's, and of these the first ones show the noise; the outermost ones."""
NOISE, UNLIKE = 0.01, 0.03
"""What a sample may be off besides noise, standard deviation: share of the face's light; and of the step, which the
coding of JPEG and the optics do not show as the bell's integral (64 rendered photos)."""
SLOPE_BIN, NOISE_BIN = 0.15, 0.4
"""Stretches are judged in one go whose slopes, and logarithms of noise, differ by less."""
TURNS = 32
"""In so many steps light goes along the rounding."""
SHADE_SD, GLOSS_SD = (0.4, 0.4), (0.15, 0.1)
"""Standard deviations of what is added to the face's light along a rounding, as shares of that: see above (chosen)."""
WALL_SD, BEYOND_SD = 0.08, 4.0
"""The same of the step at the rounding's end: on to the wall, whose light it has by then; on to what lies beyond."""
FACE_SD, FACE_SLOPE_SD, BEYOND_SLOPE_SD, SLOPE_PX = 0.1, 0.02, 0.3, 10.0
"""The same of the face, and of how much it and what lies beyond change over so many pixels (chosen)."""
OFF_SD_PX = STEP_PX / 12**0.5
"""Standard deviation of the place between two that are tried (arithmetic)."""
TRUST, CORRELATED = 6.0, 4.0
"""What one stretch can say against a radius; how many stretches say the same."""
HEARD, MOST = 0.2, 3.0
"""What is wrong with the model is wrong all round: the share of the logarithm of the ratio of likelihoods that is
believed, and that of a ratio at most (64 rendered photos, 19 with rounded rims: logistic regression)."""


def rounded_log_odds(light: Light, view: View, outlines_mm: tuple[Array, ...], wall: Wall) -> float:
    """What the light across a part's boundaries says for a rounded rim against a sharp one: logarithm of the ratio of
    likelihoods, as far as it is believed; 0 where it says nothing.

    Args:
        light: the photo around the part.
        view: the solved view.
        outlines_mm: (n, 2) closed outlines, the outer boundary first.
        wall: heights of the part's edges.
    """
    plain, body = light.unsharpened(), Body.of(view, list(outlines_mm), wall, False)
    seen = _Bands.all([_stretches(plain, view, o, wall, body, hole=k > 0) for k, o in enumerate(outlines_mm)])
    if len(seen.light) < FEWEST:
        return 0.0
    radii = (0.0, *(RADII_MM / view.mm_per_px(outlines_mm[0].mean(0))))
    found = np.concatenate([_evidence(group, radii) for group in seen.groups()], 2)
    said = np.maximum(found - found.max((0, 1)), -TRUST).sum(2) / CORRELATED
    by_radius = np.logaddexp.reduce(said, axis=0)
    share = np.exp(-0.5 * ((RADII_MM - ROUNDED_MM) / ROUNDED_SD_MM) ** 2)
    rounded = np.logaddexp.reduce(np.log(share / share.sum()) + by_radius[1:])
    return float(np.clip(HEARD * (rounded - by_radius[0]), -MOST, MOST))


@dataclass(frozen=True, slots=True)
class _Bands:
    """Light across short stretches of outline.

    Attributes:
        light: (b, n) light over the face's, less 1, at `_offsets()`.
        near: (b,) whether a wall is seen that reaches beyond the samples.
        slope: (b,) how far a point is displaced outwards in the photo by a millimetre of depth, mm.
        noise: (b,) standard deviation of a sample.
        foot_px: (b,) where the foot of a narrow wall is seen; 0 where there is none in the samples.
    """

    light: Array
    near: NDArray[np.bool_]
    slope: Array
    noise: Array
    foot_px: Array

    @classmethod
    def all(cls, some: list[_Bands]) -> _Bands:
        """Those of several loops."""
        return cls(*(np.concatenate([getattr(s, f.name) for s in some]) for f in fields(cls)))

    def groups(self) -> Iterator[_Bands]:
        """Those that are alike, side by side, with what they have in common rounded."""
        slope = np.round(self.slope / SLOPE_BIN) * SLOPE_BIN
        noise = np.exp(np.round(np.log(self.noise) / NOISE_BIN) * NOISE_BIN)
        alike = np.stack([self.near, slope, noise, np.round(self.foot_px)], 1)
        for key in np.unique(alike, axis=0):
            at = (alike == key).all(1)
            yield _Bands(self.light[at], self.near[at], slope[at], noise[at], np.round(self.foot_px[at]))


def _offsets(more_px: float = 0.0) -> Array:
    """Places of samples across the outline, outwards, px; with so many pixels more at both ends."""
    return np.arange(-INNER_PX - more_px, OUTER_PX + more_px + STEP_PX / 2, STEP_PX)


def _stretches(light: Light, view: View, outline_mm: Array, wall: Wall, body: Body, *, hole: bool) -> _Bands:
    """Light across a boundary where what lies beyond it is known: wall, ground, or both. In a hole the light fades
    towards the foot, so its walls are not looked at."""
    px_mm = view.mm_per_px(outline_mm.mean(0))
    width = max(round(STRETCH_MM / px_mm), LEAST_POINTS)
    rough = resampled(outline_mm, px_mm, SMOOTH_MM, width)
    upper, lower = (view.pixels(rough.points_mm, z) for z in (wall.upper_mm, wall.lower_mm))
    normal = view.pixels(rough.points_mm + NORMAL_MM * rough.normals, wall.upper_mm) - upper
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    wall_px = ((lower - upper) * normal).sum(1)

    def by_stretch(x: Array | NDArray[np.bool_]) -> Array:
        return np.asarray(x.reshape(-1, width, *x.shape[1:]).mean(1), float)

    slope = by_stretch(wall_px) * px_mm / max(wall.upper_mm - wall.lower_mm, 1e-6)
    rounding_px = np.repeat((1 + np.maximum(slope, 0)) * RADII_MM[-1] / px_mm, width)
    hidden, narrow = wall_px < HIDDEN_PX, (wall_px >= HIDDEN_PX) & (wall_px < NARROW_PX)
    is_near = (by_stretch(wall_px > OUTER_PX + rounding_px) > WHOLE) & (not hole)
    is_narrow = (by_stretch(narrow & ~body.covers(lower + OUTER_PX * normal)) > WHOLE) & (not hole)
    is_hidden = by_stretch(hidden & ~body.covers(upper + OUTER_PX * normal)) > WHOLE
    rgb = light.sample(upper[:, None] + _offsets()[:, None] * normal[:, None], cubic=False)
    across = by_stretch(np.asarray(rgb @ OPPONENT[:, 0], float))
    face = np.median(across[:, :FACE_SAMPLES], 1)
    use = (is_near | is_narrow | is_hidden) & (face > DARKEST)
    over = across[use] / face[use, None] - 1
    step = np.median(over[:, -OUTER_SAMPLES:], 1)
    grain = np.std(np.diff(over[:, :GRAIN_SAMPLES], axis=1), axis=1)
    noise = np.sqrt(NOISE**2 + grain**2 + (UNLIKE * step) ** 2)
    return _Bands(over, is_near[use], slope[use], noise, np.where(is_narrow, by_stretch(wall_px), 0.0)[use])


def _evidence(s: _Bands, radii_px: tuple[float, ...]) -> Array:
    """(blurs, radii, b) logarithm of the likelihood of stretches that are alike, but for a constant."""
    tried = 2 * round(OFF_PX / STEP_PX)
    n, noise = s.light.shape[1], float(s.noise[0])
    out = np.empty((len(BLURS_PX), len(radii_px), len(s.light)))
    for i, blur in enumerate(BLURS_PX):
        for j, radius in enumerate(radii_px):
            wide = _columns(s, radius, blur) / noise
            B = np.stack([wide[tried - k : tried - k + n] for k in range(tried + 1)])
            known = B.transpose(0, 2, 1) @ B + np.eye(B.shape[2])
            b = B.transpose(0, 2, 1) @ (s.light.T / noise)
            explained = (b * np.linalg.solve(known, b)).sum(1) - np.linalg.slogdet(known)[1][:, None]
            out[i, j] = np.logaddexp.reduce(0.5 * explained, axis=0)
    return out


def _columns(s: _Bands, radius_px: float, blur_px: float) -> Array:
    """(n, columns) what light can add to the face's across an outline at 0, each by its standard deviation."""
    near, slope, foot_px, step = bool(s.near[0]), float(s.slope[0]), float(s.foot_px[0]), float(s.noise[0]) / UNLIKE
    x = _offsets(OFF_PX)
    turn = (np.arange(TURNS) + 0.5) / TURNS * np.pi / 2
    if slope < 0:  # beyond the line of sight's own slope the rounding hides itself
        turn = turn[np.tan(turn) < -1 / slope]
    place = radius_px * (np.sin(turn) - 1 + slope * (1 - np.cos(turn)))
    end = place[-1]
    past = ndtr((x - end) / blur_px)
    steps = ndtr((x[:, None] - place) / blur_px)
    shades = [np.sin(turn), 1 - np.cos(turn), np.sin(2 * turn), np.sin(3 * turn)]
    rounding = [steps @ np.diff(c, prepend=0.0) - c[-1] * past for c in shades]
    if near:  # the wall goes on as the rounding ends
        rounding[:2] = [c + past for c in rounding[:2]]
    off = step * np.exp(-0.5 * ((x - end) / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px)
    rest = [past, np.ones(len(x)), np.minimum(x, 0) / SLOPE_PX, np.maximum(x, 0) / SLOPE_PX, off]
    sd = [*SHADE_SD, *GLOSS_SD, WALL_SD if near else BEYOND_SD, FACE_SD, FACE_SLOPE_SD, BEYOND_SLOPE_SD, OFF_SD_PX]
    if foot_px:
        rest.append(ndtr((x - foot_px) / blur_px))
        sd.append(BEYOND_SD)
    return np.asarray(np.stack([*rounding, *rest], 1) * np.array(sd))
