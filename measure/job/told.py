"""Sentences in a job's files: in English, and with what they were made from, so that they can be said in others."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, StrictFloat, StrictInt, model_validator

from calib.words import Words

LONGEST_TEXT = 4000
"""Characters of any text in a job's files; no caution has a tenth of it."""
MOST_VALUES, DEEPEST = 24, 6
"""Values in a sentence, and sentences within sentences: none has half as many."""
_FIELD = re.compile(r"\{[A-Za-z]\w{0,40}(:\+?(\.\d)?[fge%])?\}|\{\{|\}\}")
"""What a template may hold in braces: nothing that reaches further than a number or a word."""


class Record(BaseModel):
    """Base of all parts of a file: unknown keys are let pass, numbers are finite."""

    model_config = ConfigDict(
        extra="ignore", allow_inf_nan=False, populate_by_name=True, frozen=True, str_max_length=LONGEST_TEXT
    )


class Told(Record):
    """What a `Words` was made from."""

    template: str
    plural: str = ""
    values: dict[str, StrictInt | StrictFloat | str | Told] = Field(default={}, max_length=MOST_VALUES)


def told(text: str) -> Told | None:
    """What a sentence was made from; None for a plain text."""
    if not isinstance(text, Words):
        return None
    values: dict[str, int | float | str | Told] = {}
    for name, value in text.values.items():
        if isinstance(value, str):
            values[name] = told(value) or str(value)
        else:
            values[name] = value if isinstance(value, int | float) else str(value)
    return Told(template=text.template, plural=text.plural, values=values)


def told_again(text: str, by: Told | None) -> str:
    """A sentence as it stands in a file, and as a `Words` where it is what it claims to have been made from.

    A job may be a stranger's, and a person may have changed the sentence: then it is a plain text.
    """
    try:
        made = _words(by, 0) if by else text
    except (ValueError, TypeError, LookupError):
        return text
    return made if made == text else text


def _words(by: Told, depth: int) -> Words:
    """Made anew.

    Raises:
        ValueError, TypeError, LookupError: it can't be.
    """
    if depth > DEEPEST or any(x in _FIELD.sub("", t) for t in (by.template, by.plural) for x in "{}"):
        raise ValueError("no sentence of jawline's")
    values = {k: _words(v, depth + 1) if isinstance(v, Told) else v for k, v in by.values.items()}
    return Words._made(by.template, by.plural, values)


class SaidRecord(Record):
    """A part of a file that has sentences in it.

    Attributes:
        told: what they were made from, by the names of their fields.
    """

    told: Mapping[str, Told] | None = Field(default=None, max_length=MOST_VALUES)

    @model_validator(mode="before")
    @classmethod
    def _remember(cls, data: Any) -> Any:
        if not isinstance(data, dict) or data.get("told"):
            return data
        found = {name: made for name, text in data.items() if isinstance(text, str) and (made := told(text))}
        return {**data, "told": found} if found else data

    def saying(self, field: str, text: str) -> str:
        """A sentence of it.

        Args:
            field: its name.
            text: as it stands there.
        """
        return told_again(text, (self.told or {}).get(field))
