"""Numbers as people write them: 1.6, 1,6 or 1.6 mm; and file names as they can be written."""

from __future__ import annotations

from calib.words import Words

LONGEST_NUMBER = 40
"""Characters; no tool shows a tenth of it."""


def plain_number(words: str, unit: str = "mm") -> float | None:
    """The number that some words are, decimal commas and a unit behind it allowed; None if they are none."""
    if len(words) > LONGEST_NUMBER:
        return None
    figure = words.strip().lower().removesuffix(unit.lower()).strip().replace(",", ".")
    if "_" in figure or not figure.isascii():  # Python would read 4_2, which is a slip, as 42
        return None
    try:
        return float(figure)
    except ValueError:
        return None


def with_article(noun: str) -> str:
    """A noun with “a” or “an”, by how it begins: an A4 sheet, a letter-size sheet."""
    return Words("an {noun}", noun=noun) if noun[:1].lower() in "aeiou" else Words("a {noun}", noun=noun)


RESERVED = frozenset(("con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in "123456789¹²³")))
"""Names that Windows keeps for devices, whatever ending follows: no file or folder there can be called so."""


def is_reserved(name: str) -> bool:
    """Whether Windows has no file or folder of that name, so that a job could not be copied there."""
    return name.split(".")[0].strip().lower() in RESERVED


def shortened(text: str, most: int) -> str:
    """A text with its middle left out where it is longer than so many characters."""
    if len(text) <= most:
        return text
    end = most // 4
    return f"{text[: most - end - 1]}…{text[len(text) - end :]}"


def printable(text: str, instead: str = "?") -> str:
    """What anybody wrote as a line of text may show it: no line breaks, nothing that moves the cursor, no broken bytes.

    Args:
        text: of a file's name, a note or whatever else.
        instead: stands for a character that can't be shown.
    """
    return text if text.isprintable() else "".join(c if c.isprintable() else instead for c in text)
