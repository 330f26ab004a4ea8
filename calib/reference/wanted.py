"""Which reference a person asks for, in words that need no heavy library: `--reference a4`, `--reference 120x80`."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from calib.errors import WrongUsage
from calib.words import Words, both
from calib.written import plain_number

NAMES = ("id-1", "a4", "letter", "sheet")
"""References that have a name."""
LEAST_MM, MOST_MM, MOST_THICK_MM = 20.0, 1500.0, 10.0
LEAST_TOLERANCE_MM, MOST_TOLERANCE_SHARE = 0.01, 0.02
"""Nobody knows a size better than the first; worse than the second (of the short side) it gives no scale."""
TOLERANCE_MM = 0.1
"""What a size is taken to be off at most, where nobody says so (common practice: read to a tenth)."""


@dataclass(frozen=True, slots=True)
class Bars:
    """Lengths of the printed sheet's two check bars as measured, mm; None where that was not done."""

    x_mm: float | None = None
    y_mm: float | None = None


UNMEASURED = Bars()


@dataclass(frozen=True, slots=True)
class Wanted:
    """A reference as asked for.

    Attributes:
        name: one of NAMES, or a person's own size such as ``120x80``; None for whichever is there.
        size_mm: width, height and thickness of a person's own rectangle; None for the others.
        tolerance_mm: half the width of the limits that its width and height lie in.
        bars: of the printed sheet.
    """

    name: str | None = None
    size_mm: tuple[float, float, float] | None = None
    tolerance_mm: float = TOLERANCE_MM
    bars: Bars = UNMEASURED


ANY = Wanted()
_SIZE = re.compile(r"([\d.,]+)\s*[x×]\s*([\d.,]+)(?:\s*[x×]\s*([\d.,]+))?\s*(?:mm)?")


def wanted(words: str | None, tolerance: str | None = None, bars: Bars = UNMEASURED) -> Wanted:
    """Which reference is asked for.

    Args:
        words: ``id-1``, ``a4``, ``letter``, ``sheet``, or the sides of a rectangle of one's own in mm, such as
            ``120x80`` or, with its thickness, ``120x80x3``; empty or None for whichever is there.
        tolerance: of a rectangle of one's own: how far its sides may be off, mm.
        bars: of the printed sheet, as measured.

    Raises:
        WrongUsage: a name or size that can't be used.
    """
    plain = (words or "").strip().lower()
    size = _SIZE.fullmatch(plain)
    if tolerance is not None and not size:
        raise _wrong(Words("A tolerance goes with a reference of your own size, such as 120x80."))
    if bars != UNMEASURED and plain not in ("", "sheet"):
        raise _wrong(Words("Check bars go with the printed reference sheet."))
    if not plain:
        return Wanted(bars=bars)
    if size:
        return _own(plain, [_number(g, plain) for g in size.groups("0")], tolerance)
    name = {"id1": "id-1", "card": "id-1"}.get(plain, plain)
    if name not in NAMES:
        raise _wrong(
            Words(
                "The reference “{words}” is not known: give id-1 (the bank-size card), a4, letter, sheet "
                "(the printed reference sheet), or the size of a rectangle of your own in millimetres, "
                "such as 120x80.",
                words=words,
            )
        )
    return Wanted(name, bars=bars)


def bar_mm(axis: str, words: str | None) -> float | None:
    """A check bar of the printed sheet as measured.

    Raises:
        WrongUsage: no length.
    """
    if words is None:
        return None
    value = plain_number(words)
    if value is None or not math.isfinite(value) or value <= 0:
        raise WrongUsage(
            Words(
                "The check bar along {axis}, “{words}”, is no length: write millimetres like 99.6.",
                axis=axis,
                words=words,
            ),
            "bars",
        )
    return value


def _own(words: str, size: list[float], tolerance: str | None) -> Wanted:
    width, height, thick = max(size[:2]), min(size[:2]), size[2]
    if not (height >= LEAST_MM and width <= MOST_MM and thick <= MOST_THICK_MM):
        raise _wrong(
            Words(
                "The reference “{words}” can't be used: its sides must be {least_mm:g} to {most_mm:g} "
                "mm, its thickness no more than {most_thick_mm:g} mm.",
                words=words,
                least_mm=LEAST_MM,
                most_mm=MOST_MM,
                most_thick_mm=MOST_THICK_MM,
            )
        )
    within = TOLERANCE_MM if tolerance is None else _number(tolerance, tolerance)
    if not LEAST_TOLERANCE_MM <= within <= MOST_TOLERANCE_SHARE * height:
        raise _wrong(
            Words(
                "A tolerance of {within:g} mm can't be used: write how far the sides may be off in "
                "millimetres, {least_tolerance_mm:g} to {height:.2g}.",
                within=within,
                least_tolerance_mm=LEAST_TOLERANCE_MM,
                height=MOST_TOLERANCE_SHARE * height,
            )
        )
    return Wanted(f"{width:g}x{height:g}", (width, height, thick), within)


def _number(text: str, words: str) -> float:
    value = plain_number(text)
    if value is None or not math.isfinite(value):
        raise _wrong(
            Words("“{words}” is not a size: write millimetres like 120x80, or a number like 0.1.", words=words)
        )
    return value


def _wrong(text: str) -> WrongUsage:
    return WrongUsage(text, "reference")


SHORT: dict[str, str] = {
    "id-1": Words("card"),
    "a4": Words("A4 sheet"),
    "letter": Words("letter-size sheet"),
    "sheet": Words("reference sheet"),
}
LONG: dict[str, str] = {**SHORT, "id-1": Words("bank-size card (ID-1)")}


def in_words(reference: str, words: dict[str, str] = SHORT) -> str:
    """A reference's name in files, such as ``id-1+a4``, as in a sentence."""
    names = [words.get(name, Words("rectangle {size}", size=name)) for name in reference.split("+")]
    return both(names)
