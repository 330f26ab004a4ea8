"""What a job shows of its photo: the plain picture, where the reference lies in it, and the features over it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.errors import JobRefused
from calib.messages import Remedy
from calib.picture_size import claimed_megapixels
from measure.drawing.overlay import Overlay, on_picture, overlay, path_data
from measure.geometry.features import Feature
from measure.job import job, records, view_record
from measure.job.view_record import ViewRecord
from measure.steps.notes import scale_notes
from measure.tracing.sighted import Sighted

MOST_MEGAPIXELS = 8.0
"""No picture that jawline keeps of a photo is larger."""


@dataclass(frozen=True, slots=True)
class ShownJob:
    """A job's picture with what lies over it; all places in the picture's pixels, from its corner.

    Attributes:
        record: what the job keeps of the view.
        reference: name of what gave the scale; corners: (4, 2) of it.
        drawn: the features.
        broken: data of SVG paths along what was seen where the part was completed.
        stretches: the same along what was not seen of features that go on.
        upper, lower: the same along the upper edge of the outside and along its wall's foot, where it has a wall.
    """

    record: ViewRecord
    reference: str
    corners: Array
    drawn: Overlay
    broken: tuple[str, ...]
    stretches: tuple[str, ...]
    upper: tuple[str, ...]
    lower: tuple[str, ...]


def shown(folder: Path, traced: records.JobRecord | None = None) -> ShownJob | None:
    """The picture of a job, whatever made it; None where there is none, as in a job from an older version.

    Args:
        folder: the job.
        traced: its trace.json, if that has been read already.

    Raises:
        WrongUsage: trace has not been run.
        JobRefused: the job is damaged.
    """
    traced = traced or records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), str(folder / job.TRACE))
    if not has_picture(folder):
        return None
    return over_picture(traced, view_of(folder))


def view_of(folder: Path) -> ViewRecord:
    """What a job keeps of its view.

    Raises:
        WrongUsage: trace has not been run.
        JobRefused: it is damaged.
    """
    return view_record.from_text(job.text(folder, job.VIEW, "trace PHOTO"), str(folder / job.VIEW))


def has_picture(folder: Path) -> bool:
    """Whether a job keeps a picture of its photo: one from an older version does not."""
    return (folder / job.VIEW).exists() and (folder / job.PHOTO).exists()


def plain_picture_of(folder: Path, record: ViewRecord) -> NDArray[np.uint8]:
    """(h, w, 3) the job's plain picture, in which faces are hidden.

    Args:
        folder: the job.
        record: its view.

    Raises:
        JobRefused: it is not the one that was written.
    """
    import cv2

    jpeg = job.content(folder, job.PHOTO, "trace PHOTO")
    small = (claimed_megapixels(jpeg) or math.inf) <= MOST_MEGAPIXELS
    plain = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR) if small else None
    if plain is None or plain.shape[:2] != (record.picture.height, record.picture.width):
        raise JobRefused(f"{job.PHOTO} is not as it was written", "job-damaged", Remedy("run-again", "trace"))
    return np.ascontiguousarray(plain[..., ::-1], np.uint8)


def over_picture(traced: records.JobRecord, record: ViewRecord) -> ShownJob:
    """The features of trace.json over the job's picture.

    Raises:
        JobRefused: the features lie nowhere in the photo, as when the two files are of different jobs.
    """
    sighted, picture = view_record.sighted(record), record.picture
    features = [records.feature(f) for f in traced.features]
    size = (picture.width, picture.height)
    _seen_px(features, sighted, record)
    return ShownJob(
        record,
        record.reference.name,
        on_picture(np.array(record.reference.corners), picture.scale),
        overlay(sighted, features, picture.scale, size, [np.array(record.reference.outline)]),
        tuple(
            path_data(on_picture(sighted.points_px(records.feature(f)), picture.scale))
            for f in traced.broken
            if f.label not in left_open(traced)
        ),
        tuple(
            path_data(on_picture(sighted.points_px(records.feature(f)), picture.scale))
            for c in traced.completed
            for f in c.stretches
        ),
        *_edges(features, sighted, picture.scale),
    )


def _edges(features: Sequence[Feature], sighted: Sighted, scale: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Data of SVG paths along both edges of the outside's wall; none of an opening, nor of a part without thickness."""
    wall = sighted.wall
    if sighted.opening or wall.upper_mm <= wall.lower_mm:
        return (), ()
    outside = [f for f in features if f.loop == 0]
    upper, lower = (
        tuple(path_data(on_picture(sighted.edge_px(f, height), scale)) for f in outside)
        for height in (wall.upper_mm, wall.lower_mm)
    )
    return upper, lower


def left_open(traced: records.JobRecord) -> frozenset[str]:
    """Labels of the free lines along breaks that a person has marked and left open."""
    return frozenset(label for c in traced.completed if c.by == "open" for label in c.features)


def labelled(folder: Path, traced: records.JobRecord) -> bytes | None:
    """The labelled picture anew for features that were completed since the photo was traced, as a PNG file.

    It is drawn over the plain picture, which is all that is kept of the photo and hides faces already. None where there
    is no plain picture, and of two pieces put together: the second lies elsewhere in the photo than its features.

    Args:
        folder: the job.
        traced: the features to be drawn; those that were completed are dashed.

    Raises:
        JobRefused: the job is damaged.
    """
    from measure.drawing.picture import SeenFeature, picture

    if traced.joined is not None or not has_picture(folder):
        return None
    record = view_of(folder)
    plain = plain_picture_of(folder, record)
    features, dashed = [records.feature(f) for f in traced.features], left_open(traced)
    seen = _seen_px(features, view_record.sighted(record), record)
    scale = record.picture.scale
    drawn = [
        SeenFeature(f.label, f.kind, f.loop, on_picture(p, scale) - 0.5, "completed" if f.label in dashed else f.origin)
        for f, p in zip(features, seen, strict=True)
    ]
    reference = on_picture(np.array(record.reference.outline), scale) - 0.5
    return picture(plain, [reference], (), drawn, scale_notes(traced))


def _seen_px(features: Sequence[Feature], sighted: Sighted, record: ViewRecord) -> list[Array]:
    """Pixels of the photo along each feature, refused where they lie nowhere in it."""
    seen = [sighted.points_px(f) for f in features]
    everything = np.concatenate(seen)
    if not np.isfinite(everything).all() or (np.abs(everything) > 4 * max(record.photo)).any():
        raise JobRefused(
            f"{job.VIEW} and {job.TRACE} don't belong together", "job-damaged", Remedy("run-again", "trace")
        )
    return seen


def to_photo(points: Array, record: ViewRecord) -> Array:
    """(n, 2) pixels of the photo at places in the picture."""
    return np.asarray(points / record.picture.scale - 0.5)
