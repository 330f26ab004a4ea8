"""The model of a card's rims fitted to a photo: many short stretches of all four sides in one adjustment.

Blur and sharpening are the photo's, shadow and wall are a side's, colours are each stretch's own. Levenberg-Marquardt
(Marquardt 1963), what is a stretch's own eliminated first (Schur's complement), so that a turn costs milliseconds. What
is said to be chosen was chosen on 64 rendered photos, on which a side is now off by 0.04 px (median).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.card.correlation import correlation_length
from calib.card.rim_model import (
    CLIPPED,
    FACE,
    GROUND,
    INNER_SAMPLES,
    LINE,
    MIRROR,
    OWN,
    PHOTO,
    SHADES,
    SIDE,
    WALL,
    RimParameters,
    Stretches,
    clipped_codes,
    jpeg_codes,
    predicted,
    step_at_rim,
    with_derivative,
)
from calib.view.view import SHAPES, shapes

NOISE = np.array([0.008, 0.014, 0.014])
"""How well the model can be expected to agree in Y, Cb and Cr, share of full code: JPEG keeps less of colours."""
CORRELATED = 3.0
"""How many neighbouring samples share their error, on plain ground; pebbles and weave reach farther."""
LINE_SD_PX = 0.08
"""How far a stretch may lie off the line through all of a side's, which the lens bows."""
PHOTO_MEAN, PHOTO_SD = np.array([np.log(0.95), 0.25]), np.array([0.25, 0.4])
PHOTO_LIMITS = np.array([[np.log(0.5), 0.0], [np.log(3.0), 1.8]])
"""Blur and sharpening of phones' photos, as the spread of rendered and real ones was seen; at least, at most."""
SIDE_MEAN = np.array([0.35, *8 * [0.04], *3 * [-1.1], 0.0, 0.0, 0.0, 0.3])
SIDE_SD = np.array([0.3, *8 * [0.12], *3 * [0.8], 5.0, 5.0, 3.0, 0.25])
LEAST_SHADE, WALL_LIMITS = np.array([-0.8, *8 * [-0.03]]), (-4.0, 0.3)
"""Sky, shadows, wall: what light can do at all. A lit wall lightens the ground, a shadow does not."""
POLISH = (0.0, 1.0)
"""From a matt wall to a polished one, see `calib.card.rim_model.MIRROR`."""
OWN_SD = np.array([5.0, 0.3, 0.3, 0.3, 0.004, 0.3, 0.3, 0.3])
LEAST_LIGHT = 2e-3
"""Darker light, share of full light, counts as this, so that its logarithm stays finite (chosen: code 7 of 255)."""
CLIPPED_LOG, CLIPPED_SD = 0.5, 0.5
"""How much more light there was where it was cut off, logarithm, and its standard deviation."""
TURNS, TRIALS, SETTLED_PX = 16, 5, 0.001
DAMPING, EASED, HARDENED = 1e-3, 5.0, 6.0
"""Most turns, most steps tried in each, the change that ends them. Marquardt's factor: at first, how it changes."""
FULL_TRUST = 1.5
"""What makes the better half of the stretches count whole: 1 + ½, at the median misfit (arithmetic)."""
LEAST_STEP = 0.006
"""A step, share of full code, that halves what an error of light does: fainter ones are seen by their neighbours'
line (chosen: the error itself, `calib.card.rims.LIGHT_DOUBT`)."""
MOST_STEP = 0.3
"""Most that the logarithm of the blur, and the sharpening, change in one step: a derivative holds no farther
(chosen)."""


@dataclass(frozen=True, slots=True)
class RimFit:
    """A fit.

    Attributes:
        offset_px: (m,) where each stretch's upper rim lies, outwards from where it was expected.
        shape_px2: (4, 3, 3) noise's covariance of what a side's stretches have in common, see `calib.view.view.SHAPES`.
        light_px: (4, 3, 9) what an error of the model's light just at the rim does to that, px a full code: in Y, Cb or
            Cr (hue as `calib.card.rim_model.HUE_WORTH`), and of each of those shapes.
        cost: (4,) of each side, half the weighted sum of squares with what was known beforehand.
        misfit: (4,) root mean square of what is not explained in Y, share of full code.
        blur_px, sharpening: of the photo.
    """

    offset_px: Array
    shape_px2: Array
    light_px: Array
    cost: Array
    misfit: Array
    blur_px: float
    sharpening: float


def fit_rims(s: Stretches, start_px: Array) -> RimFit:
    """The upper rim along all stretches.

    Args:
        s: light across a card's sides, all four of them.
        start_px: (m,) where the upper rim may lie, outwards from where it is expected.
    """
    return _Adjustment(s, start_px).run()


