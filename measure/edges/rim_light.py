"""Light on a rounded or chamfered rim, and what of it all sides of a part share.

On a rounding the surface turns from lying flat to standing upright, and its light turns with it: inside the outline
there is a band, as wide as the radius, where light goes over from the face's to the wall's. Diffuse light from a sky
and a lamp is an affine function of the normal (Lambert's law), so along the rounding it is the face's with multiples of
the sine and of one less the cosine of the turn added; gloss adds some of the sines of its double and threefold. A sharp
rim has no such band: the face and what lies beyond it meet in one blurred step. A chamfer has one turn for all of its
band, half of a right angle.

The same lamp and the same sky shine on all sides. So three numbers, of which walls that are seen tell most, say how
light goes along the rounding of every side, and a fourth how much is left of the phone's sharpening.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr

from calib.arrays import Array
from calib.light.profile import SHARPEN_PX
from measure.edges.rim_bands import OUTER_SAMPLES, STEP_PX, UNLIKE, Bands, offsets

OFF_PX = 4.0
PLACES_PX = np.arange(-OFF_PX, OFF_PX + STEP_PX / 2, STEP_PX)
"""How far off the outline may lie; and where it is tried."""
TURNS = 32
"""In so many steps light goes along the rounding."""
SHARED_MEAN, SHARED_SD = np.array([0.0, 0.0, 0.5, 0.0]), np.array([0.25, 0.25, 0.2, 0.15])
"""What light adds to the face's where the surface stands upright, as shares of that, before walls are looked at: by
the two ways that it may face, and what it loses of it, whichever way (an even sky takes half, of which the ground gives
some back); how much sharpening is left; and standard deviations."""
OWN_SD, GLOSS_SD = np.array([0.05, 0.05, 0.02]), (0.04, 0.03)
OWN = len(OWN_SD)
"""Standard deviations, of one stretch: of what shades and halo have besides what all share; and of gloss (chosen)."""
WALL_SD, BEYOND_SD = 0.08, 4.0
"""The same of the step at the rounding's end: on to the wall, whose light it has by then; on to what lies beyond."""
FACE_SD, FACE_SLOPE_SD, BEYOND_SLOPE_SD, SLOPE_PX = 0.1, 0.02, 0.3, 10.0
"""The same of the face, and of how much it and what lies beyond change over so many pixels (chosen)."""
OFF_SD_PX = STEP_PX / 12**0.5
"""Standard deviation of the place between two that are tried (arithmetic)."""
FOOT_SD_PX = 1.2
"""Standard deviation of the place of a narrow wall's foot: what the view leaves open, and rounding (chosen)."""
CORRELATED = 4.0
"""How many stretches say the same."""
ODD, TURNS_OF_LIGHT = 8.0, 3
"""Stretches that are unlikelier than the median by this count half (natural logarithm); how often the shared light is
found anew."""


@dataclass(frozen=True, slots=True)
class _Group:
    """Stretches that are alike, explained by what light can do, for each place that is tried.

    Attributes:
        at: (b,) which stretches; hidden: whether they show no wall; light: (b, n) over the noise.
        by_shared: (b, OWN, 4) see `_by_shared`.
        columns: (p, n, c) what light can add, each by its standard deviation, over the noise.
        solver: (p, c, c) covariance of the columns' coefficients; constant: (p,) of the logarithm of the likelihood.
    """

    at: NDArray[np.intp]
    hidden: bool
    light: Array
    by_shared: Array
    columns: Array
    solver: Array
    constant: Array

    def likelihoods(self, shared: Array) -> tuple[Array, Array]:
        """(p, b) logarithms of likelihoods with the shared light, and (p, c, b) the columns' coefficients; those of its
        own are what a stretch is off the shared light."""
        rest = self.light.T - self.columns[:, :, :OWN] @ (self.by_shared @ shared / OWN_SD).T
        by = self.columns.transpose(0, 2, 1) @ rest
        off = self.solver @ by
        return 0.5 * ((by * off).sum(1) - (rest**2).sum(1)) + self.constant[:, None], off


def _by_shared(s: Bands) -> Array:
    """(b, OWN, 4) how what the sine, one less the cosine of the turn, and a halo are multiplied by hangs on what all
    sides share."""
    by = np.zeros((len(s.light), OWN, 4))
    by[:, 0, :2], by[:, 1, 2], by[:, 2, 3] = s.outwards, -1, np.median(s.light[:, -OUTER_SAMPLES:], 1)
    return by


