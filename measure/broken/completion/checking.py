"""Whether a completed outline can be."""

from __future__ import annotations

from typing import Literal

import numpy as np
import shapely

from calib.words import Words
from measure.broken.breaks import outer
from measure.broken.completion.outcome import Completed, NotCompleted
from measure.geometry.features import COARSE_MM, PLAIN_MM, flatten

OUTSIDE_MM = 0.5
"""So far a fracture may lie outside the completed outline."""


def checked(done: Completed, subject: Literal["part", "opening"]) -> Completed | NotCompleted:
    """Refuse an outline that crosses itself, or that leaves out material that was seen."""
    ring = np.concatenate([flatten(f, PLAIN_MM)[:-1] for f in outer(done.estimate.features)])
    shape = shapely.Polygon(ring)
    if not shape.is_valid:
        return NotCompleted(Words("the completed outline would cross itself"))
    if subject == "part" and leaves_out(done):
        return NotCompleted(Words("the completed outline would leave out material that was seen"))
    return done


def leaves_out(done: Completed) -> bool:
    """Whether a completed outline leaves out material that was seen."""
    ring = np.concatenate([flatten(f, PLAIN_MM)[:-1] for f in outer(done.estimate.features)])
    seen = shapely.MultiPoint(np.concatenate([flatten(f, COARSE_MM) for f in done.broken]))
    return not shapely.Polygon(ring).buffer(OUTSIDE_MM).covers(seen)
