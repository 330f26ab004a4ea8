"""The metal pin that a section has room for, and the hole that it is glued or pressed into.

Pins: ISO 2338 and ISO 8734 diameters (from memory), ground to m6. Holes: H7 of ISO 286 where they can be reamed;
drilled a tenth wider for glue (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

from calib.tools.fits import zone_mm

DIAMETERS_MM = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
GLUE_MM = 0.1
"""How much wider a hole is drilled so that glue has room. Common practice, no source."""
LINES_AROUND = 2
"""Extrusion widths of plastic that stay round a hole, at least. Common practice, no source."""
DEPTHS = 3
"""Diameters that a pin reaches into sound material on either side. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin and its hole.

    Attributes:
        diameter_mm: of the pin.
        drilled_mm: of the hole for glue.
        reamed_mm: smallest and largest diameter of a reamed hole that the pin is pressed into, H7.
        reach_mm: how far it reaches into sound material on either side, at least.
    """

    diameter_mm: float
    drilled_mm: float
    reamed_mm: tuple[float, float]
    reach_mm: float


def pin(diameter_mm: float) -> Pin:
    """A pin of one of the standard diameters."""
    _, over = zone_mm("H7", diameter_mm)
    return Pin(
        diameter_mm, round(diameter_mm + GLUE_MM, 3), (diameter_mm, round(diameter_mm + over, 3)), DEPTHS * diameter_mm
    )


def room_mm(diameter_mm: float, line_mm: float) -> float:
    """The least thickness of a section, both ways, that a pin of this diameter can be let into.

    Args:
        diameter_mm: of the pin.
        line_mm: extrusion width.
    """
    return diameter_mm + GLUE_MM + 2 * LINES_AROUND * line_mm


def largest_pin(section_mm: float, line_mm: float) -> Pin | None:
    """The thickest standard pin that a section has room for; None where it has room for none.

    Args:
        section_mm: the section's lesser thickness, of wall and of height.
        line_mm: extrusion width.
    """
    fitting = [d for d in DIAMETERS_MM if room_mm(d, line_mm) <= section_mm + 1e-9]
    return pin(fitting[-1]) if fitting else None
