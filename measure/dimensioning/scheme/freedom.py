"""Degrees of freedom of an outline, and which sizes take them away.

A dimensioning is complete when, with what the drawing shows without words (edges that are tangent, square, in line,
mirrored), it leaves the shape no freedom but to move as a whole; it has a closed chain when one of its sizes follows
from the others. Both are questions of rank of the sizes' derivatives after the features' parameters (Light and
Gossard 1982, "Modification of geometric models through variational geometry").
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from calib.arrays import Array
from measure.dimensioning.gauging import Shape, slopes

INDEPENDENT = 0.03
"""A size is taken when at least this share of its gradient is not spanned already; measured edges are never exactly
tangent or parallel, so that a redundant size leaves a remainder of about a hundredth."""

LEFT = 1e-3
"""A shape that can still move by so much of a unit motion is not pinned down."""


class Freedom:
    """What is still free in a set of shapes; sizes and relations are taken one by one.

    Args:
        shapes: the shapes by name.
        arm_mm: a length that makes turns comparable with shifts, about half the part's size.
    """

    def __init__(self, shapes: Mapping[str, Shape], arm_mm: float) -> None:
        self.shapes = dict(shapes)
        self.arm_mm = arm_mm
        self._at: dict[str, int] = {}
        n = 0
        for name, shape in self.shapes.items():
            self._at[name] = n
            n += shape.parameters
        self._size = n
        self._basis = np.zeros((n, n))
        self.rank = 0
        for motion in self._motions():
            self._take(motion)

    def _motions(self) -> list[Array]:
        """Changes of all parameters under two shifts and a turn."""
        out = []
        for dx, dy, turn in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)):
            v = np.zeros(self._size)
            for name, s in self.shapes.items():
                k = self._at[name]
                mx, my = dx - turn * s.y, dy + turn * s.x
                if s.is_round:
                    v[k], v[k + 1] = mx, my
                else:
                    v[k] = mx * math.sin(s.s) - my * math.cos(s.s)
                    v[k + 1] = turn * self.arm_mm
            out.append(v)
        return out

    def _row(self, f: Callable[..., float], names: Sequence[str]) -> Array:
        row = np.zeros(self._size)
        for name, part in zip(names, slopes(f, [self.shapes[x] for x in names]), strict=True):
            k, shape = self._at[name], self.shapes[name]
            if not shape.is_round:
                part = part / [1.0, self.arm_mm]
            row[k : k + len(part)] += part
        return row

    def _rest(self, row: Array) -> tuple[Array, float]:
        """The part of a row that is new, and its share of the whole."""
        norm = float(np.linalg.norm(row))
        if not math.isfinite(norm) or norm < 1e-9:
            return row, 0.0
        rest = row / norm
        basis = self._basis[: self.rank]
        for _ in range(2):  # a second pass keeps the basis orthogonal to the last digits
            rest = rest - basis.T @ (basis @ rest)
        return rest, float(np.linalg.norm(rest))

    def _take(self, row: Array, least: float = 1e-6) -> bool:
        rest, share = self._rest(row)
        if share < least:
            return False
        self._basis[self.rank] = rest / share
        self.rank += 1
        return True

    def relate(self, f: Callable[..., float], names: Sequence[str]) -> None:
        """Take a relation that the drawing shows by itself: a function of shapes that is to stay as it is."""
        self._take(self._row(f, names), INDEPENDENT)

    def pin(self, name: str, k: int) -> None:
        """Take a parameter that means nothing, such as where along its normal a bare direction lies."""
        row = np.zeros(self._size)
        row[self._at[name] + k] = 1
        self._take(row)

    def dimension(self, f: Callable[..., float], names: Sequence[str]) -> bool:
        """Take a size if it says something new; whether it did."""
        return self._take(self._row(f, names), INDEPENDENT)

    @property
    def left(self) -> int:
        """Degrees of freedom left."""
        return self._size - self.rank

    def loose(self) -> list[str]:
        """Names of the shapes that can still change."""
        if not self.left:
            return []
        basis = self._basis[: self.rank]
        free = 1.0 - (basis**2).sum(0)
        return [n for n, s in self.shapes.items() if free[self._at[n] : self._at[n] + s.parameters].max() > LEFT]
