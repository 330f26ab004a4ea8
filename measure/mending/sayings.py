"""What may be said of features: a run of labels and one of a few words, on the page and on the command line alike."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast, get_args

from calib.errors import WrongUsage
from calib.words import Words
from measure.geometry.features import Feature

Say = Literal["straight", "arc", "round", "smooth", "ignore"]
SAYS: tuple[Say, ...] = get_args(Say)
MEANS: dict[Say, str] = {
    "straight": Words("is one straight edge"),
    "arc": Words("is one arc"),
    "round": Words("is a round hole"),
    "smooth": Words("has no corner"),
    "ignore": Words("is ignored"),
}
MOST_LETTERS = 60
"""Longer words name no features: two labels, a dash and a word are two dozen letters."""


@dataclass(frozen=True, slots=True)
class Statement:
    """What is said of the features from one label to another, in order of travel."""

    say: Say
    first: str
    last: str

    @property
    def where(self) -> str:
        """The labels, as a person writes them."""
        return self.first if self.first == self.last else f"{self.first}-{self.last}"


def saying(words: str) -> Statement:
    """What words such as ``E3-E5 straight`` say.

    Raises:
        WrongUsage: they can't be understood.
    """
    found = len(words) <= MOST_LETTERS and re.fullmatch(
        r"\s*([A-Za-z]{1,3}\d{1,6})\s*(?:[-–]\s*([A-Za-z]{1,3}\d{1,6})\s*)?\s([a-z]+)\s*", words
    )
    if not found or found[3] not in SAYS:
        raise WrongUsage(
            Words(
                "“{words}” can't be understood: give one label, or the first and the last in order of "
                "travel, and one of {says}, such as “E3-E5 straight”.",
                words=words[:MOST_LETTERS],
                says=", ".join(SAYS),
            ),
            "mend",
        )
    first = found[1].upper()
    return Statement(cast(Say, found[3]), first, (found[2] or first).upper())


def run_of(features: tuple[Feature, ...], said: Statement) -> list[Feature]:
    """The features that are meant, in order of travel.

    Raises:
        WrongUsage: there are none of these labels, or they lie on different loops.
    """
    of = {f.label: f for f in features}
    for label in (said.first, said.last):
        if label not in of:
            raise WrongUsage(Words("The outline has no {label}.", label=label), "label")
    if of[said.first].loop != of[said.last].loop:
        raise WrongUsage(
            Words("{first} and {last} lie on different outlines.", first=said.first, last=said.last), "label"
        )
    loop = [f for f in features if f.loop == of[said.first].loop]
    at = [f.label for f in loop].index(said.first)
    count = ([f.label for f in loop].index(said.last) - at) % len(loop) + 1
    return [loop[(at + i) % len(loop)] for i in range(count)]
