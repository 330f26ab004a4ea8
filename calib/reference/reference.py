"""References: flat things of known size that give a photo its scale, and those that are taken for them.

ISO/IEC 7810 ID-1 is the bank-size card. Its inch sizes, 3.370 × 2.125, are the original ones (85.598 × 53.975 mm).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.view.view import Rectangle
from calib.words import Words


@dataclass(frozen=True, slots=True)
class SizeLimits:
    """What a standard allows, millimetres: (least, most)."""

    width_mm: tuple[float, float]
    height_mm: tuple[float, float]
    corner_mm: tuple[float, float]
    thickness_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Reference:
    """A rectangular reference.

    Attributes:
        name: as on the command line and in files.
        words: as in a sentence.
        rectangle: nominal size with standard deviations.
        limits: what the standard allows.
        source: of the figures.
    """

    name: str
    words: str
    rectangle: Rectangle
    limits: SizeLimits
    source: str

    @property
    def ratio(self) -> float:
        """Of the long side to the short one."""
        return self.rectangle.width_mm / self.rectangle.height_mm


ID_1 = Reference(
    name="id-1",
    words=Words("bank-size card"),
    rectangle=Rectangle(
        width_mm=85.60,  # ISO/IEC 7810
        height_mm=53.98,  # ISO/IEC 7810
        thickness_mm=0.76,  # ISO/IEC 7810
        width_sd_mm=0.05,  # limits 85.47 to 85.72, cards bunched near the middle: common practice
        height_sd_mm=0.022,  # limits 53.92 to 54.03, likewise
        thickness_sd_mm=0.04,  # limits ± 0.08, likewise
        corner_mm=3.18,  # ISO/IEC 7810
    ),
    limits=SizeLimits(
        width_mm=(85.47, 85.72),  # unused cards; from memory
        height_mm=(53.92, 54.03),  # unused cards; from memory
        corner_mm=(2.88, 3.48),  # ISO/IEC 7810: 3.18 ± 0.30
        thickness_mm=(0.68, 0.84),  # ISO/IEC 7810: 0.76 ± 0.08
    ),
    source="ISO/IEC 7810, size ID-1",
)
"""The bank-size card."""


@dataclass(frozen=True, slots=True)
class LookAlike:
    """Something flat that people take for a bank-size card.

    Attributes:
        words: as in a sentence, with its size.
        width_mm, height_mm: long and short side.
    """

    words: str
    width_mm: float
    height_mm: float

    @property
    def ratio(self) -> float:
        """Of the long side to the short one."""
        return self.width_mm / self.height_mm


LOOK_ALIKES: tuple[LookAlike, ...] = (
    # business cards: sizes as printers sell them by country, trade pages
    LookAlike(Words("a business card 85 × 55 mm"), 85.0, 55.0),
    LookAlike(Words("a business card 88.9 × 50.8 mm"), 88.9, 50.8),
    LookAlike(Words("a business card 91 × 55 mm"), 91.0, 55.0),
    LookAlike(Words("a business card 90 × 54 mm"), 90.0, 54.0),
    LookAlike(Words("a business card 90 × 50 mm"), 90.0, 50.0),
    LookAlike(Words("a business card 90 × 55 mm"), 90.0, 55.0),
    # playing cards: poker and bridge size, makers' pages
    LookAlike(Words("a playing card 88.9 × 63.5 mm"), 88.9, 63.5),
    LookAlike(Words("a playing card 88.9 × 57.2 mm"), 88.9, 57.15),
    # paper and identity formats: ISO 216, ISO/IEC 7810, ANSI/ASME Y14.1
    LookAlike(Words("a sheet of an A format"), 297.0, 210.0),
    LookAlike(Words("a letter-size sheet"), 279.4, 215.9),
    LookAlike(Words("an identity card 105 × 74 mm (ID-2)"), 105.0, 74.0),
    LookAlike(Words("a passport page 125 × 88 mm (ID-3)"), 125.0, 88.0),
    # phones: 19.5 : 9 and the like, common practice
    LookAlike(Words("a phone"), 150.0, 72.0),
)
"""Look-alikes; where ratios are the same the commoner stands first."""

NEAREST_SD, NEXT_SD = 3.0, 2.0
"""How far off the nearest look-alike, and the second one, may lie in standard deviations (common practice)."""


def look_alikes(ratio: float, relative_sd: float) -> tuple[LookAlike, ...]:
    """The look-alikes whose ratio of sides a measured one fits, nearest first, two at most; empty if none does.

    The nearest may lie three standard deviations off, the second two.

    Args:
        ratio: long side over short side, as measured.
        relative_sd: its relative standard deviation.
    """
    off = sorted((abs(math.log(x.ratio / ratio)) / relative_sd, i) for i, x in enumerate(LOOK_ALIKES))
    return tuple(
        LOOK_ALIKES[i] for (deviation, i), most in zip(off, (NEAREST_SD, NEXT_SD), strict=False) if deviation <= most
    )
