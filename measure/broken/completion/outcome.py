"""What comes of completing a break."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from measure.broken.breaks import Break
from measure.geometry.features import Estimate, Feature

Evidence = Literal["mirror", "turn", "extend"]
"""What may tell what was there, the best first."""
By = Literal["mirror", "turn", "extend", "hand", "open"]
Way = By


@dataclass(frozen=True, slots=True)
class Completed:
    """A completed part.

    Attributes:
        estimate: with the completed outer loop.
        way: how it was completed; `open` where it was not, and stays marked.
        which: the break, as wide as it turned out to be.
        broken: what was seen there, in order of travel.
        fresh: labels of completed features.
        prolonged: labels of features that were seen and go on.
        merged: labels of features that are now part of one of those.
        rms_mm, worst_mm: how far the rest is from repeating itself; None for an extension.
        tested: share of the boundary that bears it out.
        angle_rad: by how much it is turned onto itself.
        drawn: the words of what was drawn by hand.
        stretches: of features that were seen and go on, what was not seen of them, under the same labels.
        leaves_out: whether what was drawn leaves out material that was seen.
        corner_u95_mm: how sure the corner's place is where edges go on until they meet.
    """

    estimate: Estimate
    way: Way
    which: Break
    broken: tuple[Feature, ...]
    fresh: tuple[str, ...]
    prolonged: tuple[str, ...]
    merged: tuple[str, ...]
    rms_mm: float | None = None
    worst_mm: float | None = None
    tested: float = 0.0
    angle_rad: float = 0.0
    corner_u95_mm: float | None = None
    drawn: str = ""
    stretches: tuple[Feature, ...] = ()
    leaves_out: bool = False


@dataclass(frozen=True, slots=True)
class NotCompleted:
    """Why a way does not serve."""

    why: str

    def __bool__(self) -> bool:
        return False
