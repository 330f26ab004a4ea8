"""Where a part is broken: the stretch of the outer boundary that is neither edge nor arc."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from calib.errors import JobRefused, WrongUsage
from calib.words import Words
from measure.geometry.features import Feature, length

MOST = 0.5
"""A longer share of the boundary can't be completed: too little is left to tell from."""
MOST_LETTERS = 40
"""Longer words name no break: two labels and a dash are a dozen letters."""


@dataclass(frozen=True, slots=True)
class Break:
    """Features `first` … in order of travel round the outer loop, `count` of them.

    Attributes:
        first: position in the loop of the first broken feature.
        count: how many are broken.
        of: how many features the loop has.
    """

    first: int
    count: int
    of: int

    def members(self) -> list[int]:
        """Positions of the broken features in the loop, in order of travel."""
        return [(self.first + i) % self.of for i in range(self.count)]

    def before(self) -> int:
        """Position of the feature that ends where the break starts."""
        return (self.first - 1) % self.of

    def after(self) -> int:
        """Position of the feature that starts where the break ends."""
        return (self.first + self.count) % self.of

    def wider(self, before: bool) -> Break:
        """The break with one more feature at its start or at its end."""
        return Break((self.first - before) % self.of, self.count + 1, self.of)


def outer(features: Sequence[Feature]) -> list[Feature]:
    """The features of the outer loop, in order of travel."""
    return [f for f in features if f.loop == 0]


def find_breaks(features: Sequence[Feature]) -> list[Break]:
    """Every run of free curves in the outer loop, in order of travel.

    Raises:
        JobRefused: there is none, or nothing else.
    """
    loop = outer(features)
    n = len(loop)
    curved = [f.kind == "curve" for f in loop]
    if not any(curved):
        raise JobRefused(
            Words(
                "No break was found: lines and arcs explain the whole outer boundary; say where it is "
                "broken by its first and last label in order of travel (counter-clockwise), like R4-E5."
            ),
            "no-break",
        )
    starts = [i for i in range(n) if curved[i] and not curved[i - 1]]
    if not starts:
        raise _too_long(1.0)
    found = []
    for i in starts:
        count = next(k for k in range(1, n) if not curved[(i + k) % n])
        found.append(Break(i, count, n))
    return found


def marked_break(features: Sequence[Feature], words: str) -> Break:
    """The break that a person marks: one label, or the first and the last in order of travel, such as R4-E5.

    Raises:
        WrongUsage: not of that form, or labels that are not of the outer boundary.
    """
    parts = len(words) <= MOST_LETTERS and re.fullmatch(r"\s*([A-Za-z]+\d+)\s*(?:-\s*([A-Za-z]+\d+)\s*)?", words)
    if not parts:
        raise WrongUsage(
            Words(
                "“{words}” does not say where it is broken: give one label, or the first and the last in "
                "order of travel (counter-clockwise), like R4-E5.",
                words=words,
            ),
            "broken",
        )
    loop = outer(features)
    at = {f.label: i for i, f in enumerate(loop)}
    first, last = (parts[1].upper(), (parts[2] or parts[1]).upper())
    for label in (first, last):
        if label in at:
            continue
        if any(f.label == label for f in features):
            raise WrongUsage(
                Words("{label} belongs to a hole, and only the outer boundary is completed.", label=label), "broken"
            )
        raise WrongUsage(
            Words("There is no {label} to be broken; the outer boundary is {at}.", label=label, at=", ".join(at)),
            "broken",
        )
    found = Break(at[first], (at[last] - at[first]) % len(loop) + 1, len(loop))
    share, turned = _share(loop, found), Break(at[last], (at[first] - at[last]) % len(loop) + 1, len(loop))
    if share > MOST and _share(loop, turned) <= MOST:
        raise WrongUsage(
            Words(
                "{first}-{last} is {share:.0f} % of the outer boundary, counter-clockwise: was "
                "{last}-{first} meant, the other way round?",
                first=first,
                last=last,
                share=100 * share,
            ),
            "broken",
        )
    return found


def _share(loop: Sequence[Feature], marked: Break) -> float:
    """The share of the outer boundary's length that a break takes."""
    return sum(length(loop[i]) for i in marked.members()) / sum(map(length, loop))


def check_length(features: Sequence[Feature], breaks: Sequence[Break]) -> None:
    """Refuse when more than half of the outer boundary is broken.

    Raises:
        JobRefused: it is.
    """
    loop = outer(features)
    whole = sum(map(length, loop))
    gone = {i for b in breaks for i in b.members()}
    share = sum(length(loop[i]) for i in gone) / whole
    if share > MOST or len(loop) - len(gone) < 2:
        raise _too_long(share)


def _too_long(share: float) -> JobRefused:
    return JobRefused(
        Words(
            "{share:.0f} % of the outer boundary is broken, and from less than half the rest can't "
            "be told: mark the break by its first and last label in order of travel "
            "(counter-clockwise), or draw the part by hand.",
            share=100 * share,
        ),
        "break-too-long",
    )
