"""trace-view.json: how the part lies in its photo, so that its features can be shown there later on."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from calib.arrays import Array
from calib.errors import JobRefused
from calib.messages import Remedy
from calib.reference.found import Found
from calib.view.view import View
from measure.edges.sight import Wall
from measure.job.records import SCHEMA, Figure, Pair, Some, lines, rounded
from measure.job.told import Record
from measure.silhouette.strokes import NO_STROKES, Stroke, Strokes
from measure.tracing.sighted import Sighted

BENT = 0.02
"""How far a bent frame may lie off the straight lines that stand for it, share of its length (chosen)."""
Pixels = Annotated[int, Field(ge=1, le=1_000_000)]


class PictureRecord(Record):
    """The picture that is shown: its file, its size, and its pixels to one of the photo's."""

    file: str
    width: Pixels
    height: Pixels
    scale: Some


class ReferenceRecord(Record):
    """What gave the scale: its name, its four corners and its outline, pixels of the photo."""

    name: str
    corners: tuple[Pair, ...]
    outline: tuple[Pair, ...]


class ViewRecord(Record):
    """The whole of the file. Lengths in the photo are its own pixels, upright, pixel centres at whole numbers.

    `camera` has the view's parameters as `calib.view.view.NAMES` says, `frame` is that of
    `measure.tracing.sighted.Sighted`, `wall` the heights of the upper and the lower edge. `part`, `away` and `card` are
    what was marked by hand.
    """

    schema_: Literal["jawline/1"] = Field(default=SCHEMA, alias="schema")
    photo: tuple[Pixels, Pixels]
    picture: PictureRecord
    camera: tuple[Figure, ...] = Field(min_length=10, max_length=10)
    frame: tuple[tuple[Figure, Figure, Figure], tuple[Figure, Figure, Figure]]
    wall: tuple[Figure, Figure]
    opening: bool
    reference: ReferenceRecord
    part: tuple[tuple[Pair, ...], ...] = ()
    away: tuple[tuple[Pair, ...], ...] = ()
    card: tuple[Pair, ...] = ()


def view_record(
    sighted: Sighted,
    reference: Found,
    picture: PictureRecord,
    strokes: Strokes = NO_STROKES,
    card_px: Array | None = None,
) -> ViewRecord:
    """What is kept of a view.

    Args:
        sighted: how the part lies in the photo.
        reference: what gave the scale.
        picture: the picture to show it in.
        strokes, card_px: what was marked by hand.
    """
    view = sighted.view
    return ViewRecord(
        photo=view.size_px,
        picture=picture,
        camera=tuple(float(f"{v:.13g}") for v in view.parameters),
        frame=tuple(rounded(row, 9) for row in sighted.frame),  # type: ignore[arg-type]
        wall=(sighted.wall.upper_mm, sighted.wall.lower_mm),
        opening=sighted.opening,
        reference=ReferenceRecord(
            name=reference.name, corners=_pairs(corners_of(reference)), outline=_pairs(reference.outlines_px[0])
        ),
        part=_strokes(strokes.part),
        away=_strokes(strokes.away),
        card=() if card_px is None else _pairs(card_px),
    )


def _pairs(points: Array) -> tuple[Pair, ...]:
    return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)


def _strokes(strokes: Sequence[Stroke]) -> tuple[tuple[Pair, ...], ...]:
    return tuple(_pairs(s) for s in strokes)


def corners_of(reference: Found) -> Array:
    """(4, 2) corners of a reference in the photo."""
    for outline in (*reference.taken_px, *reference.outlines_px):
        if len(outline) == 4:
            return outline
    import cv2

    outline = reference.outlines_px[0].astype(np.float32)  # a printed sheet's frame, bent by the lens
    return np.asarray(cv2.approxPolyDP(outline, BENT * cv2.arcLength(outline, True), True)[:, 0], np.float64)


def sighted(record: ViewRecord) -> Sighted:
    """How the part lies in its photo, from the record; the view comes without its covariance."""
    view = View(np.array(record.camera), np.zeros((10, 10)), record.photo)
    return Sighted(view, np.array(record.frame), Wall(*record.wall), record.opening)


def to_text(record: ViewRecord) -> str:
    """The file's text."""
    return lines(record.model_dump(mode="json", by_alias=True)) + "\n"


def from_text(text: str, name: str) -> ViewRecord:
    """A file's text back to its record.

    Args:
        text: the file's text.
        name: its name, for messages.

    Raises:
        JobRefused: it is damaged, or of another schema.
    """
    try:
        return ViewRecord.model_validate(json.loads(text))
    except (ValueError, RecursionError):
        raise JobRefused(
            f"{name} is damaged, or was made by another version", "job-damaged", Remedy("run-again", "trace")
        ) from None