def explained(
    alike: Sequence[tuple[Bands, NDArray[np.intp]]], radius_px: float, blur_px: float, *, chamfered: bool = False
) -> tuple[Array, Array, float]:
    """What stretches show, explained by one radius and one blur.

    Args:
        alike: the stretches by `Bands.groups`.
        radius_px: of the rim, 0 for a sharp one; or the leg of a chamfer; blur_px: of the photo, standard deviation.

    Returns:
        (b,) logarithm of the likelihood of each stretch, (b,) where its outline lies, px, and logarithm of the
        likelihood of the light that all sides share, but for constants.
    """
    groups = [_group(s, at, _columns(s, radius_px, blur_px, chamfered)) for s, at in alike]
    shared = SHARED_MEAN
    for first in (True, *(TURNS_OF_LIGHT - 1) * (False,)):
        shared = _again(groups, shared, first)
    found, place = np.empty((2, sum(len(g.at) for g in groups)))
    for g in groups:
        likely, _ = g.likelihoods(shared)
        found[g.at] = np.logaddexp.reduce(likely, axis=0)
        place[g.at] = PLACES_PX @ np.exp(likely - found[g.at])
    return found, place, float(-0.5 * (((shared - SHARED_MEAN) / SHARED_SD) ** 2).sum())


def _again(groups: Sequence[_Group], shared: Array, first: bool) -> Array:
    """The shared light, found anew by what it leaves of every stretch; a hidden wall tells once walls have told."""
    known, told = np.diag(1 / SHARED_SD**2), (SHARED_MEAN - shared) / SHARED_SD**2
    every = [g.likelihoods(shared) for g in groups]
    of_all = [np.logaddexp.reduce(likely, axis=0) for likely, _ in every]
    usual = float(np.median(np.concatenate(of_all)))
    for g, (likely, off), found in zip(groups, every, of_all, strict=True):
        if first and g.hidden:
            continue
        place = np.exp(likely - found)
        heard = expit(found - usual + ODD) / CORRELATED
        spread = np.einsum("pb,pij->bij", place, g.solver[:, :OWN, :OWN])
        worth = heard[:, None, None] * (np.eye(OWN) - spread) / np.outer(OWN_SD, OWN_SD)
        known += np.einsum("bij,bik,bkl->jl", g.by_shared, worth, g.by_shared)
        told += np.einsum("bij,pb,pib,b->j", g.by_shared, place, off[:, :OWN] / OWN_SD[:, None], heard)
    return np.asarray(shared + np.linalg.solve(known, told))


def _group(s: Bands, at: NDArray[np.intp], columns: Array) -> _Group:
    """Stretches that are alike, with what light can do across an outline at each place that is tried."""
    last, n, noise = len(PLACES_PX) - 1, s.light.shape[1], float(s.noise[0])
    wide = columns / noise
    B = np.stack([wide[last - k : last - k + n] for k in range(last + 1)])
    known = B.transpose(0, 2, 1) @ B + np.eye(B.shape[2])
    return _Group(
        at,
        bool(s.hidden[0]),
        s.light / noise,
        _by_shared(s),
        B,
        np.asarray(np.linalg.inv(known), float),
        np.asarray(-0.5 * np.linalg.slogdet(known)[1]),
    )


def _columns(s: Bands, radius_px: float, blur_px: float, chamfered: bool) -> Array:
    """(n, columns) what light can add to the face's across an outline at 0, each by its standard deviation."""
    hidden = bool(s.hidden[0])
    slope, foot_px, step = float(s.slope[0]), float(s.foot_px[0]), float(s.noise[0]) / UNLIKE
    x = offsets(OFF_PX)
    if chamfered:
        turn, place, end = np.array([np.pi / 4]), np.array([-radius_px]), slope * radius_px
    else:
        turn = (np.arange(TURNS) + 0.5) / TURNS * np.pi / 2
        if slope < 0:  # beyond the line of sight's own slope the rounding hides itself
            turn = turn[np.tan(turn) < -1 / slope]
        place = radius_px * (np.sin(turn) - 1 + slope * (1 - np.cos(turn)))
        end = place[-1]
    past = ndtr((x - end) / blur_px)
    steps = ndtr((x[:, None] - place) / blur_px)
    shades = [np.sin(turn), 1 - np.cos(turn), np.sin(2 * turn), np.sin(3 * turn)]
    rounding = [steps @ np.diff(c, prepend=0.0) - c[-1] * past for c in shades]
    if not hidden:  # the wall goes on as the rounding ends
        rounding[:2] = [c + past for c in rounding[:2]]
    off = step * np.exp(-0.5 * ((x - end) / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px)
    halo = past - ndtr((x - end) / np.hypot(blur_px, SHARPEN_PX))
    rest = [past, np.ones(len(x)), np.minimum(x, 0) / SLOPE_PX, np.maximum(x, 0) / SLOPE_PX, off]
    on = BEYOND_SD if hidden else WALL_SD
    sd = [*OWN_SD, *GLOSS_SD, on, FACE_SD, FACE_SLOPE_SD, BEYOND_SLOPE_SD, OFF_SD_PX]
    if foot_px:
        rest.append(ndtr((x - foot_px) / blur_px))
        rest.append(np.exp(-0.5 * ((x - foot_px) / blur_px) ** 2) / (np.sqrt(2 * np.pi) * blur_px))
        sd += [BEYOND_SD, step * FOOT_SD_PX]
    return np.asarray(np.stack([*rounding[:2], halo, *rounding[2:], *rest], 1) * np.array(sd))
