"""The caliper that lies on the bench: how far it reaches, and what its jaws go into. Kept between jobs.

{"reach_mm": 150.0, "inside_mm": 2.5, "tip_mm": 4.0}
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from calib import user_data
from calib.errors import WrongUsage
from calib.files import content_of
from calib.words import Words

VARIABLE = "JAWLINE_CALIPER"
FILE, MAX_MB = "caliper.json", 0.1
CALLED = {"reach_mm": Words("reach"), "inside_mm": Words("inside jaws"), "tip_mm": Words("outside jaw's tip")}
LIMITS_MM = {"reach_mm": (10.0, 2000.0), "inside_mm": (0.1, 50.0), "tip_mm": (0.1, 50.0)}
"""Least and most that any caliper has (chosen)."""


@dataclass(frozen=True, slots=True)
class AtHand:
    """What the caliper at hand can do, mm; a pocket caliper by default (common practice, no source).

    Attributes:
        reach_mm: the longest length that it takes.
        inside_mm: the narrowest hole or gap that its inside jaws go into, pushed together.
        tip_mm: the narrowest that the tip of an outside jaw goes into.
    """

    reach_mm: float = 150.0
    inside_mm: float = 2.5
    tip_mm: float = 4.0

    def __post_init__(self) -> None:
        for name, (low, high) in LIMITS_MM.items():
            if not low <= getattr(self, name) <= high:
                what = CALLED[name]
                raise WrongUsage(
                    Words("A caliper's {what} is {low:g} to {high:g} mm.", what=what, low=low, high=high), "caliper"
                )


def place() -> Path:
    """The file; it need not be there."""
    return user_data.folder("caliper", VARIABLE) / FILE


def at_hand() -> AtHand:
    """The caliper that was told of, else a pocket caliper.

    Raises:
        WrongUsage: the file can't be read or makes no sense.
    """
    try:
        plain = json.loads(content_of(place(), MAX_MB))
        return AtHand(**{f.name: float(plain[f.name]) for f in fields(AtHand) if f.name in plain})
    except FileNotFoundError:
        return AtHand()
    except (OSError, ValueError, TypeError, RecursionError, OverflowError):
        text = Words(
            "What is kept of the caliper ({place}) can't be read: tell of it again, or remove the file.", place=place()
        )
        raise WrongUsage(text, "caliper") from None


def as_file(caliper: AtHand) -> bytes:
    """The file's content."""
    return (json.dumps(asdict(caliper)) + "\n").encode()
