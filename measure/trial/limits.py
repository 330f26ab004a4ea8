"""What the sayings of trial prints tell: each that a face, or a size, lies between limits.

How much a word means in millimetres follows from the steps between fits, 0.1 to 0.15 mm (`calib/tools/fits.py`): about
half a step to a whole one, since people tell neighbouring fits apart by such words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from calib.words import Words
from measure.geometry.dimensions import angle_between, distance
from measure.geometry.features import Feature, as_line
from measure.trial.faces import moved_by
from measure.trial.sayings import DatedSaying, Saying

FACE_SD_MM = 0.05
"""How well a printed face, and a number said of it, can be trusted."""
FEELS_MM: Mapping[str, tuple[float | None, float | None]] = {
    "rubs": (-0.1, 0.0),
    "tight": (None, -0.05),
    "too long": (None, -0.05),
    "would not go in": (None, -0.1),
    "loose": (0.05, None),
    "too short": (0.05, None),
}
"""Between which limits a face then has to move: at least, at most."""
ALONGSIDE_RAD = math.radians(5)
"""Edges that run at a larger angle have no size between them."""


@dataclass(frozen=True, slots=True)
class Print:
    """What was printed: the outline before any fit.

    Attributes:
        features: as corrected by then, by label.
        all_round_mm: how far all of its outer boundary had been moved by then.
        room_mm: what its fit leaves on each side.
        as_measured_now: whether photo and caliper said the same then as now.
    """

    features: Mapping[str, Feature]
    all_round_mm: float
    room_mm: float
    as_measured_now: bool = True


class FaceLimits(NamedTuple):
    """What one saying tells of one quantity: that it lies between limits, each held with an error."""

    said: DatedSaying
    key: tuple[str, ...]
    low: float
    high: float

    def reach(self) -> tuple[float, float]:
        """The limits with twice the error added."""
        return self.low - 2 * FACE_SD_MM, self.high + 2 * FACE_SD_MM


def limits_of(
    said: Sequence[DatedSaying], features: Mapping[str, Feature], printed: Mapping[int, Print]
) -> tuple[list[FaceLimits], list[str]] | str:
    """What can all hold of what was said, and a sentence for each saying that later prints rule out.

    Args:
        said: the sayings, in the order in which they were said.
        features: as measured, by label.
        printed: what the sayings are about, by revision.

    Returns:
        a sentence instead where a saying can't be used.
    """
    limits = list[FaceLimits]()
    for s in _with_places(said):
        if s.revision not in printed:
            return Words(
                "There is no revision {revision}, of which “{words}” was said.",
                revision=s.revision,
                words=s.saying.words(),
            )
        if why := _unusable(s.saying, features):
            return why
        low, high = _limits(s.saying, features, printed[s.revision])
        limits.append(FaceLimits(s, tuple(sorted(s.saying.labels)), low, high))
    return _consistent(limits)


def _with_places(said: Sequence[DatedSaying]) -> list[DatedSaying]:
    """“Would not go in” without a place is said of the faces that are too much, where such are named beside it."""
    out = []
    for s in said:
        mine = [x.saying for x in said if x.revision == s.revision and x.saying.says == "too much"]
        named = [x.labels[0] for x in mine if len(x.labels) == 1 and x.by_mm is None]
        if s.saying.feel == "would not go in" and not s.saying.labels and named:
            out += [DatedSaying(s.revision, replace(s.saying, labels=(x,))) for x in dict.fromkeys(named)]
        else:
            out.append(s)
    return out


def _unusable(s: Saying, features: Mapping[str, Feature]) -> str:
    for x in s.labels:
        if x not in features:
            return Words(
                "The outline has no {x}, named in “{words}”: see the labels in the picture.", x=x, words=s.words()
            )
        if features[x].kind == "curve":
            return Words(
                "{x}, named in “{words}”, is a free line, which can't be moved by itself.", x=x, words=s.words()
            )
    if len(s.labels) == 2:
        a, b = (features[x] for x in s.labels)
        if a.kind != "line" or b.kind != "line" or abs(angle_between(a, b)) > ALONGSIDE_RAD:
            return Words("“{words}” needs two straight edges that run alongside each other.", words=s.words())
    return ""


def _limits(s: Saying, features: Mapping[str, Feature], was: Print) -> tuple[float, float]:
    """Between what the face has to lie, outward from where it was measured; for two edges the size between them."""
    if len(s.labels) == 2:
        a, b = (as_line(was.features[x]) for x in s.labels)
        size = distance(a, b).value_mm
        if s.by_mm is None:
            low, high = FEELS_MM[s.feel]
            return size + (-math.inf if low is None else low), size + (math.inf if high is None else high)
        exact = size + (s.by_mm if s.feel == "too short" else -s.by_mm)
        return exact, exact
    at, share, hollow = was.all_round_mm, 1.0, False
    if s.labels:
        f = features[s.labels[0]]
        at = moved_by(f, was.features[s.labels[0]])
        share, hollow = (0.5 if f.kind == "circle" else 1.0), f.loop > 0
    if s.feel == "fits":
        return at, at
    if s.feel == "gap" and s.by_mm is not None:
        exact = at + share * s.by_mm - was.room_mm
        return exact, exact
    turned = hollow and s.feel in ("too long", "too short")  # a slot that is too long has too little material
    if s.by_mm is not None:
        much = share * s.by_mm * (1 if s.feel == "too short" else -1) * (-1 if turned else 1)
        return at + much, at + much
    low, high = FEELS_MM[s.feel]
    if turned:
        low, high = (None if high is None else -high), (None if low is None else -low)
    return at + (-math.inf if low is None else low), at + (math.inf if high is None else high)


def _consistent(limits: Sequence[FaceLimits]) -> tuple[list[FaceLimits], list[str]]:
    """Those that can all hold, the latest first; an older one that they rule out is set aside, in words."""
    out, words = list[FaceLimits](), list[str]()
    for t in sorted(limits, key=lambda t: -t.said.revision):
        low, high = t.reach()
        against = [o for o in out if o.key == t.key and (o.reach()[0] > high or o.reach()[1] < low)]
        if against:
            o = against[0].said
            words.append(
                Words(
                    "“{words}”, said of revision {revision}, does not go with “{words2}” of revision "
                    "{o_revision}: the later print counts.",
                    words=t.said.saying.words(),
                    revision=t.said.revision,
                    words2=o.saying.words(),
                    o_revision=o.revision,
                )
            )
        else:
            out.append(t)
    return out, words
