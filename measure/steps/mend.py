"""Features that a trace got wrong, mended as a person says, from the same edge points and at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from calib.arrays import Array
from calib.errors import JobRefused, WrongUsage
from calib.words import Words
from measure.drawing.outline_dxf import outline_dxf
from measure.geometry.dimensions import list_dimensions
from measure.geometry.features import Feature
from measure.job import edges_record, job, records, view_record
from measure.job.history import REMEMBERED, recorded
from measure.job.lock import alone
from measure.mending.mending import mended_by_hand
from measure.mending.sayings import MEANS, Statement, saying
from measure.silhouette.marks_file import SaidThere
from measure.steps import Done
from measure.steps.shown import labelled, view_of

BY_HAND = "by-hand"
MOST_AT_ONCE = 100


@alone
@recorded(*REMEMBERED)
def mend(folder: Path, said: Sequence[str], *, force: bool = False) -> Done:
    """Let features be what a person says.

    Args:
        folder: the job.
        said: sayings such as ``E3-E5 straight``, carried out one after another.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: trace has not been run, or a saying can't be understood or carried out.
        PartRefused: the edge points don't bear a saying out.
        JobRefused: the outline has been completed, or the job is damaged.
    """
    if not said or len(said) > MOST_AT_ONCE:
        raise WrongUsage(Words("Say what is to be mended, such as “E3-E5 straight”."), "mend")
    sayings = [saying(words) for words in said]
    record = records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), str(folder / job.TRACE))
    if record.completed or (folder / job.SEEN).exists():
        raise JobRefused(
            Words(
                "Where the part is broken the outline has been completed, which starts from what is "
                "mended: take that back first, mend, and complete it again."
            ),
            "completed-already",
        )
    if not (folder / job.EDGES).exists():
        raise JobRefused(Words("This job keeps no edge points to mend from: trace its photo again."), "no-edges")
    edges = edges_record.from_bytes(job.content(folder, job.EDGES, "trace PHOTO"), str(folder / job.EDGES))
    if not edges:
        raise WrongUsage(Words("Only the outline of a single photo of one piece can be mended by hand."), "mend")
    job.check_writable(folder, (job.TRACE, job.OUTLINE, job.PICTURE, job.EDGES), force)
    estimate = records.estimate(record, job.TRACE)
    notes = []
    for s in sayings:
        found = mended_by_hand(estimate, edges, s, record.subject)
        estimate, edges = found.estimate, found.edges
        notes.append(_note(s, found.labels))
    now = {f.label for f in estimate.features}
    kept = [n for n in record.by_hand if not n.features or now & set(n.features)]
    new = record.model_copy(
        update={
            "features": tuple(records.feature_record(f) for f in estimate.features),
            "dimensions": tuple(records.dimension_record(d) for d in list_dimensions(estimate)),
            "by_hand": (*kept, *notes),
            "warnings": (
                *(w for w in record.warnings if w.code != BY_HAND),
                *(records.CautionRecord(code=BY_HAND, text=n.words) for n in (*kept, *notes)),
            ),
            "adjustment": records.adjustment_record(estimate),
        }
    )
    files = {
        job.TRACE: records.to_text(new).encode(),
        job.OUTLINE: outline_dxf(estimate.features),
        job.EDGES: edges_record.to_bytes(edges),
    }
    png = labelled(folder, new)
    files |= {} if png is None else {job.PICTURE: png}
    written = job.write(folder, files, force=force, outdated=(job.MEASURED, *job.DRAWN))
    lines = (*(n.words for n in notes), f"To take it back: jawline undo {folder}", f"Next: jawline reconcile {folder}")
    return Done("mend", tuple(written), lines, records.for_scripts(new))


def _note(said: Statement, labels: tuple[str, ...]) -> records.HandRecord:
    """What is kept of a saying."""
    told = {"where": said.where, "means": MEANS[said.say]}
    words = Words("A person decided: {where} {means}.", **told)
    if labels and labels != (said.where,):
        words = Words("A person decided: {where} {means} (now {labels}).", **told, labels=", ".join(labels))
    return records.HandRecord(
        said=f"{said.where} {said.say}",
        features=labels,
        words=words,
    )


def sayings_at(folder: Path, said: Sequence[SaidThere]) -> list[str]:
    """Sayings about places in the photo, as sayings about the features that a trace has found there.

    Args:
        folder: the job.
        said: with places in pixels of the photo.
    """
    record = records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), str(folder / job.TRACE))
    sighted = view_record.sighted(view_of(folder))
    features = [records.feature(f) for f in record.features]
    seen = [sighted.points_px(f) for f in features]
    out = []
    for s in said:
        first, last = (_nearest(features, seen, np.array(at)) for at in (s.begin, s.end or s.begin))
        loop = [f.label for f in features if f.loop == first.loop]
        if last.label not in loop:
            raise WrongUsage(Words("A saying of the marks begins on one outline and ends on another."), "marks")
        if (loop.index(last.label) - loop.index(first.label)) % len(loop) > len(loop) // 2:  # touched the other way
            first, last = last, first
        out.append(f"{first.label}-{last.label} {s.say}")
    return out


def _nearest(features: Sequence[Feature], seen: Sequence[Array], at: Array) -> Feature:
    """The feature that lies nearest to a pixel."""
    return min(zip(features, seen, strict=True), key=lambda f: float(np.hypot(*(f[1] - at).T).min()))[0]
