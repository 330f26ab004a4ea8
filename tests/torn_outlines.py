"""Outlines with a piece torn out, as edge points with noise, fitted: for whoever looks for breaks.

They are seen by nothing but noise along the normal: what a photo adds is looked at in `tests.accuracy`.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from measure.geometry.features import Feature
from measure.outline.outline import outline
from tests.accuracy.shapes import fracture
from tests.test_outline import loop_of

NOISE_MM, STEP_MM = 0.03, 0.6
"""Of the edge points: as a photo of a part that fills half of it has them."""
LONG_MM, SHORT_MM = 6.0, 3.0
"""A piece breaks off between straight edges at least so long."""
STYLES = {"ragged": (0.5, 14), "coarse": (0.6, 4), "snapped": (0.3, 2)}
"""How far a fracture strays from one corner to the next, mm, and its number of pieces."""

Segment = dict[str, Any]


def outside(truth: Path) -> list[Segment]:
    """The outer boundary of a truth file."""
    return list(json.loads(truth.read_text())["loops"][0]["segments"])


def torn(segments: list[Segment], style: str, rng: np.random.Generator) -> list[Segment] | None:
    """The boundary with a piece broken off between two of its straight edges; None where it has too few."""

    def long(s: Segment) -> float:
        return math.dist(s["start"], s["end"]) if s["kind"] == "line" else 0.0

    lines = [i for i, s in enumerate(segments) if long(s) > LONG_MM]
    if len(segments) < 6 or not lines:
        return None
    i, n = int(rng.choice(lines)), len(segments)
    j = (i + int(rng.integers(2, 5))) % n
    while long(segments[j]) < SHORT_MM:
        j = (j + 1) % n
    if i == j:
        return None
    ends = float(rng.uniform(0.3, 0.7)), float(rng.uniform(0.3, 0.7))
    return list(fracture(segments, i, ends[0], j, ends[1], rng, *STYLES[style]))


def fitted(segments: list[Segment], rng: np.random.Generator) -> tuple[Feature, ...]:
    """The boundary's features, as found from its edge points."""
    loop = loop_of(segments, False, NOISE_MM, rng, STEP_MM)
    return outline([loop], ("scale",), np.diag([1e-6])).features
