"""What is measured: a part, or an opening that a part goes into."""

from __future__ import annotations

from typing import Literal, get_args

from calib.errors import WrongUsage
from calib.words import Words

Subject = Literal["part", "opening"]


def subject_of(words: str) -> Subject:
    """Part or opening.

    Raises:
        WrongUsage: neither.
    """
    for subject in get_args(Subject):
        if words.strip().lower() == subject:
            return subject  # type: ignore[no-any-return]
    raise WrongUsage(Words("The subject is part or opening, not “{words}”.", words=words), "subject")
