"""Flat rectangles with square corners: formats of paper, and a person's own.

A standard allows a sheet two millimetres, but sheets of office paper are cut to a few tenths (common practice, no
source); their moisture changes them by as much again. Their sides are neither quite straight nor quite square.
"""

from __future__ import annotations

from calib.reference.reference import Reference, SizeLimits
from calib.reference.wanted import Wanted
from calib.tools.budget import rectangular
from calib.view.view import Rectangle
from calib.words import Words

PAPER_SD_MM = 0.25
"""Standard deviation of a side of a cut sheet: limits of half a millimetre, and moisture (common practice)."""
CUT_SHARE = 0.5
"""How far a side's ends and middle stray from where they should be, as a share of what its length does."""
ALLOWED_MM = 2.0
"""ISO 216, sides of 150 to 600 mm: ± 2 mm (from memory)."""

THICKNESS_MM = (0.05, 0.2)
"""Of paper, common practice: 80 g/m² is 0.1 mm."""
OWN_THICKNESS_SD_MM = 0.05
"""Of the thickness that a person states of a rectangle of their own (chosen)."""


def _format(name: str, words: str, width_mm: float, height_mm: float, source: str) -> Reference:
    return Reference(
        name=name,
        words=words,
        rectangle=Rectangle(width_mm, height_mm, 0.0, PAPER_SD_MM, PAPER_SD_MM, 0.0),
        limits=SizeLimits(
            width_mm=(width_mm - ALLOWED_MM, width_mm + ALLOWED_MM),
            height_mm=(height_mm - ALLOWED_MM, height_mm + ALLOWED_MM),
            corner_mm=(0.0, 0.0),
            thickness_mm=THICKNESS_MM,
        ),
        source=source,
    )


A4 = _format("a4", Words("A4 sheet"), 297.0, 210.0, "ISO 216")
LETTER = _format("letter", Words("letter-size sheet"), 279.4, 215.9, "ANSI/ASME Y14.1, 11 × 8.5 inches")
FORMATS: dict[str, Reference] = {r.name: r for r in (A4, LETTER)}
"""Formats of paper by name."""


def own(wanted: Wanted) -> Reference:
    """A person's own rectangle, whose sides lie anywhere within the limits given.

    Raises:
        ValueError: none is wanted.
    """
    if wanted.name is None or wanted.size_mm is None:
        raise ValueError("no rectangle is wanted")
    width, height, thick = wanted.size_mm
    within = wanted.tolerance_mm
    sd = rectangular(within)
    return Reference(
        name=wanted.name,
        words=Words("rectangle {width:g} × {height:g} mm", width=width, height=height),
        rectangle=Rectangle(width, height, thick, sd, sd, OWN_THICKNESS_SD_MM if thick else 0.0),
        limits=SizeLimits(
            (width - within, width + within), (height - within, height + within), (0.0, 0.0), (thick, thick)
        ),
        source="as given",
    )
