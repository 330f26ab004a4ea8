"""Lettering: how wide words are on paper, and how a number is written with its uncertainty.

Widths are those of Bitstream Vera Sans drawn somewhat narrow, about the proportions of ISO 3098 type B.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

CAP_HEIGHT = 1493 / 2048
"""Height of a capital, in ems."""
NARROWED = 0.82
"""Horizontal scale of the letters."""

FIGURES_MM = 3.5
"""The drawing's character height (ISO 3098)."""
SMALL_MM = 2.5
"""Height of the uncertainty beside a value, and of notes."""
TINY_MM = 1.8
"""Height of feature labels and of the title block's captions."""
PLUS_MINUS = "\N{PLUS-MINUS SIGN}"
DIAMETER = "\N{DIAMETER SIGN}"
TIMES = "\N{MULTIPLICATION SIGN}"
DEGREE = "\N{DEGREE SIGN}"

# Advance widths, thousandths of an em; from the font's own hmtx table.
_ASCII = (
    "318 401 460 838 636 950 780 275 390 390 500 838 318 361 318 337 636 636 636 636 636 636 636 636 636 636 337 337 "
    "838 838 838 531 1000 684 686 698 770 632 575 775 752 295 295 656 557 863 748 787 603 787 695 635 611 732 684 989 "
    "685 611 685 390 337 390 838 500 500 613 635 550 635 615 352 635 634 278 278 579 278 974 634 612 635 635 411 521 "
    "392 634 592 818 592 592 525 636 337 636 838"
)
_LATIN = (
    "636 401 636 636 636 636 337 500 500 1000 471 612 838 361 1000 500 500 838 401 401 500 636 636 318 500 401 471 612 "
    "969 969 969 531 684 684 684 684 684 684 974 698 632 632 632 632 295 295 295 295 775 748 787 787 787 787 787 838 "
    "787 732 732 732 732 611 605 630 613 613 613 613 613 613 982 550 615 615 615 615 278 278 278 278 612 634 612 612 "
    "612 612 612 838 612 634 634 634 634 592 635 592"
)
_MORE = {"Ć": 698, "ć": 550, "Č": 698, "č": 550, "đ": 635, "Ğ": 775, "ğ": 635, "İ": 295, "ı": 278, "Ł": 562, "ł": 284}
_MORE |= {"Œ": 1070, "œ": 1023, "Ş": 635, "ş": 521, "Š": 635, "š": 521, "Ž": 685, "ž": 525, "–": 500, "—": 1000}
_MORE |= {"‘": 318, "’": 318, "“": 518, "”": 518, "…": 1000, "≈": 838, "≤": 838, "≥": 838, "−": 838, "•": 590}
WIDTHS: dict[str, int] = {chr(32 + i): int(w) for i, w in enumerate(_ASCII.split())}
WIDTHS |= {chr(160 + i): int(w) for i, w in enumerate(_LATIN.split())}
WIDTHS |= _MORE
WIDTHS[DIAMETER] = WIDTHS["Ø"]  # the font has the letter only, which the trade takes for the sign


@lru_cache(maxsize=4096)
def width_mm(text: str, height_mm: float) -> float:
    """How wide a line of text is at a height of capitals."""
    ems = sum(WIDTHS.get(c, 1000) for c in text) / 1000
    return ems * height_mm / CAP_HEIGHT * NARROWED


def drawable(text: str) -> str:
    """The text in characters that the font has: the diameter sign as its letter, others by their plain form or ?."""
    out = []
    for c in text.replace(DIAMETER, "Ø"):
        if c in WIDTHS:
            out.append(c)
            continue
        plain = unicodedata.normalize("NFKD", c).encode("ascii", "ignore").decode()
        plain = "".join(x for x in plain if x in WIDTHS)  # control characters are ASCII too
        out.append(plain or ("?" if c.isprintable() and not unicodedata.combining(c) else ""))
    return "".join(out)


def fitted(text: str, height_mm: float, most_mm: float) -> str:
    """The text, cut short with an ellipsis where it is wider than there is room."""
    if width_mm(text, height_mm) <= most_mm:
        return text
    while text and width_mm(text.rstrip() + "…", height_mm) > most_mm:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, height_mm: float, most_mm: float) -> list[str]:
    """The text in lines that are no wider than there is room; a longer word is cut short."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_mm(longer, height_mm) <= most_mm:
            lines[-1] = longer
        else:
            lines.append(fitted(word, height_mm, most_mm))
    return lines


HUNDREDTHS_BELOW, TENTHS_BELOW = 0.295, 2.95
"""Uncertainties that still round to 0.29 and 2.9, two digits beginning with 2 at most (GUM 7.2.6: one or two
digits)."""


def decimals(u95: float | None) -> int:
    """How many decimals a value deserves: the uncertainty keeps one or two digits, never finer than 0.01."""
    if u95 is None or u95 < HUNDREDTHS_BELOW:
        return 2
    return 1 if u95 < TENTHS_BELOW else 0


def number(value: float, places: int, mark: str = ".") -> str:
    """A number with a fixed count of decimals and the chosen decimal mark."""
    return f"{value:.{places}f}".replace(".", mark)


def figures(value: float, u95: float | None, angle: bool = False, mark: str = ".") -> tuple[str, str]:
    """A value and its uncertainty as they are written: ("24.31", "±0.07"), ("49.6°", "±0.4°").

    Args:
        value: mm or degrees.
        u95: same unit, or None when unknown: the second text is then empty.
        angle: degrees.
        mark: decimal mark.
    """
    unit = DEGREE if angle else ""
    places = decimals(u95)
    if angle:
        places = min(places, 1)
    text = number(value, places, mark) + unit
    if u95 is None:
        return text, ""
    least = 10.0**-places
    return text, f"{PLUS_MINUS}{number(max(u95, least), places, mark)}{unit}"


def count_prefix(count: int) -> str:
    """What stands before a size that several equal features share."""
    return f"{count}{TIMES} " if count > 1 else ""


def em_mm(height_mm: float) -> float:
    """Font size, mm, at which capitals have a height."""
    return height_mm / CAP_HEIGHT
