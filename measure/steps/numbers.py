"""Numbers with limits, as people write them: 1.6, 1,6 or 1.6 mm."""

from __future__ import annotations

import math

from calib.errors import WrongUsage
from calib.written import plain_number


def number(words: str, option: str, low: float, high: float, unit: str = "mm") -> float:
    """A number within limits.

    Args:
        words: as given.
        option: its name, for messages.
        low, high: what is let pass, both included.
        unit: that may stand behind it.

    Raises:
        WrongUsage: no number, or outside the limits.
    """
    value = plain_number(words, unit)
    if value is None:
        raise WrongUsage(
            f"{option} “{words}” is not a number: write {unit} like {low + (high - low) / 10:.3g}.", "number"
        )
    if not math.isfinite(value) or not low <= value <= high:
        raise WrongUsage(
            f"{option} {words} is outside {low:g} to {high:g} {unit}: look at the decimal point.", "number"
        )
    return value


def one_of(words: str, option: str, choices: tuple[str, ...]) -> str:
    """One of a few words.

    Raises:
        WrongUsage: none of them.
    """
    word = words.strip().lower()
    if word not in choices:
        raise WrongUsage(f"{option} is {', '.join(choices[:-1])} or {choices[-1]}, not “{words}”.", "choice")
    return word
