"""What a person says of a part's upper edge: sharp, rounded a little, or clearly rounded."""

from __future__ import annotations

from typing import Literal, get_args

from calib.errors import WrongUsage

RimTold = Literal["unknown", "sharp", "little", "clear"]
RIMS_TOLD: tuple[RimTold, ...] = get_args(RimTold)


def rim_told(words: str | None) -> RimTold:
    """Whether the upper edge is rounded; unknown where nobody says.

    Raises:
        WrongUsage: another word.
    """
    said = "unknown" if words is None else words.strip().lower()
    for told in RIMS_TOLD:
        if said == told:
            return told
    raise WrongUsage(
        f"The upper edge is sharp, little (rounded a little) or clear (clearly rounded), not “{words}”.", "rim"
    )
