"""What the page remembers of a job beside the files that the commands know: `bench.json`.

It has what the photo's EXIF said of its lens and nothing else of it, and what was asked for. The commands need none of
it, and a job without it opens as well.
"""

from __future__ import annotations

import json
from typing import Literal

from pydantic import Field, FiniteFloat, ValidationError

from calib.reference.wanted import Bars, Wanted, bar_mm, wanted
from measure.job.records import NotLess, Pair, Some
from measure.job.told import Record, SaidRecord
from measure.rim import RimWord

FILE, PHOTO = "bench.json", "photo.png"
MOST_FURTHER, LONGEST_WORDS = 8, 40
"""More photos of a part gain nothing; and letters of a reference's name or size."""
MOST_TICKETS = 10**9
"""Larger numbers are nobody's."""
SCHEMA: Literal["jawline-bench/1"] = "jawline-bench/1"


class Notice(SaidRecord):
    """A code and a sentence, as the page says it."""

    code: str
    text: str


class KeptPhoto(Record):
    """The photo and its picture; `lens` names the profile that was kept for its camera."""

    focal_35mm: Some | None = None
    orientation: int = 1
    name: str = ""
    lens: str | None = None
    width: int = Field(ge=1, le=1_000_000)
    height: int = Field(ge=1, le=1_000_000)
    scale: Some


class StrokesRecord(Record):
    """Lines that somebody drew on the picture, in its pixels: along what is part, and across what is not."""

    part: tuple[tuple[Pair, ...], ...] = ()
    away: tuple[tuple[Pair, ...], ...] = ()


class ScaleChoices(Record):
    """What gives the scale, as it was written: see `calib.reference.wanted`; empty where nobody said."""

    reference: str = Field(default="", max_length=LONGEST_WORDS)
    tolerance: str = Field(default="", max_length=LONGEST_WORDS)
    bar_x: str = Field(default="", max_length=LONGEST_WORDS)
    bar_y: str = Field(default="", max_length=LONGEST_WORDS)

    def wanted(self) -> Wanted:
        """Which reference is to be looked for.

        Raises:
            WrongUsage: the words make no sense.
        """
        bars = Bars(bar_mm("x", self.bar_x or None), bar_mm("y", self.bar_y or None))
        return wanted(self.reference, self.tolerance or None, bars)


class TraceChoices(Record):
    """What is to be traced, and how; `fragments` is the number of pieces that the part is in."""

    subject: Literal["part", "opening"] = "part"
    thickness_mm: NotLess | None = None
    rim: RimWord = "unknown"
    fragments: Literal[1, 2] = 1
    strokes: StrokesRecord = StrokesRecord()
    card_corners: tuple[Pair, ...] | None = Field(default=None, min_length=4, max_length=4)
    scale: ScaleChoices = ScaleChoices()


class Accepted(Record):
    """A completed break that somebody has looked at and keeps: its mark and the way."""

    broken: str
    by: str


class Kept(Record):
    """The whole of bench.json; `owner` and `contact` never leave it but for the fixer's page, and `owner` for the title
    block where `owner_drawn` says so. `whole` are stretches that look broken and are not, by their marks. `further` are
    photos that are traced together with the first."""

    schema_: Literal["jawline-bench/1"] = Field(default=SCHEMA, alias="schema")
    name: str = ""
    ticket: int = Field(default=0, ge=0, le=MOST_TICKETS)
    owner: str = ""
    contact: str = ""
    note: str = ""
    thickness_told: str = ""
    at: FiniteFloat = 0.0
    asked: TraceChoices = TraceChoices()
    photo: KeptPhoto | None = None
    further: tuple[KeptPhoto, ...] = Field(default=(), max_length=MOST_FURTHER)
    refusal: Notice | None = None
    accepted: tuple[Accepted, ...] = ()
    whole: tuple[str, ...] = ()
    owner_drawn: bool = False


def further_file(number: int) -> str:
    """The file of another photo of the same part, counted from 0."""
    return f"photo-{number + 2}.png"


def to_bytes(kept: Kept) -> bytes:
    """The file."""
    plain = kept.model_dump(mode="json", by_alias=True, exclude_none=True)
    return (json.dumps(plain, ensure_ascii=False) + "\n").encode()


def from_bytes(content: bytes) -> Kept | None:
    """The file's content; None where it is damaged: then the job is shown as one of the commands."""
    try:
        return Kept.model_validate_json(content)
    except ValidationError:
        return None
