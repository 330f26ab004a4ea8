"""What people ask of a trace, in words, as values: the thickness, and whether two pieces are to be joined."""

from __future__ import annotations

import math

from calib.errors import WrongUsage
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
            "The part's thickness is missing: measure it with the caliper and give it as --thickness 4.2 "
            "(--thickness 0 goes on without it, with wider uncertainties).",
            "thickness",
        )
    value = plain_number(words)
    if value is None:
        raise WrongUsage(f"The thickness “{words}” is not a number: write millimetres like 4.2.", "thickness")
    if not math.isfinite(value) or value < 0:
        raise WrongUsage(f"The thickness can't be {words}: write millimetres like 4.2.", "thickness")
    if value > MAX_THICKNESS_MM:
        raise WrongUsage(
            f"A thickness of {words} mm is beyond {MAX_THICKNESS_MM:g} mm, up to which flat parts can be measured: "
            "look at the decimal point.",
            "thickness",
        )
    return value


def broken_in_two(words: str | None, subject: Subject, photos: int) -> bool:
    """Whether the two pieces of a broken part are to be joined.

    Raises:
        WrongUsage: another number of pieces, an opening, or several photos.
    """
    if words is None:
        return False
    count = plain_number(words)
    if count == 1:
        raise WrongUsage("A part in one piece needs no --fragments: leave it out.", "fragments")
    if count != 2:
        raise WrongUsage(
            f"--fragments is 2, not “{words}”: two pieces can be joined; of more, glue all but two and take the photo "
            "again.",
            "fragments",
        )
    if subject == "opening":
        raise WrongUsage("--fragments joins pieces of a part; an opening has none.", "fragments")
    if photos > 1:
        raise WrongUsage("--fragments takes one photo, with both pieces in it.", "fragments")
    return True
