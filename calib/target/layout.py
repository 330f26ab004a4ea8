"""Where everything lies on the printed reference sheet, for each size of paper.

A frame two squares wide, like a chessboard's, runs round an empty field. Its light squares carry coded markers that say
which square it is, and on which paper; where four squares meet is a saddle point of light, and those are measured: ink
that spreads, blur and exposure move the edges of a mark, but not the point where two dark and two light corners meet.

Two bars, one each way, tell how much the printer stretched the sheet.

Frame of reference: millimetres as drawn, origin at the middle of the frame, x to the right, y up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calib.arrays import Array

FRAME_SQUARES = 2
"""Width of the frame."""
MARKER_SHARE = 0.7
"""A marker's side as share of its square's: the rest is the light margin that it needs."""
MARKER_CELLS = 6
"""Cells along a marker's side: four of code, and a dark border."""
BAR_MM = 100.0
"""Nominal length of both bars."""


@dataclass(frozen=True)
class Layout:
    """A sheet.

    Attributes:
        name: of the paper, as on the command line.
        width_mm, height_mm: of the paper.
        square_mm: side of a square; columns, rows: how many of them there are outside along the frame.
        left_mm, bottom_mm: where the frame's corner lies on the paper.
        first_id: number of the first marker; no number occurs on two papers.
    """

    name: str
    width_mm: float
    height_mm: float
    square_mm: float
    columns: int
    rows: int
    left_mm: float
    bottom_mm: float
    first_id: int

    @property
    def half_mm(self) -> Array:
        """(2,) half the frame's outer size."""
        return np.array([self.columns, self.rows]) * self.square_mm / 2

    @property
    def on_paper_mm(self) -> Array:
        """(2,) the origin's place, from the paper's lower left corner."""
        return np.asarray(self.half_mm + np.array([self.left_mm, self.bottom_mm]))

    @property
    def margin_mm(self) -> float:
        """Light margin round a marker, in which nothing but the corners of squares is seen."""
        return (1 - MARKER_SHARE) / 2 * self.square_mm

    def in_frame(self, column: int, row: int) -> bool:
        """Whether a square belongs to the frame."""
        inside = FRAME_SQUARES <= column < self.columns - FRAME_SQUARES
        inside = inside and FRAME_SQUARES <= row < self.rows - FRAME_SQUARES
        return 0 <= column < self.columns and 0 <= row < self.rows and not inside

    @cached_property
    def squares(self) -> tuple[tuple[int, int], ...]:
        """Column and row of every square of the frame, from the lower left."""
        every = ((i, j) for j in range(self.rows) for i in range(self.columns))
        return tuple(s for s in every if self.in_frame(*s))

    @cached_property
    def dark_mm(self) -> Array:
        """(n, 2) lower left corners of the dark squares."""
        at = [s for s in self.squares if sum(s) % 2 == 0]
        return np.array(at, float) * self.square_mm - self.half_mm

    @cached_property
    def markers(self) -> dict[int, Array]:
        """(4, 2) corners of each marker by its number: upper left, upper right, lower right, lower left."""
        side = MARKER_SHARE * self.square_mm / 2
        turn = np.array([[-side, side], [side, side], [side, -side], [-side, -side]])
        light = [s for s in self.squares if sum(s) % 2 == 1]
        middle = (np.array(light, float) + 0.5) * self.square_mm - self.half_mm
        return {self.first_id + k: m + turn for k, m in enumerate(middle)}

    @cached_property
    def saddles_mm(self) -> Array:
        """(n, 2) points where four squares meet."""
        at = [
            (i, j)
            for i in range(1, self.columns)
            for j in range(1, self.rows)
            if all(self.in_frame(i - di, j - dj) for di in (0, 1) for dj in (0, 1))
        ]
        return np.array(at, float) * self.square_mm - self.half_mm

    @property
    def field_half_mm(self) -> Array:
        """(2,) half the size of the empty field."""
        return self.half_mm - FRAME_SQUARES * self.square_mm


def rectangle(half_mm: Array) -> Array:
    """(4, 2) corners of a rectangle about the origin, counter-clockwise."""
    return np.asarray(np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * half_mm)


LAYOUTS: dict[str, Layout] = {
    layout.name: layout
    for layout in (
        Layout("a4", 210.0, 297.0, 10.0, 18, 24, 10.0, 10.0, 0),  # ISO 216
        Layout("letter", 215.9, 279.4, 10.0, 18, 22, 12.0, 10.0, 84),  # ANSI/ASME Y14.1, 8.5 × 11 in
        Layout("a5", 148.0, 210.0, 8.0, 15, 20, 8.0, 8.0, 168),  # ISO 216
    )
}
"""All sheets, by paper."""
