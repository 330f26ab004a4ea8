"""Whether the upper rim is rounded, and by how much, by the light across it (`rim_light`).

For each radius the likelihood of profiles is summed out over what light does besides, which is linear with normal
priors; over the place of the outline, of each stretch by itself; and over the blur, which is the photo's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.rim_bands import WIDEST_MM, Bands, bands_of
from measure.edges.rim_light import CORRELATED, explained
from measure.edges.rounded import ROUNDED_MM, ROUNDED_SD_MM
from measure.edges.sight import Wall

RADII_MM = np.array([0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.35, WIDEST_MM])
"""Radii that are tried, besides none."""
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
        sharp: logarithm of the likelihood of none, but for a constant; rounded: (r,) of RADII_MM.
        places_mm: (r, b) how far outside of where light was taken the outline lies, for each radius and stretch.
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
        rounded = np.logaddexp.reduce(np.log(share / share.sum()) + self.rounded)
        return float(np.clip(HEARD * (rounded - self.sharp), -MOST, MOST))

    def radius(self, mean_mm: float, sd_mm: float) -> tuple[float, float]:
        """Mean and standard deviation, mm, of a radius of which these were known before."""
        share = self._share(mean_mm, sd_mm)
        mean = float(share @ RADII_MM)
        return mean, float(np.hypot(np.sqrt(share @ (RADII_MM - mean) ** 2), RADIUS_SD_MM))

    def places(self, mean_mm: float, sd_mm: float) -> tuple[Array, Array]:
        """(b,) mean of `places_mm`, and their change with the radius, of which these were known before."""
        share = self._share(mean_mm, sd_mm)
        mean, off = share @ self.places_mm, RADII_MM - share @ RADII_MM
        return mean, np.asarray((share * off) @ (self.places_mm - mean) / (share @ off**2))

    def _share(self, mean_mm: float, sd_mm: float) -> Array:
        """(r,) probabilities of the radii."""
        heard = HEARD * self.rounded - 0.5 * ((RADII_MM - mean_mm) / sd_mm) ** 2
        share = np.exp(heard - heard.max())
        return np.asarray(share / share.sum())


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
    every = [[explained(groups, radius, blur) for radius in (0.0, *(RADII_MM / px_mm))] for blur in blurs]
    found, places = (np.array([[s[k] for s in row] for row in every]) for k in (0, 1))
    prior = np.array([[s[2] for s in row] for row in every]) - 0.5 * BLURS[:, None] ** 2
    said = np.maximum(found - found.max((0, 1)), -TRUST).sum(2) / CORRELATED + prior
    by_radius = np.logaddexp.reduce(said, axis=0)
    place = (np.exp(said - by_radius)[..., None] * places).sum(0)
    return RimSeen(float(by_radius[0]), by_radius[1:], px_mm * place[1:], seen)
