"""What a person draws by hand, as the page shows it before it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from calib.errors import WrongUsage
from calib.words import Words
from measure.bench.live import Live
from measure.bench.shelf import Job
from measure.broken.breaks import marked_break
from measure.broken.by_hand.pointing import pointed
from measure.broken.by_hand.shaping import shaped
from measure.broken.by_hand.words import steps_of
from measure.drawing.overlay import on_picture, path_data
from measure.job import job, records, view_record
from measure.steps.shown import to_photo


def drawn_so_far(of: Job, live: Live, asked: Mapping[str, Any]) -> dict[str, Any]:
    """What is drawn in a break, with a touch more.

    Args:
        of: the job.
        live: the job worked out.
        asked: ``broken``, ``drawn`` (words so far), ``at`` (the picture's pixel that was touched, or None), ``tool``,
            ``size_mm``, and ``near``, the picture's pixels within which a touch means a corner or an edge.

    Returns:
        ``drawn``, the words, and ``paths`` over the picture.

    Raises:
        WrongUsage: the job keeps no photo, no such break can be marked, or it can't be drawn so.
    """
    if live.shown is None:
        raise WrongUsage(Words("This job keeps no photo to draw on: type the steps."), "no-photo")
    seen = live.traced
    if (of.folder / job.SEEN).exists():
        seen = records.from_text(job.text(of.folder, job.SEEN, "trace PHOTO"), job.SEEN)
    features = [records.feature(f) for f in seen.features]
    which = marked_break(features, asked["broken"])
    record = live.shown.record
    sighted, words = view_record.sighted(record), asked["drawn"]
    if asked["at"] is not None:
        at = to_photo(np.array([asked["at"]]), record)[0]
        near = asked["near"] / record.picture.scale
        words = pointed(features, which, words, asked["tool"], at, asked["size_mm"], sighted, near)
    lines = [s.feature for s in shaped(features, which, steps_of(words))] if words.strip() else []
    seen_px = [on_picture(sighted.points_px(f), record.picture.scale) for f in lines]
    return {"drawn": words, "paths": [path_data(p) for p in seen_px]}
