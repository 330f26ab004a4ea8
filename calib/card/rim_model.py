"""What a photo shows across a card's side, as a forward model with its derivatives.

Across a side there is the card's face, perhaps a strip of its wall, which is seen at so low an angle that it mirrors
the ground beside it, and the ground, darker where the card keeps light from it, lighter where a lit wall throws some of
its own colour on it. The optics blur that light, the sensor cuts it off at its limit, it is coded (IEC 61966-2-1),
mostly sharpened, and JPEG halves the resolution of its colour. Each of these moves the place where a plain step would
be found, by a pixel where a pale face is overexposed. So none of it is undone: it is predicted, and codes are compared
with codes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import SHARPEN_PX
from calib.light.srgb import coded, coded_by_light

STEP_PX, INNER_PX, OUTER_PX, MARGIN_PX = 0.5, 7.0, 13.0, 3.5
"""Spacing of the samples; how far they reach inwards and outwards; and how much farther light is predicted, so that
sharpening has neighbours."""
CLIPPED, INNER_SAMPLES = 0.985, 15
"""A code from which on light was cut off; and how many of the innermost samples show what the face is like."""
CHROMA_PX = 1.0
"""How far JPEG's halved resolution smears colour, standard deviation: there the mean of two pixels, variance 1/3, and
back a triangle four wide, variance 2/3 (arithmetic)."""
LUMA = np.array([0.299, 0.587, 0.114])
TO_JPEG = np.stack([LUMA, 0.564 * (np.array([0, 0, 1]) - LUMA), 0.713 * (np.array([1, 0, 0]) - LUMA)], 1)
"""RGB codes to Y, Cb, Cr, as columns (ITU-R BT.601, which JFIF takes)."""
SHADOWS = ((0.0, 0.5), (0.25, 0.65), (0.45, 0.85), (0.65, 1.05), (0.85, 1.25), (1.05, 1.55), (1.3, 2.0), (1.7, 2.8))
"""Where rims of shadows begin and end, in thicknesses of the card from the foot of its wall: between them any shadow
that only grows lighter outwards."""
BOUNCE = 1.2
"""Light that a wall throws on the ground where it hides the sky, over the wall's own: one over the light of a white
surface in the open, which a well exposed photo shows a little below its limit (Lambert's law)."""
PLASTIC = 0.04
"""Share of light that plastic mirrors head-on (refractive index 1.5, Fresnel)."""
DARKEST = 0.02
"""Least share of its light that shaded ground keeps (chosen: so that its logarithm stays finite)."""
WALL_IN_BLURS = 1.5
"""A wall that is seen this wide, in blurs, shows its own colour whole; a narrower one in part (chosen)."""

FACE, SLOPE, GROUND, OWN = slice(1, 4), 4, slice(5, 8), 8
"""A stretch's own unknowns: place of the upper rim, px; logarithms of the face's light; how that changes inwards, share
a pixel; logarithms of the ground's light; and how many they are."""
SHADES, WALL, LINE, MIRROR, SIDE = slice(0, 9), slice(9, 12), slice(12, 15), 15, 16
"""A side's: shares of its light that the ground gets from the whole sky, and that each shadow takes; logarithms of the
wall's light over the face's; offset, slope and bow of the line that its stretches lie on, px; how glossy its wall is,
see `Stretches.mirror`; and how many they are."""
BLUR, SHARPENING, PHOTO = 0, 1, 2
"""The photo's: logarithm of the blur, px, and strength of the sharpening; and how many they are."""


@dataclass(frozen=True, slots=True)
class Stretches:
    """Mean light across m short stretches of a card's four sides.

    Attributes:
        light: (m, n, 3) linear light, 0 to 1, at `offsets()` from where the upper rim is expected, outwards.
        side: (m,) 0 to 3; along: (m,) -0.5 to 0.5 of the side's length.
        wall_px: (m,) how far outside the upper rim the foot of the wall is seen; negative where the rim hides it.
        thick_px: (m,) as many pixels as the card's thickness would be if it were laid outwards on the ground.
    """

    light: Array
    side: NDArray[np.intp]
    along: Array
    wall_px: Array
    thick_px: Array

    @property
    def burnt_out(self) -> NDArray[np.bool_]:
        """(m,) whether the face's light is cut off in all colours."""
        return np.asarray(self._cut_off().all(1))

    @property
    def overexposed(self) -> NDArray[np.bool_]:
        """(m,) whether the face's light is cut off in some colour."""
        return np.asarray(self._cut_off().any(1))

    @property
    def mirror(self) -> Array:
        """(m,) share of the ground's light that a polished wall would mirror: it is seen from almost above (Schlick
        1994, An inexpensive BRDF model, with the reflectance of plastic).
        """
        slope = np.maximum(self.wall_px, 0) / self.thick_px
        return np.asarray(PLASTIC + (1 - PLASTIC) * (1 - slope / np.hypot(1, slope)) ** 5)

    def _cut_off(self) -> NDArray[np.bool_]:
        """(m, 3) whether the face's light is cut off, of each colour."""
        return np.asarray(clipped_codes(self.light[:, :INNER_SAMPLES]).mean(1) > CLIPPED)


@dataclass(frozen=True, slots=True)
class RimParameters:
    """What the model depends on.

    Attributes:
        own: (m, OWN) of each stretch; by_side: (4, SIDE); photo: (PHOTO,).
    """

    own: Array
    by_side: Array
    photo: Array


def offsets() -> Array:
    """(n,) where light is taken across a side, px."""
    n = round((INNER_PX + OUTER_PX + 2 * MARGIN_PX) / STEP_PX) + 1
    return np.asarray(-INNER_PX - MARGIN_PX + STEP_PX * np.arange(n))


KEPT = slice(round(MARGIN_PX / STEP_PX), -round(MARGIN_PX / STEP_PX))
"""The samples that are compared."""


def clipped_codes(light: Array) -> Array:
    """sRGB codes, 0 to 1, of linear light, cut off at full light."""
    return coded(np.clip(light, 0, 1))


def _code_by_light(light: Array) -> Array:
    return np.where(light < 1, coded_by_light(light), 0.0)


def _smoothing(sigma_px: float) -> Array:
    """(n, n) blur of what is sampled at `offsets()`."""
    x = offsets()
    out = np.exp(-0.5 * ((x[:, None] - x) / sigma_px) ** 2)
    return np.asarray(out / out.sum(1, keepdims=True))


def jpeg_codes(light: Array) -> Array:
    """(m, k, 3) codes Y, Cb, Cr, share of full code, of the linear light (m, n, 3) of a photo."""
    return np.asarray((clipped_codes(light) @ TO_JPEG)[:, KEPT])


def shades(d: Array) -> Array:
    """(9, ...) what keeps light from the ground at a distance d from the foot of the wall, in thicknesses.

    First the share of the sky that the wall hides (a long upright wall under an even sky, by the cosine law), then 1
    within each shadow and 0 beyond.
    """
    out = [1 - 0.5 * (1 + d / np.sqrt(1 + d * d))]
    for p, q in SHADOWS:
        v = np.clip((d - p) / (q - p), 0, 1)
        out.append(1 - v * v * (3 - 2 * v))
    return np.stack(out)


def _shades_by_distance(d: Array) -> Array:
    """(9, ...) their derivatives, sign turned: how fast it grows lighter."""
    out = [0.5 / (1 + d * d) ** 1.5]
    for p, q in SHADOWS:
        v = np.clip((d - p) / (q - p), 0, 1)
        out.append(6 * v * (1 - v) / (q - p))
    return np.stack(out)


def predicted(s: Stretches, at: RimParameters) -> Array:
    """(m, k, 3) codes Y, Cb, Cr that a photo would have."""
    return _model(s, at, derivative=False)[0]


def with_derivative(s: Stretches, at: RimParameters) -> tuple[Array, Array]:
    """The same, and its change (m, OWN + PHOTO + SIDE, k, 3) with a stretch's own unknowns, the photo's, its side's."""
    return _model(s, at, derivative=True)


def _model(s: Stretches, at: RimParameters, *, derivative: bool) -> tuple[Array, Array]:
    from scipy.special import ndtr

    own, side, blur = at.own, at.by_side[s.side], np.exp(at.photo[BLUR])
    softer, smear = _smoothing(SHARPEN_PX), _smoothing(CHROMA_PX)
    u = offsets() - own[:, :1]
    wall, hidden = (np.maximum(sign * s.wall_px, 0)[:, None] for sign in (1, -1))
    past_rim, past_foot = ndtr(u / blur), ndtr((u - wall) / blur)
    d = np.maximum(u - s.wall_px[:, None], hidden) / s.thick_px[:, None]
    shade = shades(d)
    base, far = np.exp(own[:, None, FACE]), np.exp(own[:, None, GROUND])
    inwards = np.minimum(u, 0)[..., None]
    face, matt = base * (1 + own[:, SLOPE, None, None] * inwards), base * np.exp(side[:, None, WALL])
    mirror = s.mirror[:, None, None]
    strip = matt + side[:, MIRROR, None, None] * mirror * far
    thrown = BOUNCE * matt * shade[0][..., None]
    lit = np.maximum(1 - np.einsum("mk,kmn->mn", side[:, SHADES], shade)[..., None] + thrown, DARKEST)
    ground = far * lit
    on_face, on_wall, on_ground = (1 - past_rim)[..., None], (past_rim - past_foot)[..., None], past_foot[..., None]
    light = face * on_face + strip * on_wall + ground * on_ground
    code = clipped_codes(light)
    finer = code - softer @ code
    sharp = code + at.photo[SHARPENING] * finer
    out = np.clip(sharp, 0, 1) @ TO_JPEG
    out[..., 1:] = smear @ out[..., 1:]
    if not derivative:
        return out[:, KEPT], np.empty(0)
    rim, foot = (np.exp(-0.5 * (x / blur) ** 2)[..., None] / np.sqrt(2 * np.pi) for x in (u, u - wall))
    at_rim, at_foot = (face - strip) * rim, (strip - ground) * foot
    by_distance = _shades_by_distance(d)
    lighter = np.einsum("mk,kmn->mn", side[:, SHADES], by_distance)[..., None]
    lighter = lighter - BOUNCE * matt * by_distance[0][..., None]
    lighter *= (d * s.thick_px[:, None] > hidden)[..., None] / s.thick_px[:, None, None]
    D = np.zeros((len(own), OWN + PHOTO + SIDE, len(softer), 3))
    by_photo, by_side = D[:, OWN:], D[:, OWN + PHOTO :]
    D[:, 0] = (at_rim + at_foot) / blur - far * on_ground * lighter
    D[:, SLOPE] = base * inwards * on_face
    for c in range(3):
        by_wall = (matt * on_wall + far * thrown * on_ground)[..., c]
        D[:, FACE.start + c, :, c] = (face * on_face)[..., c] + by_wall
        D[:, GROUND.start + c, :, c] = (ground * on_ground + (strip - matt) * on_wall)[..., c]
        by_side[:, WALL.start + c, :, c] = by_wall
    by_photo[:, BLUR] = (at_rim * u[..., None] + at_foot * (u - wall)[..., None]) / blur
    by_side[:, MIRROR] = mirror * far * on_wall
    by_side[:, SHADES] = -(far * on_ground)[:, None] * shade.transpose(1, 0, 2)[..., None]
    D *= _code_by_light(light)[:, None]
    D += at.photo[SHARPENING] * (D - softer @ D)
    by_photo[:, SHARPENING] = finer
    D *= ((sharp > 0) & (sharp < 1))[:, None]
    D = D @ TO_JPEG
    D[..., 1:] = smear @ D[..., 1:]
    return out[:, KEPT], D[:, :, KEPT]


def step_at_rim(s: Stretches, at: RimParameters) -> Array:
    """(m, 3) how unlike the face it is just outside each stretch: codes of Y, Cb and Cr, those of hue as HUE_WORTH.

    A wall that is seen less wide than its edges are blurred counts in part.
    """
    side = at.by_side[s.side]
    shade = shades(np.maximum(-s.wall_px, 0) / s.thick_px)
    face, far = np.exp(at.own[:, FACE]), np.exp(at.own[:, GROUND])
    matt = face * np.exp(side[:, WALL])
    lit = 1 - np.einsum("mk,km->m", side[:, SHADES], shade)[:, None] + BOUNCE * matt * shade[0][:, None]
    shown = np.clip(s.wall_px / (WALL_IN_BLURS * np.exp(at.photo[BLUR])), 0, 1)[:, None]
    strip = matt + (side[:, MIRROR] * s.mirror)[:, None] * far
    within = clipped_codes(face * (1 - shown) + strip * shown)
    outside = clipped_codes(far * np.maximum(lit, DARKEST))
    return np.asarray((within - outside) @ TO_JPEG * [1, HUE_WORTH, HUE_WORTH])


HUE_WORTH = 0.5
"""What a code of hue is worth against one of lightness: the model agrees with it about half as well
(`calib.card.rim_fit.NOISE`)."""
