"""What a person has marked in a photo, as a file: ``{"part": [[[x, y], …], …], "away": […], "card": [[x, y], … 4],
"hole": [[x, y], …], "features": [{"say": "straight", "begin": [x, y], "end": [x, y]}, …]}``.

Pixels of the upright photo, the middle of the first at 0, 0, y down. Every key may be left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from calib.errors import WrongUsage
from calib.files import content_of
from measure.silhouette.strokes import NO_STROKES, Stroke, Strokes

MAX_MB = 2.0
MOST_POINTS = 20_000
"""More is no person's hand."""
MOST_SAID = 100

Pixel = Annotated[float, Field(ge=-1e6, le=1e6)]
Point = tuple[Pixel, Pixel]
Line = tuple[Point, ...]


class SaidThere(BaseModel):
    """What a person says of the features from one place on the outline to another; pixels of the photo.

    The words are those of `measure.mending.sayings`.
    """

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    say: Literal["straight", "arc", "round", "smooth", "ignore"]
    begin: Point
    end: Point | None = None


@dataclass(frozen=True, slots=True)
class Marked:
    """Marks in a photo.

    Attributes:
        strokes: what is part and what is not.
        corners_px: (4, 2) about where the reference's corners are; None where they were not marked.
        said: what features are, by places on them.
    """

    strokes: Strokes = NO_STROKES
    corners_px: Stroke | None = None
    said: tuple[SaidThere, ...] = ()


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    part: tuple[Line, ...] = ()
    away: tuple[Line, ...] = ()
    card: Line | None = Field(None, min_length=4, max_length=4)
    hole: tuple[Point, ...] = Field((), max_length=MOST_SAID)
    features: tuple[SaidThere, ...] = Field((), max_length=MOST_SAID)


def read_marks(path: Path) -> Marked:
    """Marks from a file.

    Raises:
        WrongUsage: there is no such file, or it holds something else.
    """
    try:
        found = _File.model_validate_json(content_of(path, MAX_MB))
    except OSError as why:
        raise WrongUsage(f"The marks {path} can't be read ({(why.strerror or str(why)).lower()}).", "no-file") from None
    except ValidationError as why:
        first = why.errors(include_url=False)[0]
        where = ".".join(str(p) for p in first["loc"])
        raise _unusable(path, f"{where}: {first['msg']}".strip(": ").lower()) from None
    if sum(len(s) for s in (*found.part, *found.away)) > MOST_POINTS:
        raise _unusable(path, f"its strokes have more than {MOST_POINTS} points")
    floors = tuple((p,) for p in found.hole)  # the floor of a hole is no part
    strokes = Strokes(_lines(found.part), _lines((*found.away, *floors)))
    return Marked(strokes, None if found.card is None else np.array(found.card, float), found.features)


def _lines(lines: tuple[Line, ...]) -> tuple[Stroke, ...]:
    return tuple(np.array(x, float) for x in lines if x)


def _unusable(path: Path, why: str) -> WrongUsage:
    return WrongUsage(
        f'The marks {path} can\'t be used ({why}): write {{"part": [[[x, y], …]], "away": [[[x, y], …]], "card": '
        "[[x, y], four of them]}, in pixels of the photo.",
        "marks",
    )
