"""Numbers as people write them: 1.6, 1,6 or 1.6 mm."""

from __future__ import annotations


def plain_number(words: str, unit: str = "mm") -> float | None:
    """The number that some words are, decimal commas and a unit behind it allowed; None if they are none."""
    try:
        return float(words.strip().lower().removesuffix(unit.lower()).strip().replace(",", "."))
    except ValueError:
        return None
