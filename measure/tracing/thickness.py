"""The thickness that people give with a photo, in words, as a value."""

from __future__ import annotations

import math

from calib.errors import WrongUsage
from calib.messages import Remedy
from calib.words import Words
from calib.written import plain_number
from measure.subject import Subject

MAX_THICKNESS_MM = 60.0
"""Thicker things are no flat parts (common practice, no source)."""


def thickness_mm(words: str | None, subject: Subject) -> float:
    """The thickness as given.

    Raises:
        WrongUsage: it is missing for a part, no number, or outside 0 to 60 mm.
    """
    if words is None:
        if subject == "opening":
            return 0.0
        raise WrongUsage(
            Words("The part's thickness is missing"), "thickness", Remedy("give-thickness"), Remedy("zero-thickness")
        )
    value = plain_number(words)
    if value is None:
        raise WrongUsage(
            Words("The thickness “{words}” is not a number: write millimetres like 4.2.", words=words), "thickness"
        )
    if not math.isfinite(value) or value < 0:
        raise WrongUsage(Words("The thickness can't be {words}: write millimetres like 4.2.", words=words), "thickness")
    if value > MAX_THICKNESS_MM:
        raise WrongUsage(
            Words(
                "A thickness of {words} mm is beyond {max_thickness_mm:g} mm, up to which flat parts "
                "can be measured: look at the decimal point.",
                words=words,
                max_thickness_mm=MAX_THICKNESS_MM,
            ),
            "thickness",
        )
    return value
