"""How a missing boundary is described: steps from where the break begins to where it ends.

    on 12               straight on, 12 mm
    on to E3            straight on until E3 is met, or the line that it lies on
    on to 30,12         straight on as far as beside a point: x and y in millimetres, as in trace.json
    to 30,12            straight to a point
    to E3               straight to where E3, or its line, is nearest
    arc to 30,12        an arc that leaves as the boundary came, without a corner
    arc 5 to 30,12      an arc of radius 5 mm; `left` or `right` after it says which way it turns
    arc through 28,9 to 30,12
    as E5-R7            as on the other side: the mirror image of those, laid between the ends of the break

`end`, in place of a point, is where the break ends. What does not reach it goes there straight.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from calib.errors import WrongUsage
from calib.words import Words
from measure.geometry.features import Point, Turn

MOST_LETTERS = 2000
MOST_STEPS = 60
"""More is no boundary that anybody describes."""
LONGEST_MM = 1000.0
"""No part that lies beside a card is longer."""
EXAMPLE = "on 12; arc 5 to 30,12; on to E3"

_NUMBER = r"\d+(?:\.\d+)?"
_POINT = rf"(-?{_NUMBER})\s*,\s*(-?{_NUMBER})"
_LABEL = r"([a-z]{1,3}\d{1,6})"


@dataclass(frozen=True, slots=True)
class Goal:
    """Where a step leads: a point, a feature, or, with neither, the end of the break."""

    point: Point | None = None
    label: str = ""


@dataclass(frozen=True, slots=True)
class On:
    """Straight on: by so many millimetres, or to a place."""

    by_mm: float = 0.0
    to: Goal | None = None


@dataclass(frozen=True, slots=True)
class To:
    """Straight to a place."""

    to: Goal


@dataclass(frozen=True, slots=True)
class Bend:
    """An arc to a place: of a radius, through a point, or, with neither, without a corner."""

    to: Goal
    radius_mm: float | None = None
    through: Point | None = None
    turn: Turn | None = None


@dataclass(frozen=True, slots=True)
class As:
    """As on the other side: the mirror image of the features from one label to another."""

    first: str
    last: str


Step = On | To | Bend | As


def steps_of(words: str) -> tuple[Step, ...]:
    """The steps that words describe.

    Raises:
        WrongUsage: they can't be understood; the step is named.
    """
    if len(words) > MOST_LETTERS:
        raise WrongUsage(
            Words("What is drawn has more than {most_letters} letters.", most_letters=MOST_LETTERS), "draw"
        )
    said = [" ".join(s.lower().split()) for s in re.split(r"[;\n]", words) if s.strip()]
    if not said:
        raise WrongUsage(Words("Nothing is drawn: say it in steps, such as “{example}”.", example=EXAMPLE), "draw")
    if len(said) > MOST_STEPS:
        raise WrongUsage(Words("What is drawn has more than {most_steps} steps.", most_steps=MOST_STEPS), "draw")
    return tuple(_step(s) for s in said)


def _step(said: str) -> Step:
    if m := re.fullmatch(rf"on ({_NUMBER})(?: ?mm)?", said):
        return On(by_mm=_length(said, m[1]))
    if m := re.fullmatch(r"on to (.+)", said):
        return On(to=_place(said, m[1]))
    if m := re.fullmatch(r"to (.+)", said):
        return To(_place(said, m[1]))
    if m := re.fullmatch(rf"arc through {_POINT} to (.+)", said):
        return Bend(_place(said, m[3]), through=_point(said, m[1], m[2]))
    if m := re.fullmatch(rf"arc (?:r ?)?({_NUMBER})(?: ?mm)? to (.+?)(?: (left|right))?", said):
        turns: dict[str, Turn] = {"left": "ccw", "right": "cw"}
        return Bend(_place(said, m[2]), _length(said, m[1]), turn=turns.get(m[3] or ""))
    if m := re.fullmatch(r"arc to (.+)", said):
        return Bend(_place(said, m[1]))
    if m := re.fullmatch(rf"as {_LABEL}(?: ?[-–] ?{_LABEL})?", said):
        return As(m[1].upper(), (m[2] or m[1]).upper())
    raise _strange(said)


def _place(said: str, words: str) -> Goal:
    if words == "end":
        return Goal()
    if m := re.fullmatch(_POINT, words):
        return Goal(_point(said, m[1], m[2]))
    if m := re.fullmatch(_LABEL, words):
        return Goal(label=m[1].upper())
    raise _strange(said)


def _point(said: str, x: str, y: str) -> Point:
    at = float(x), float(y)
    if max(abs(at[0]), abs(at[1])) > LONGEST_MM:
        raise _far(said)
    return at


def _length(said: str, words: str) -> float:
    size = float(words)
    if not 0 < size <= LONGEST_MM:
        raise _far(said)
    return size


def _far(said: str) -> WrongUsage:
    return WrongUsage(
        Words(
            "“{said}” leads nowhere: lengths are over 0 and up to {longest_mm:.0f} mm.",
            said=said,
            longest_mm=LONGEST_MM,
        ),
        "draw",
    )


def _strange(said: str) -> WrongUsage:
    return WrongUsage(
        Words(
            "“{said}” can't be drawn: steps are on 12, on to E3, to 30,12, arc 5 to 30,12, arc "
            "through 28,9 to 30,12 and as E5-R7, with semicolons between; end is where the break "
            "ends.",
            said=said[:60],
        ),
        "draw",
    )
