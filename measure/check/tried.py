"""What a trace of the photo comes to: the very code that draws decides whether there is something to be drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.errors import Untrustworthy
from calib.messages import Message
from calib.photo.photo import Photo
from calib.reference.found import Caution, Found
from measure.check.fitness import TYPICAL_THICKNESS_MM
from measure.edges.blur import require_sharp
from measure.geometry.dimensions import Dimension, list_dimensions
from measure.tracing.doubt import chance_of_wrong
from measure.tracing.request import Request
from measure.tracing.tracing import trace_by

LENGTH_MM = 50.0
"""The length that a photo is judged by: that of an ordinary part."""
BY_THICKNESS = ("no-thickness", "wall-contradicts", "wall-or-shadow", "spike")
"""What a trace remarks because of a thickness that nobody has measured."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A trace that was tried.

    Attributes:
        refused: why nothing is drawn, or None.
        cautions: what is said beside the drawing.
        u95_50_mm: half-width of the interval that holds a length of 50 mm 19 times in 20; nan where nothing is drawn.
        wrong: probability that the outline is too far off to print from, by its own covariance.
        guessed_mm: the thickness that was taken for one that nobody has measured, else 0.
    """

    refused: Message | None = None
    cautions: tuple[Caution, ...] = ()
    u95_50_mm: float = math.nan
    guessed_mm: float = 0.0
    wrong: float = 0.0


def try_trace(photo: Photo, found: Found, request: Request) -> Tried:
    """Trace a photo, and say how it went.

    Args:
        photo: upright.
        found: the reference in it.
        request: what is known of the part; a thickness that is not known is taken to be an ordinary one.
    """
    guessed_mm = TYPICAL_THICKNESS_MM if request.thickness_mm is None and request.subject == "part" else 0.0
    try:
        require_sharp(photo.rgb, found)
        done = trace_by(photo, found, replace(request, thickness_mm=guessed_mm) if guessed_mm else request)
    except Untrustworthy as why:
        return Tried(why.message, guessed_mm=guessed_mm)
    cautions = tuple(c for c in done.cautions if not (guessed_mm and c.code in BY_THICKNESS))
    u95 = u95_of_50(list_dimensions(done.estimate), done.scale.u95_relative)
    return Tried(None, cautions, u95, guessed_mm, chance_of_wrong(done.estimate))


def u95_of_50(sizes: Sequence[Dimension], scale_u95: float) -> float:
    """u95 of a length of 50 mm, from those of a part's own sizes: the scale's share grows with the size, the rest not.

    Args:
        sizes: with their uncertainty.
        scale_u95: relative, of the scale at the part.
    """
    if not sizes:
        return math.nan
    rest = [max(d.u95_mm**2 - (scale_u95 * d.value_mm) ** 2, 0.0) for d in sizes]
    return math.sqrt(float(np.median(rest)) + (scale_u95 * LENGTH_MM) ** 2)
