"""Fits: how much room a part is left in what it goes into; and tables for screws and pins.

Allowances of printed parts: common practice, no source; they suit a printer whose own errors have been taken out, and
a 0.4 mm nozzle. Clearance holes: ISO 273, fine, medium and coarse. Tolerance zones: ISO 286-2, as trade tables print
them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from calib.words import Words

FitName = Literal["press", "snug", "sliding", "loose"]


@dataclass(frozen=True, slots=True)
class Fit:
    """How a printed part sits.

    Attributes:
        name: on the command line.
        words: what it feels like.
        side_mm: room on each side, between the part and what it goes into.
        number: that a gauge of this fit carries.
    """

    name: FitName
    words: str
    side_mm: float
    number: int


FITS: dict[str, Fit] = {
    f.name: f
    for f in (
        Fit("press", Words("goes in with force and stays"), 0.0, 1),
        Fit("snug", Words("goes in by hand and stays"), 0.1, 2),
        Fit("sliding", Words("moves, with little play"), 0.2, 3),
        Fit("loose", Words("drops in and rattles a little"), 0.35, 4),
    )
}
"""The fits, tightest first (common practice, no source)."""

CLEARANCE_HOLES_MM: dict[str, tuple[float, float, float]] = {
    "M2": (2.2, 2.4, 2.6),
    "M2.5": (2.7, 2.9, 3.1),
    "M3": (3.2, 3.4, 3.6),
    "M4": (4.3, 4.5, 4.8),
    "M5": (5.3, 5.5, 5.8),
    "M6": (6.4, 6.6, 7.0),
    "M8": (8.4, 9.0, 10.0),
}
"""ISO 273: diameter of a clearance hole, fine, medium and coarse, by screw."""

ZONES_UM: dict[str, tuple[tuple[float, int, int], ...]] = {
    "H7": ((3, 0, 10), (6, 0, 12), (10, 0, 15), (18, 0, 18), (30, 0, 21)),
    "g6": ((3, -8, -2), (6, -12, -4), (10, -14, -5), (18, -17, -6), (30, -20, -7)),
    "h6": ((3, -6, 0), (6, -8, 0), (10, -9, 0), (18, -11, 0), (30, -13, 0)),
    "h8": ((3, -14, 0), (6, -18, 0), (10, -22, 0), (18, -27, 0), (30, -33, 0)),
    "m6": ((3, 2, 8), (6, 4, 12), (10, 6, 15), (18, 7, 18), (30, 8, 21)),
    "p6": ((3, 6, 12), (6, 12, 20), (10, 15, 24), (18, 18, 29), (30, 22, 35)),
}
"""ISO 286-2: (up to and including this diameter mm, lower and upper deviation in micrometres)."""


def zone_mm(zone: str, diameter_mm: float) -> tuple[float, float]:
    """Lower and upper deviation of a tolerance zone, mm.

    Args:
        zone: one of `ZONES_UM`.
        diameter_mm: above 0, up to 30.

    Raises:
        ValueError: beyond the table.
    """
    for up_to, low, high in ZONES_UM[zone]:
        if 0 < diameter_mm <= up_to:
            return low / 1000, high / 1000
    raise ValueError(f"{zone} is tabled up to 30 mm")


def pin_in_hole_mm(pin: str, hole: str, diameter_mm: float) -> tuple[float, float]:
    """Least and greatest clearance of a metal pin in a reamed hole, mm; negative where it is pressed in.

    Args:
        pin, hole: tolerance zones such as ``m6`` and ``H7``.
        diameter_mm: nominal.
    """
    (pin_low, pin_high), (hole_low, hole_high) = zone_mm(pin, diameter_mm), zone_mm(hole, diameter_mm)
    return hole_low - pin_high, hole_high - pin_low


def clearance_hole(diameter_mm: float, within_mm: float) -> tuple[str, str] | None:
    """The screw, and the series, whose ISO 273 clearance hole a measured diameter fits; None if none or several do.

    Args:
        diameter_mm: as measured.
        within_mm: how far off it may be.
    """
    series = ("fine", "medium", "coarse")
    found = [
        (screw, series[k])
        for screw, sizes in CLEARANCE_HOLES_MM.items()
        for k, size in enumerate(sizes)
        if abs(size - diameter_mm) <= within_mm
    ]
    return found[0] if len(found) == 1 else None
