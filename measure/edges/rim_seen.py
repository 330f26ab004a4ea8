"""Whether the upper rim is rounded or chamfered, and by how much, by the light across it (`rim_light`).

For each form and radius the likelihood of profiles is summed out over what light does besides, which is linear with
normal priors; over the place of the outline, of each stretch by itself; and over the blur, which is the photo's.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.rim_bands import WIDEST_MM, Bands, bands_of
from measure.edges.rim_light import CORRELATED, explained
from measure.edges.rounded import ROUNDED_MM, ROUNDED_SD_MM
from measure.edges.sight import Wall

RADII_MM = np.array([0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.35, WIDEST_MM])
"""Radii of roundings, and legs of chamfers, that are tried, besides none."""
FORMS = np.log([[0.8], [0.2]])
"""Logarithms of the shares of roundings and of chamfers among rims that are not sharp (chosen)."""
BLUR_WIDER, BLUR_SD, BLURS = 0.11, 0.12, np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
"""The blur across a part's edges over that across the card's sides, logarithm: its mean, what sampling adds, and its
standard deviation (60 rendered photos); and those that are tried, in standard deviations."""
FEWEST = 3
"""Fewer stretches say nothing."""
TRUST = 6.0
"""What one stretch can say against a radius."""
HEARD, MOST = 0.2, 4.0
"""What is wrong with the model is wrong all round: the share of the logarithm of the ratio of likelihoods that is
believed, and that of a ratio at most (64 rendered photos, 19 with rounded rims: logistic regression)."""
RADIUS_SD_MM = 0.04
"""Standard deviation of the radius that is found, besides what light leaves open."""


@dataclass(frozen=True, slots=True)
class RimSeen:
    """What the light across a part's boundaries says of its upper rim.

    Attributes:
        sharp: logarithm of the likelihood of none, but for a constant; rounded: (f, r) of RADII_MM as roundings, and as
            chamfers where walls are seen: along hidden ones alone a shadow looks like a chamfer.
        places_mm: (f, r, b) how far outside of where light was taken the outline lies, for each of them and each
            stretch.
        bands: the stretches.
    """

    sharp: float
    rounded: Array
    places_mm: Array
    bands: Bands

    @property
    def log_odds(self) -> float:
        """For a rounded rim against a sharp one: logarithm of the ratio of likelihoods, as far as it is believed."""
        share = np.exp(-0.5 * ((RADII_MM - ROUNDED_MM) / ROUNDED_SD_MM) ** 2)
        rounded = np.logaddexp.reduce(self._forms + np.log(share / share.sum()) + self.rounded, axis=None)
        return self._trust * float(np.clip(HEARD * (rounded - self.sharp), -MOST, MOST))

    def radius(self, mean_mm: float, sd_mm: float) -> tuple[float, float]:
        """Mean and standard deviation, mm, of a radius of which these were known before."""
        share = self._share(mean_mm, sd_mm).sum(0)
        mean = float(share @ RADII_MM)
        return mean, float(np.hypot(np.sqrt(share @ (RADII_MM - mean) ** 2), RADIUS_SD_MM))

    def places(self, mean_mm: float, sd_mm: float) -> tuple[Array, Array]:
        """(b,) mean of `places_mm`, and their change with the radius, of which these were known before."""
        return _expected(self._share(mean_mm, sd_mm), self.places_mm)

    def chamfer(self, mean_mm: float, sd_mm: float) -> float:
        """The probability that a rim which is not sharp is chamfered."""
        return float(self._share(mean_mm, sd_mm)[1:].sum())

    @property
    def _trust(self) -> float:
        """How far it is believed: JPEG keeps lightness sharp and colours coarse, so of a face that is cut off in some
        colours the others tell less, the square root of their share of lightness (chosen; of 75 rendered photos, by red
        alone, 0.3 to 0.4 served best, of nine overexposed ones 0.3 to 0.5)."""
        return float(np.sqrt(self.bands.told_by.mean()))

    @property
    def _forms(self) -> Array:
        return FORMS[: len(self.rounded)]

    def _share(self, mean_mm: float, sd_mm: float) -> Array:
        """(f, r) probabilities of forms and radii."""
        heard = self._forms + self._trust * HEARD * self.rounded - 0.5 * ((RADII_MM - mean_mm) / sd_mm) ** 2
        share = np.exp(heard - heard.max())
        return np.asarray(share / share.sum())


def _expected(share: Array, places_mm: Array) -> tuple[Array, Array]:
    """(b,) mean of places (f, r, b) by probabilities (f, r) of forms and radii, and its change with the radius."""
    form = share.sum(1)
    off = RADII_MM - (share @ RADII_MM / form)[:, None]
    by_radius = share * off / (share * off**2).sum(1, keepdims=True)  # a regression within each form
    return np.tensordot(share, places_mm, 2), np.tensordot(form[:, None] * by_radius, places_mm, 2)


def rim_seen(light: Light, view: View, outlines_mm: tuple[Array, ...], wall: Wall) -> RimSeen | None:
    """What the light across a part's boundaries says of its upper rim; None where it says nothing.

    Args:
        light: the photo around the part.
        view: the solved view.
        outlines_mm: (n, 2) closed outlines, the outer boundary first.
        wall: heights of the part's edges.
    """
    seen = bands_of(light.unsharpened(), view, outlines_mm, wall)
    if len(seen.light) < FEWEST:
        return None
    return said_by(seen, view.mm_per_px(outlines_mm[0].mean(0)), light.optics.blur_px)


def said_by(seen: Bands, px_mm: float, blur_px: float) -> RimSeen:
    """See `rim_seen`: by light that has been taken, for a size of pixels and a blur of the card's sides."""
    blurs = blur_px * np.exp(BLUR_WIDER + BLUR_SD * BLURS)
    groups = list(seen.groups())
    forms = 2 if np.count_nonzero(~seen.hidden) >= FEWEST else 1
    rims = [(0.0, False), *product(RADII_MM / px_mm, (False, True)[:forms])]
    every = [[explained(groups, size, blur, chamfered=chamfered) for size, chamfered in rims] for blur in blurs]
    found, places = (np.array([[s[k] for s in row] for row in every]) for k in (0, 1))
    of_rims = found[:, 1:].reshape(len(blurs), -1, forms, found.shape[2])
    of_rims = np.where(seen.hidden, np.minimum(of_rims, of_rims[:, :, :1]), of_rims)
    found[:, 1:] = of_rims.reshape(found[:, 1:].shape)
    prior = np.array([[s[2] for s in row] for row in every]) - 0.5 * BLURS[:, None] ** 2
    said = np.maximum(found - found.max((0, 1)), -TRUST).sum(2) / CORRELATED + prior
    by_rim = np.logaddexp.reduce(said, axis=0)
    place = (np.exp(said - by_rim)[..., None] * places).sum(0)
    by_form = by_rim[1:].reshape(-1, forms).T, px_mm * place[1:].reshape(-1, forms, place.shape[1]).transpose(1, 0, 2)
    return RimSeen(float(by_rim[0]), *by_form, seen)
