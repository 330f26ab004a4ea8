"""Numbers with limits, as people write them: 1.6, 1,6 or 1.6 mm."""

from __future__ import annotations

import math

from calib.errors import WrongUsage
from calib.words import Words
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
            Words(
                "{option} “{words}” is not a number: write {unit} like {low:.3g}.",
                option=option,
                words=words,
                unit=unit,
                low=low + (high - low) / 10,
            ),
            "number",
        )
    if not math.isfinite(value) or not low <= value <= high:
        raise WrongUsage(
            Words(
                "{option} {words} is outside {low:g} to {high:g} {unit}: look at the decimal point.",
                option=option,
                words=words,
                low=low,
                high=high,
                unit=unit,
            ),
            "number",
        )
    return value


def one_of(words: str, option: str, choices: tuple[str, ...]) -> str:
    """One of a few words.

    Raises:
        WrongUsage: none of them.
    """
    word = words.strip().lower()
    if word not in choices:
        raise WrongUsage(
            Words(
                "{option} is {choices} or {choices2}, not “{words}”.",
                option=option,
                choices=", ".join(choices[:-1]),
                choices2=choices[-1],
                words=words,
            ),
            "choice",
        )
    return word
