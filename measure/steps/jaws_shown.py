"""The jaws of a reading over a job's picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.tools.at_hand import AtHand
from measure.drawing.overlay import on_picture
from measure.geometry.features import Feature
from measure.job import view_record
from measure.job.view_record import ViewRecord
from measure.planning.jaws import Bar, jaw_bars
from measure.subject import Subject
from measure.tracing.sighted import Sighted, as_seen

TOUCH_MM = 0.1
"""Half the stretch of outline by which it is told where a wall is seen (chosen: short, as arcs bend)."""


@dataclass(frozen=True, slots=True)
class ShownJaw:
    """A jaw over the picture: data of an SVG path in the picture's pixels, and whether the part hides it."""

    path: str
    hidden: bool


def jaws_shown(
    record: ViewRecord,
    kind: str,
    labels: Sequence[str],
    outline: Sequence[Feature],
    subject: Subject,
    caliper: AtHand,
) -> tuple[ShownJaw, ...]:
    """Where the jaws go for a reading; none where it names what the outline has not, or takes no jaws.

    Args:
        record: the job's view.
        kind: of the reading.
        labels: of its features.
        outline: as traced.
        subject: part or opening.
        caliper: that it is taken with.
    """
    named = {f.label: f for f in outline}
    if any(x not in named or named[x].kind == "curve" for x in labels):
        return ()
    try:
        bars = jaw_bars(kind, [named[x] for x in labels], outline, subject, caliper)
    except TypeError:  # a reading of a job that was traced anew since: its labels are of other kinds now
        return ()
    sighted = view_record.sighted(record)
    return tuple(
        ShownJaw(_closed(on_picture(_seen_px(b, sighted), record.picture.scale)), not b.on_wall and b.level == "lower")
        for b in bars
    )


def _seen_px(bar: Bar, sighted: Sighted) -> Array:
    """(4, 2) pixels of the photo: a jaw on a wall lies on the edge of it that is seen there."""
    upper, lower = sighted.wall.upper_mm, sighted.wall.lower_mm
    if not bar.on_wall:
        return sighted.at_height_px(bar.corners, lower if bar.level == "lower" else upper)
    stretch = bar.at + np.outer([-TOUCH_MM, 0.0, TOUCH_MM], bar.along)
    on_plane = stretch @ sighted.frame[:, :2].T + sighted.frame[:, 2]
    seen = as_seen(sighted.view, on_plane, bar.loop, sighted.wall, sighted.opening)[1]
    there = sighted.at_height_px(bar.at[None], upper)[0]
    return np.asarray(sighted.at_height_px(bar.corners, upper) + seen - there)


def _closed(points: Array) -> str:
    return "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in points) + "Z"