class _Adjustment:
    """The unknowns' best values so far, with what is known of them beforehand."""

    def __init__(self, s: Stretches, start_px: Array) -> None:
        self.s, self.seen = s, jpeg_codes(s.light)
        m = len(s.side)
        self.mean, self.sd = np.zeros((m, OWN)), np.tile(OWN_SD, (m, 1))
        for at, end in ((FACE, slice(None, INNER_SAMPLES)), (GROUND, slice(-INNER_SAMPLES, None))):
            cut = clipped_codes(s.light[:, end]).mean(1) > CLIPPED
            self.mean[:, at] = np.log(np.maximum(s.light[:, end], LEAST_LIGHT)).mean(1) + np.where(cut, CLIPPED_LOG, 0)
            self.sd[:, at] = np.where(cut, CLIPPED_SD, self.sd[:, at])
        own, by_side = self.mean.copy(), np.tile(SIDE_MEAN, (4, 1))
        own[:, 0] = start_px
        by_side[:, LINE.start] = [np.median(start_px[s.side == k]) for k in range(4)]
        self.now = RimParameters(own, by_side, PHOTO_MEAN.copy())
        self.on_line = np.zeros((m, PHOTO + SIDE))  # how the distance from a side's line hangs on what is shared
        self.on_line[:, PHOTO:][:, LINE] = -shapes(s.along)
        self.weight = 1 / NOISE**2 / CORRELATED
        self.trust = np.ones(m)
        self.shared = [np.r_[:PHOTO, PHOTO + SIDE * k : PHOTO + SIDE * (k + 1)] for k in range(4)]

    def run(self) -> RimFit:
        damping = DAMPING
        for _ in range(TURNS):
            r, normal = self.normal_equations()
            before = self.squares(self.now, r).sum()
            moved = 0.0
            for _ in range(TRIALS):
                then = self.moved(normal, damping)
                if self.squares(then, self.seen - predicted(self.s, then)).sum() < before:
                    moved = float(np.abs(then.own[:, 0] - self.now.own[:, 0]).max())
                    self.now = then
                    damping /= EASED
                    break
                damping *= HARDENED
            if moved < SETTLED_PX:
                break
        return self.result()

    def off_line(self, at: RimParameters) -> Array:
        return np.asarray(at.own[:, 0] + (self.on_line[:, PHOTO:] * at.by_side[self.s.side]).sum(1))

    def squares(self, at: RimParameters, r: Array) -> Array:
        """(5,) weighted squares of each side and of what is the photo's, all that is known beforehand included."""
        each = self.trust * (r**2 @ self.weight).sum(1) + (((at.own - self.mean) / self.sd) ** 2).sum(1)
        each += (self.off_line(at) / LINE_SD_PX) ** 2
        sides = np.array([each[self.s.side == k].sum() for k in range(4)])
        sides += (((at.by_side - SIDE_MEAN) / SIDE_SD) ** 2).sum(1)
        return np.append(sides, (((at.photo - PHOTO_MEAN) / PHOTO_SD) ** 2).sum())

    def normal_equations(self) -> tuple[Array, tuple[Array, ...]]:
        """Residuals, and normal matrix and right side: of the stretches' own unknowns, mixed, of those they share."""
        p, D = with_derivative(self.s, self.now)
        r = self.seen - p
        squares = (r**2 @ self.weight).sum(1)  # print or dirt makes a stretch unlike the model: it counts less
        self.trust = np.minimum(FULL_TRUST / (1 + squares / max(2 * float(np.median(squares)), 1e-9)), 1.0)
        root = np.sqrt(self.weight * self.trust[:, None])[:, None]
        J, y = (D * root[:, None]).reshape(*D.shape[:2], -1), (r * root).reshape(len(r), -1)
        H, g = J @ J.transpose(0, 2, 1), np.einsum("mki,mi->mk", J, y)
        A, B, C, a, c = H[:, :OWN, :OWN], H[:, :OWN, OWN:], H[:, OWN:, OWN:], g[:, :OWN], g[:, OWN:]
        A[:, range(OWN), range(OWN)] += 1 / self.sd**2
        a -= (self.now.own - self.mean) / self.sd**2
        off, firm = self.off_line(self.now), LINE_SD_PX**-2
        A[:, 0, 0] += firm
        B[:, 0] += firm * self.on_line
        C += firm * self.on_line[:, :, None] * self.on_line[:, None]
        a[:, 0] -= firm * off
        c -= firm * off[:, None] * self.on_line
        known = np.r_[PHOTO_SD**-2, np.tile(SIDE_SD**-2, 4)]
        N, b = np.diag(known), -known * np.r_[self.now.photo - PHOTO_MEAN, (self.now.by_side - SIDE_MEAN).ravel()]
        self.gather(N, C, 1.0)
        for k, at in enumerate(self.shared):
            b[at] += c[self.s.side == k].sum(0)
        return r, (A, B, a, N, b)

    def gather(self, N: Array, each: Array, sign: float) -> None:
        """Add the stretches' matrices (m, PHOTO + SIDE, PHOTO + SIDE) to that of all that is shared."""
        for k, at in enumerate(self.shared):
            N[np.ix_(at, at)] += sign * each[self.s.side == k].sum(0)

    def moved(self, normal: tuple[Array, ...], damping: float) -> RimParameters:
        """One damped step."""
        A, B, a, N, b = (x.copy() for x in normal)
        A[:, range(OWN), range(OWN)] *= 1 + damping
        N[range(len(N)), range(len(N))] *= 1 + damping
        inverse = np.linalg.inv(A)
        BA = B.transpose(0, 2, 1) @ inverse
        self.gather(N, BA @ B, -1.0)
        for k, at in enumerate(self.shared):
            b[at] -= np.einsum("mji,mi->j", BA[self.s.side == k], a[self.s.side == k])
        step = np.linalg.solve(N, b)
        shared = np.stack([step[at] for at in self.shared])[self.s.side]
        own = np.einsum("mij,mj->mi", inverse, a - np.einsum("mij,mj->mi", B, shared))
        by_side = self.now.by_side + step[PHOTO:].reshape(4, SIDE)
        by_side[:, SHADES] = np.maximum(by_side[:, SHADES], LEAST_SHADE)
        by_side[:, WALL] = np.clip(by_side[:, WALL], *WALL_LIMITS)
        by_side[:, MIRROR] = np.clip(by_side[:, MIRROR], *POLISH)
        photo = np.clip(self.now.photo + np.clip(step[:PHOTO], -MOST_STEP, MOST_STEP), *PHOTO_LIMITS)
        return RimParameters(self.now.own + np.clip(own, -1, 1), by_side, photo)

    def result(self) -> RimFit:
        r, (A, B, _, N, _) = self.normal_equations()
        inverse = np.linalg.inv(A)
        self.gather(N, B.transpose(0, 2, 1) @ inverse @ B, -1.0)
        covariance = np.linalg.inv(N)
        by_shared = np.einsum("mi,mij->mj", inverse[:, 0], B)
        shape, light = np.empty((4, SHAPES, SHAPES)), np.empty((4, SHAPES, 3 * SHAPES))
        for k, at in enumerate(self.shared):
            on = self.s.side == k
            as_shape = np.linalg.pinv(shapes(self.s.along[on]))
            g = as_shape @ by_shared[on]
            shape[k] = max(correlation_length(r[on][..., 0]) / CORRELATED, 1.0) * g @ covariance[np.ix_(at, at)] @ g.T
            light[k] = as_shape @ self.shift_by_light(on, inverse[on, 0, 0])
        misfit = np.array([np.sqrt((r[self.s.side == k][..., 0] ** 2).mean()) for k in range(4)])
        cost = self.squares(self.now, r)[:4] / 2
        blur, sharpening = self.now.photo
        return RimFit(self.now.own[:, 0], shape, light, cost, misfit, float(np.exp(blur)), float(sharpening))

    def shift_by_light(self, on: NDArray[np.bool_], variance: Array) -> Array:
        """(n, 9) how far a side's stretches are moved by an error of light at the rim, px a full code.

        A stretch would be moved by the error over its step. All have a say in the line that they lie on, the more the
        better they are known, and each is drawn towards it.
        """
        along = self.s.along[on]
        step = step_at_rim(self.s, self.now)[on]
        by_channel = step / ((step**2).sum(1, keepdims=True) + LEAST_STEP**2)
        width_px = np.sqrt(2 * np.pi) * np.exp(self.now.photo[0])
        alone = width_px * (by_channel[:, :, None] * shapes(along)[:, None]).reshape(len(along), -1)
        firm = LINE_SD_PX**-2
        itself = np.clip(1 - firm * variance, 0.0, 1.0)  # share that a stretch's own light has in its place
        X, weight = shapes(along), itself * firm
        line = X @ np.linalg.solve(X.T @ (weight[:, None] * X) + np.diag(SIDE_SD[LINE] ** -2), (weight[:, None] * X).T)
        return np.asarray((1 - itself)[:, None] * (line @ alone) + itself[:, None] * alone)
