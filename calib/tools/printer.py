"""A printer's own figures: how much too large it prints outsides, how much too small insides, and how it shrinks.

    {"name": "bench", "outside_mm": 0.06, "inside_mm": 0.11, "shrinkage": [0.002, 0.0025], "covariance": [[…], …]}

A printed outside is ``nominal (1 − shrinkage) + 2 outside``, an inside ``nominal (1 − shrinkage) − 2 inside``: plastic
swells sideways over every wall, and the whole shrinks as it cools, each axis by its own (common practice, no source).
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calib.arrays import Array
from calib.errors import WrongUsage
from calib.files import content_of
from calib.written import printable

UNKNOWNS = ("outside_mm", "inside_mm", "shrinkage_x", "shrinkage_y")
"""Order of a printer's figures in its covariance."""
MAX_MB = 1.0
LONGEST_NAME = 40
LEAST_SD = 1e-9
"""No test piece tells a figure better, mm or a share."""
LIMITS = ((-0.6, 0.6), (-0.6, 0.6), (-0.05, 0.05), (-0.05, 0.05))


@dataclass(frozen=True, slots=True)
class Printer:
    """What one printer does with one material.

    Attributes:
        name: as its owner calls it.
        outside_mm: what every outer face stands out too far.
        inside_mm: what every inner face stands in too far.
        shrinkage: (2,) share by which x and y come out too short.
        covariance: (4, 4) of these figures, in the order of `UNKNOWNS`.
    """

    name: str
    outside_mm: float
    inside_mm: float
    shrinkage: tuple[float, float]
    covariance: Array

    def figures(self) -> Array:
        """(4,) all figures, in the order of `UNKNOWNS`."""
        return np.array([self.outside_mm, self.inside_mm, *self.shrinkage])

    @property
    def stretch(self) -> float:
        """How many times larger all is drawn so that it shrinks to its size, the mean of both axes."""
        return 1 / (1 - sum(self.shrinkage) / 2)

    def text(self) -> str:
        """The file's content."""
        plain = {
            "name": self.name,
            "outside_mm": round(self.outside_mm, 5),
            "inside_mm": round(self.inside_mm, 5),
            "shrinkage": [round(s, 7) for s in self.shrinkage],
            "covariance": [[float(f"{v:.9g}") for v in row] for row in self.covariance],
        }
        return json.dumps(plain, indent=1) + "\n"


def read_printer(path: Path) -> Printer:
    """A printer's figures from their file.

    Raises:
        WrongUsage: the file is not there or makes no sense.
    """
    try:
        plain = json.loads(content_of(path, MAX_MB).decode("utf-8-sig"))
    except OSError as why:
        reason = (why.strerror or "").lower()
        raise WrongUsage(f"The printer's file {path} can't be read ({reason}).", "printer") from None
    except (ValueError, RecursionError):
        raise WrongUsage(f"The printer's file {path} is not valid JSON.", "printer") from None
    try:
        return _printer(plain)
    except (KeyError, TypeError, ValueError, IndexError, OverflowError):
        raise WrongUsage(
            f"The printer's file {path} makes no sense: measure the test piece again.", "printer"
        ) from None


def _is_covariance(c: Array) -> bool:
    """Whether errors can go together like that: symmetric, no error known better than exactly, none beyond the limits.

    A correlation beyond 1 shows as an eigenvalue below 0 once all errors are brought to the same size.
    """
    sd = np.sqrt(np.clip(np.diag(c), 0, None)) if np.isfinite(c).all() else np.array([np.inf])
    if not np.all((sd > LEAST_SD) & (sd <= [high for _, high in LIMITS])):
        return False
    sizes = np.outer(sd, sd)
    if not np.all(np.abs(c) <= (1 + 1e-6) * sizes):
        return False
    correlation = c / sizes
    return bool(np.allclose(correlation, correlation.T, atol=1e-6) and np.linalg.eigvalsh(correlation).min() > -1e-6)


def _printer(plain: Any) -> Printer:
    name, covariance = str(plain["name"]), np.array(plain["covariance"], float)
    figures = [float(v) for v in (plain["outside_mm"], plain["inside_mm"], *plain["shrinkage"])]
    sound = len(figures) == len(UNKNOWNS) and covariance.shape == (4, 4) and _is_covariance(covariance)
    if not sound or any(
        not math.isfinite(v) or not low <= v <= high for v, (low, high) in zip(figures, LIMITS, strict=True)
    ):
        raise ValueError
    return Printer(printable(name)[:LONGEST_NAME], figures[0], figures[1], (figures[2], figures[3]), covariance)
