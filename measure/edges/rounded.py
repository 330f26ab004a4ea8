"""A rounded or chamfered upper rim: what the photo shows of it, and what is known of its radius.

Where the wall is hidden, the line that is seen is the silhouette of the rounding; it lies inside the outline by
r·(a + 1 + s − √(1 + s²)), s the wall's apparent width over its height, the tangent of the angle at which it is seen
(geometry of a circle touched by the line of sight; `a` is what the darkening towards the rim adds where beyond it is
darker still, found with rendered parts). Where the wall is seen its foot is the outline, whatever the rim; the line
between face and wall lies somewhere on the rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from calib.arrays import Array
from calib.tools.budget import K95
from measure.rim import RimWord

RIM = "rim"
"""Name of the shared term: the radius less what is reckoned with, mm."""

SHADED, HIDDEN_LINE_SD = 0.15, 0.07
"""See `a` above, of a face that is lighter than what lies beyond; and how much the silhouette's place varies with the
light besides, in radii (15 rendered parts with rims of 0.1 to 0.4 mm)."""
UPPER_LINE, UPPER_LINE_SD = 0.25, 0.28
"""Where the line between face and wall lies inside the outline, in radii, and how much that varies with the light (71
parts rendered with rims of 0.1 to 0.4 mm)."""
ROUNDED_MM, ROUNDED_SD_MM = 0.25, 0.09
"""Radius of rims that are rounded: moulded and printed household parts have 0.1 to 0.4 mm (common practice, no
source)."""
KNOWN: dict[RimWord, tuple[float, float]] = {"sharp": (0.0, 0.02), "little": (0.15, 0.06), "clear": (0.3, 0.08)}
"""Radius and its standard deviation, mm, of what a person says."""
BEYOND = 0.05
"""Share of cases that lie outside of an uncertainty (JCGM 100)."""
COMMON = 0.4
"""Share of parts with a rounded rim, where nobody says."""


@dataclass(frozen=True, slots=True)
class Rim:
    """What is known of the upper rim.

    Attributes:
        told: what a person says.
        radius_mm, sd_mm: its radius, and the standard deviation of that.
        rounded: the likelihood that it is rounded.
        if_rounded_mm: radius and its standard deviation if it is.
    """

    told: RimWord
    radius_mm: float
    sd_mm: float
    rounded: float = COMMON
    if_rounded_mm: tuple[float, float] = (ROUNDED_MM, ROUNDED_SD_MM)

    @classmethod
    def known(cls, told: RimWord, rounded: float = COMMON, if_rounded_mm: tuple[float, float] | None = None) -> Rim:
        """Before readings are heard.

        Where nobody says, sharp rims and rounded ones are taken together: their mean, and a standard deviation of which
        1.96 hold 95 % of them.

        Args:
            told: what a person says.
            rounded: the likelihood that it is rounded, where nobody says.
            if_rounded_mm: its radius if it is, and the standard deviation of that, by the photo; None if that does not
                tell.
        """
        round_ = beforehand(told) if if_rounded_mm is None else if_rounded_mm
        if told == "sharp":
            return cls(told, *KNOWN[told], rounded=0.0)
        if told != "unknown":
            return cls(told, *round_, 1.0, round_)
        mean = rounded * round_[0]

        def beyond(u95: float) -> float:
            """Share of rims that are farther from the mean, less 5 %."""
            sharp, others = (
                ndtr((m - u95 - mean) / sd) + ndtr((mean - u95 - m) / sd) for m, sd in (KNOWN["sharp"], round_)
            )
            return float((1 - rounded) * sharp + rounded * others - BEYOND)

        return cls(told, mean, brentq(beyond, 0.0, 1.0) / K95, rounded, round_)

    @classmethod
    def together(cls, rims: Sequence[Rim]) -> Rim:
        """One rim as several photos or pieces of a part show it, each by itself.

        Their evidence is independent, and what is common among parts, or told, counts once.
        """
        told = rims[0].told
        common = COMMON / (1 - COMMON)
        odds = common
        for rim in rims:
            odds *= rim.rounded / max(1 - rim.rounded, 1e-9) / common
        mean, sd = beforehand(told)
        worth, said = 1 / sd**2, mean / sd**2
        for own, own_sd in (r.if_rounded_mm for r in rims):
            if own_sd < sd:  # what the photo added to what was known
                worth += 1 / own_sd**2 - 1 / sd**2
                said += own / own_sd**2 - mean / sd**2
        return cls.known(told, odds / (1 + odds), (said / worth, worth**-0.5))

    @property
    def is_rounded(self) -> bool:
        """Whether a person says so, or it is found 19 times in 20."""
        return self.told in ("little", "clear") or self.radius_mm > K95 * self.sd_mm

    def in_words(self) -> str:
        """A few words, with the radius that is reckoned with."""
        size = f"R{max(self.radius_mm, 0.0):.2f} ± {K95 * self.sd_mm:.2f} mm"
        if self.is_rounded:
            return f"Upper edge rounded, {size}"
        return "Upper edge sharp, as told" if self.told == "sharp" else f"Upper edge sharp or rounded, {size}"

    @property
    def size_mm(self) -> float:
        """Root mean square of the radius."""
        return float(np.hypot(self.radius_mm, self.sd_mm))


def beforehand(told: RimWord) -> tuple[float, float]:
    """Radius of a rounded rim and its standard deviation, mm, by what a person says."""
    return (ROUNDED_MM, ROUNDED_SD_MM) if told == "unknown" else KNOWN[told]


def silhouette_inset(slope: Array, lighter: Array) -> Array:
    """(n,) how far inside the outline a hidden side is seen, in radii.

    Args:
        slope: (n,) s, see above.
        lighter: (n,) 1 where the face is lighter than what lies beyond, 0 where it is darker.
    """
    return np.asarray(SHADED * lighter + 1 + slope - np.sqrt(1 + slope**2))


SHARP_APART_SD_MM = 0.018
ROUNDED_APART = ((0.35, 0.0, 0.02), (0.65, 0.1, 0.08))
"""How far the upper line lies inside the foot's, median over a photo, mm: standard deviation on sharp rims; and on
rounded ones shares, means and standard deviations of two kinds of light, of which one hardly shows the rounding (45
photos of sharp and 19 of rounded parts, rendered)."""
MOST_RATIO = 12.0
"""The photo is believed up to this ratio of likelihoods."""


def likely_rounded(apart_mm: float | None) -> float:
    """Probability that a rim is rounded, from how far its upper line lies inside the foot's, median over the near
    sides of a photo, mm; None where they show no wall."""
    if apart_mm is None:
        return COMMON
    return believed(float(rounded_share(np.array(apart_mm), "unknown")))


def believed(rounded: float) -> float:
    """A probability that a rim is rounded, as far as a photo is believed."""
    odds, common = rounded / max(1 - rounded, 1e-12), COMMON / (1 - COMMON)
    odds = common * float(np.clip(odds / common, 1 / MOST_RATIO, MOST_RATIO))
    return odds / (1 + odds)


def heard(rounded: float, log_odds: float) -> float:
    """A probability once independent evidence is heard: logarithm of the ratio of its likelihoods."""
    return float(1 / (1 + (1 - rounded) / rounded * np.exp(-log_odds)))


def apart_density(apart_mm: Array, told: RimWord) -> Array:
    """(n,) density, but for a factor, of how far the upper line lies inside the foot's, mm, by what a person says."""
    sharp, rounded = _apart(apart_mm)
    share = _share(told)
    return np.asarray(share * rounded + (1 - share) * sharp)


def rounded_share(apart_mm: Array, told: RimWord) -> Array:
    """(n,) how much of `apart_density` is rounded rims'."""
    return np.asarray(_share(told) * _apart(apart_mm)[1] / np.maximum(apart_density(apart_mm, told), 1e-12))


def _share(told: RimWord) -> float:
    """Of rounded rims, by what a person says."""
    return {"sharp": 0.0, "unknown": COMMON}.get(told, 1.0)


def _apart(apart_mm: Array) -> tuple[Array, Array]:
    """Densities, but for a factor, of what sharp and what rounded rims show."""
    rounded = np.asarray(sum(share * _normal(apart_mm - mean, sd) for share, mean, sd in ROUNDED_APART))
    return _normal(apart_mm, SHARP_APART_SD_MM), rounded


def _normal(away: Array, sd: float) -> Array:
    """Normal density but for a factor."""
    return np.asarray(np.exp(-0.5 * (away / sd) ** 2) / sd)
