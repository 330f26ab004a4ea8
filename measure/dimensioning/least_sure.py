"""Of several sizes the one that is known least."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from measure.dimensioning.gauging import Stated, hardly_known
from measure.dimensioning.words import in_words


@dataclass(frozen=True, slots=True)
class LeastSure:
    """How sure the least sure size is, mm, and what it is of."""

    u95_mm: float
    words: str


def least_sure(sizes: Iterable[tuple[str, tuple[str, ...], float, float]]) -> LeastSure | None:
    """The size with the largest u95, but for radii of which hardly anything is known: no drawing states them.

    Args:
        sizes: kind, labels, value and u95, mm, of each.
    """
    stated = (Stated(*s) for s in sizes)
    best = max(
        (s for s in stated if not (s.kind == "radius" and hardly_known(s))), key=lambda s: s.u95 or 0.0, default=None
    )
    return None if best is None else LeastSure(best.u95 or 0.0, in_words(best.kind, best.labels))
