"""What a person says of a part's upper edge: sharp, rounded a little, or clearly rounded."""

from __future__ import annotations

from typing import Literal, get_args

from calib.errors import WrongUsage
from calib.words import Words

RimWord = Literal["unknown", "sharp", "little", "clear"]
RIM_WORDS: tuple[RimWord, ...] = get_args(RimWord)


def rim_word(words: str | None) -> RimWord:
    """Whether the upper edge is rounded; unknown where nobody says.

    Raises:
        WrongUsage: another word.
    """
    said = "unknown" if words is None else words.strip().lower()
    for told in RIM_WORDS:
        if said == told:
            return told
    raise WrongUsage(
        Words(
            "The upper edge is sharp, little (rounded a little) or clear (clearly rounded), not “{words}”.", words=words
        ),
        "rim",
    )
