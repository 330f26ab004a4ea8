"""A small test piece for a printer, and what caliper readings taken on the print say of it.

The piece is an L with a long and a short outside and inside each way, so that what grows at every face is told apart
from what shrinks with the length. The figures come from the same least-squares adjustment as a part's sizes; the
caliper's zero is an unknown of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.tools.budget import K95
from calib.tools.jaws import TOOLS, Tool, uncertainty
from calib.tools.printer import UNKNOWNS, Printer
from measure.adjustment.least_squares import CRITICAL, Observations, solve
from measure.geometry.features import Feature, Line, Point
from measure.readings.readings import TOUCH, ReadingKind

THICK_MM = 3.0
OUTLINE: tuple[Point, ...] = ((0, 0), (50, 0), (50, 12), (14, 12), (14, 40), (0, 40))
WINDOWS: tuple[tuple[Point, ...], ...] = (
    ((20, 4), (44, 4), (44, 8), (20, 8)),
    ((4.5, 18), (9.5, 18), (9.5, 34), (4.5, 34)),
)
PRIOR_SD = (0.2, 0.2, 0.006, 0.006)
"""What printers do, about: a fifth of a millimetre at a face, half a per cent of shrinkage (common practice)."""
LEAST_READINGS = 4
LEAST_ZERO_MM = 1e-4
"""Standard deviation of a tool's zero at least: so that a tool without one leaves the equations regular."""


@dataclass(frozen=True, slots=True)
class CouponSize:
    """A size on the test piece.

    Attributes:
        number: on its worksheet.
        kind: width (outside jaws) or gap (inside jaws).
        features: labels of its two edges.
        nominal_mm: as drawn.
        axis: 0 along x, 1 along y.
    """

    number: int
    kind: ReadingKind
    features: tuple[str, str]
    nominal_mm: float
    axis: int

    def row(self) -> list[float]:
        """Change of the printed size with the printer's figures (`calib.tools.printer.UNKNOWNS`)."""
        out = [0.0] * len(UNKNOWNS)
        out[0 if self.kind == "width" else 1] = 2.0 if self.kind == "width" else -2.0
        out[2 + self.axis] = -self.nominal_mm
        return out


def features() -> tuple[Feature, ...]:
    """The outline of the test piece: E1 … E6 outside, then its two windows."""
    out: list[Feature] = []
    for loop, ring in enumerate((OUTLINE, *(w[::-1] for w in WINDOWS))):
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
            out.append(Line(f"E{len(out) + 1}", loop, a, b))
    return tuple(out)


SIZES = (
    CouponSize(1, "width", ("E6", "E2"), 50.0, 0),
    CouponSize(2, "width", ("E6", "E4"), 14.0, 0),
    CouponSize(3, "width", ("E1", "E5"), 40.0, 1),
    CouponSize(4, "width", ("E1", "E3"), 12.0, 1),
    CouponSize(5, "gap", ("E8", "E10"), 24.0, 0),
    CouponSize(6, "gap", ("E12", "E14"), 5.0, 0),
    CouponSize(7, "gap", ("E11", "E13"), 16.0, 1),
    CouponSize(8, "gap", ("E7", "E9"), 4.0, 1),
)
"""All sizes that are to be measured, numbered as on the worksheet: each as the outline's corners have it."""


@dataclass(frozen=True, slots=True)
class CouponResult:
    """A printer's figures, and the readings that do not agree with the rest.

    Attributes:
        printer: the figures.
        residual_mm: (n,) reading less adjusted size.
        doubtful: numbers of sizes whose readings contradict the others, the worst first.
    """

    printer: Printer
    residual_mm: tuple[float, ...]
    doubtful: tuple[int, ...]


def printer_by(
    name: str, readings: Sequence[tuple[int, float]], tool: str = "caliper", tools: Mapping[str, Tool] = TOOLS
) -> CouponResult:
    """A printer's figures from readings on its test piece.

    Args:
        name: of the printer.
        readings: (number on the worksheet, value mm); repeats count.
        tool: what they were taken with.
        tools: by name.

    Raises:
        ValueError: fewer than `LEAST_READINGS` different sizes, or a number that is not on the sheet.
    """
    of = {s.number: s for s in SIZES}
    if len({n for n, _ in readings}) < LEAST_READINGS or any(n not in of for n, _ in readings):
        raise ValueError
    known, used = tools[tool], [of[n] for n, _ in readings]
    design = np.array([[*s.row(), 1.0] for s in used])
    observed = np.array([v - s.nominal_mm for (_, v), s in zip(readings, used, strict=True)])
    u = [uncertainty(known, TOUCH[s.kind], s.nominal_mm) for s in used]
    covariance = np.diag([x.single_mm**2 for x in u])
    for i, a in enumerate(used):
        for j, b in enumerate(used):
            if a is b:
                covariance[i, j] += min(u[i].common_mm, u[j].common_mm) ** 2
    prior = np.diag([*PRIOR_SD, max(known.zero_mm, LEAST_ZERO_MM)]) ** 2
    solution = solve([Observations(np.eye(5), np.zeros(5), prior), Observations(design, observed, covariance)])
    group = solution.groups[1]
    worst = sorted(zip(np.abs(group.standardised()).tolist(), (s.number for s in used), strict=True), reverse=True)
    doubtful = list(dict.fromkeys(n for r, n in worst if r > CRITICAL))
    x = solution.x
    found = Printer(name, float(x[0]), float(x[1]), (float(x[2]), float(x[3])), solution.covariance[:4, :4])
    return CouponResult(found, tuple(float(v) for v in group.residuals), tuple(doubtful))


def u95_mm(printer: Printer) -> tuple[float, float, float, float]:
    """u95 of the printer's figures, in the order of `UNKNOWNS`."""
    a, b, c, d = (K95 * math.sqrt(v) for v in np.diag(printer.covariance))
    return a, b, c, d
