"""Numbers as people write them: 1.6, 1,6 or 1.6 mm; and file names as they can be written."""

from __future__ import annotations


def plain_number(words: str, unit: str = "mm") -> float | None:
    """The number that some words are, decimal commas and a unit behind it allowed; None if they are none."""
    if "_" in words:
        return None  # a slip: Python would read 4_2 as 42
    try:
        return float(words.strip().lower().removesuffix(unit.lower()).strip().replace(",", "."))
    except ValueError:
        return None


def printable(text: str) -> str:
    """A file name as a line of text may show it: no line breaks, nothing that moves the cursor, no broken bytes."""
    return "".join(c if c.isprintable() else "?" for c in text)
