"""The words of a dimension: value above the line, uncertainty behind it or under the line."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.languages import ENGLISH, said_in
from calib.words import Words
from measure.dimensioning.scheme.values import CIRCLES, PlannedDimension
from measure.geometry.features import Point
from measure.sheet.layout.board import boxes_of
from measure.sheet.lettering import DEGREE, DIAMETER, FIGURES_MM, SMALL_MM, count_prefix, figures, width_mm
from measure.sheet.marks import Mark, Text

LIFT_MM = 0.6
"""Distance of text from its line."""
SPACE_MM = 0.9
"""Distance of the uncertainty behind a value."""
BELOW_BASE = 0.17
"""How far brackets reach below the base line, as a share of the height of capitals."""


@dataclass(frozen=True, slots=True)
class Caption:
    """The value of a dimension and, smaller, its uncertainty (empty where unknown or auxiliary)."""

    value: str
    spread: str

    @property
    def words(self) -> str:
        """Both in one line."""
        return f"{self.value} {self.spread}".strip()

    def width_mm(self, stacked: bool) -> float:
        """Room that the caption takes along its line."""
        a = width_mm(self.value, FIGURES_MM)
        if not self.spread:
            return a
        b = width_mm(self.spread, SMALL_MM)
        return max(a, b) if stacked else a + SPACE_MM + b

    @property
    def lift_mm(self) -> float:
        """Height of the base line over the line below: brackets reach lower than figures, down to the arrowheads."""
        return LIFT_MM + 0.5 if self.value.startswith("(") else LIFT_MM

    def height_mm(self, stacked: bool) -> tuple[float, float]:
        """How far it reaches below and above its line."""
        below = LIFT_MM + SMALL_MM if stacked and self.spread else -LIFT_MM + BELOW_BASE * FIGURES_MM
        return below, self.lift_mm + FIGURES_MM

    def marks(self, start: Point, angle_rad: float, stacked: bool) -> tuple[Mark, ...]:
        """The texts, from a start on the line that they stand on."""
        u = np.array([math.cos(angle_rad), math.sin(angle_rad)])
        v = np.array([-u[1], u[0]])
        room = self.width_mm(stacked)

        def text(content: str, height: float, along: float, above: float) -> Text:
            x, y = np.array(start) + along * u + above * v
            return Text((float(x), float(y)), content, height, "DIMENSIONS", angle_rad=angle_rad)

        first = width_mm(self.value, FIGURES_MM)
        if not self.spread:
            return (text(self.value, FIGURES_MM, 0, self.lift_mm),)
        second = width_mm(self.spread, SMALL_MM)
        if stacked:
            return (
                text(self.value, FIGURES_MM, (room - first) / 2, LIFT_MM),
                text(self.spread, SMALL_MM, (room - second) / 2, -LIFT_MM - SMALL_MM),
            )
        return (
            text(self.value, FIGURES_MM, 0, LIFT_MM),
            text(self.spread, SMALL_MM, first + SPACE_MM, LIFT_MM),
        )

    def letter_boxes(self, starts: Array, stacked: bool, grown: float, angle_rad: float = 0.0) -> list[Array]:
        """Boxes (n, 5) close round the letters themselves, over and under their line, for starts (n, 2)."""
        p, room = np.atleast_2d(starts), self.width_mm(stacked)
        u = np.array([math.cos(angle_rad), math.sin(angle_rad)])
        v = np.array([-u[1], u[0]])
        if not stacked or not self.spread:
            return [boxes_of(p + self.lift_mm * v, room, FIGURES_MM, angle_rad, grown)]
        out = []
        for words, height, base in ((self.value, FIGURES_MM, LIFT_MM), (self.spread, SMALL_MM, -LIFT_MM - SMALL_MM)):
            wide = width_mm(words, height)
            out.append(boxes_of(p + (room - wide) / 2 * u + base * v, wide, height, angle_rad, grown))
        return out

    def boxes(self, starts: Array, angle_rad: float, stacked: bool, grown: float = 0.0) -> Array:
        """(n, 5) boxes round the caption for starts (n, 2) on its line."""
        below, above = self.height_mm(stacked)
        v = np.array([-math.sin(angle_rad), math.cos(angle_rad)])
        return boxes_of(np.atleast_2d(starts) - below * v, self.width_mm(stacked), below + above, angle_rad, grown)


def caption(wanted: PlannedDimension, decimal_mark: str = ".", language: str = ENGLISH) -> Caption:
    """What a dimension says."""
    s = wanted.stated
    value, spread = figures(s.value, s.u95, s.is_angle, decimal_mark)
    if wanted.form in CIRCLES:
        over, root = Words("over {n} teeth", n=wanted.count), Words("root")
        where = said_in(language, over if wanted.form == "tips" else root)
        return Caption(f"{DIAMETER}{value} {where}", spread)
    sign = {"diameter": DIAMETER, "pitch": DIAMETER, "radius": "R"}.get(wanted.form, "")
    words = f"{count_prefix(wanted.count)}{sign}{value}"
    if wanted.form == "pitch":
        step = f"{360 / wanted.count:.4g}".replace(".", decimal_mark)
        on = said_in(language, Words("{angle} on {circle}", angle=f"{step}{DEGREE}", circle=f"{sign}{value}"))
        words = f"{count_prefix(wanted.count)}{on}"
    if wanted.form == "slot":
        words = count_prefix(wanted.count) + said_in(language, Words("slot {width}", width=value))
    if wanted.auxiliary:
        return Caption(f"({words})", "")
    return Caption(words, spread)
