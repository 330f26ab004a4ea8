"""Photo and readings of a job adjusted, and what becomes of each reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from calib.errors import JobRefused, ReadingsRefused
from calib.messages import Remedy
from calib.tools.jaws import Tool
from calib.words import Words
from measure.adjustment.adjustment import Reconciled, Verdict
from measure.adjustment.adjustment import reconcile as adjusted
from measure.adjustment.seat import remark, seat
from measure.geometry.features import Estimate
from measure.job import records
from measure.readings.jaw_reach import check_reading
from measure.readings.readings import Reading
from measure.steps import counted
from measure.subject import Subject

MOST_VARIANCE = 1e12
"""Nothing that is known to a kilometre is known from a photo."""
SHOWN_MM = 0.005
"""Less is nothing in hundredths."""


def _no_covariance() -> JobRefused:
    return JobRefused(
        Words("The “adjustment” of the trace is no covariance that a photo gives"),
        "job-damaged",
        Remedy("run-again", "trace"),
    )


def agreed(
    record: records.JobRecord, outline: Estimate, readings: tuple[Reading, ...], tools: Mapping[str, Tool]
) -> Reconciled:
    """Photo and readings adjusted; what is read of an opening's depth stands apart from its rim.

    Args:
        record: of the trace.
        outline: its features.
        readings: they fit it.
        tools: by name.
    """
    of_seat = [r for r in readings if record.subject == "opening" and r.kind == "thickness"]
    of_rim = [r for r in readings if r not in of_seat]
    try:
        found = adjusted(
            outline,
            of_rim,
            thickness_mm=record.thickness_mm,
            rim=records.rim(record),
            subject=record.subject,
            tools=tools,
        )
    except np.linalg.LinAlgError:
        raise _no_covariance() from None
    estimate = found.estimate
    parts = (estimate.white, estimate.sensitivity, estimate.shared)
    if not all(np.isfinite(x).all() and np.abs(x).max(initial=0.0) < MOST_VARIANCE for x in parts):
        raise _no_covariance()
    if record.subject == "part":
        return found
    behind = seat(of_seat, tools)
    said = {id(v.reading): v for v in (*found.verdicts, *(behind.verdicts if behind else ()))}
    depth = behind.depth_mm if behind else record.thickness_mm  # what the adjustment makes of the rim's height is none
    return replace(
        found,
        thickness_mm=depth,
        thickness_u95_mm=behind.u95_mm if behind else found.thickness_u95_mm,
        verdicts=tuple(said[id(r)] for r in readings),
        remarks=(*found.remarks, remark(round(depth, 4))),
    )


def refuse_if_nothing_holds(found: Reconciled) -> None:
    """When most readings are contradicted, each for itself, nobody can tell whether they or the photo are wrong.

    Raises:
        ReadingsRefused: so it is.
    """
    suspects = [v for v in found.verdicts if v.verdict == "suspect" and v.likely != "zero"]
    kept = [v for v in found.verdicts if v.verdict == "kept"]
    if len(suspects) >= 3 and len(suspects) > len(kept):
        said = "; ".join(v.reading.words() for v in suspects[:3])
        raise ReadingsRefused(
            Words(
                "Photo and readings contradict each other in {suspects} of {verdicts} readings ({said}, "
                "…): check that they are of this part and of the features so labelled, then measure "
                "again or take another photo.",
                suspects=len(suspects),
                verdicts=len(found.verdicts),
                said=said,
            ),
            "readings-contradict",
        )


def unfit(readings: Sequence[Reading], outline: Estimate, subject: Subject) -> list[tuple[Reading, ReadingsRefused]]:
    """The readings that an outline has no place for, and why."""
    out = []
    for r in readings:
        try:
            check_reading(r, outline, subject)
        except ReadingsRefused as why:
            out.append((r, why))
    return out


def verdict_line(v: Verdict) -> str:
    """What becomes of a reading, in a line."""
    if v.verdict == "suspect":
        return f"  Suspect: {v.reading.words()}: {v.reason or 'everything else contradicts it'}."
    off = abs(v.residual_mm)
    more = "more" if v.residual_mm > 0 else "less"
    agrees = f"{off:.2f} mm {more} than all together say" if off >= SHOWN_MM else "as all together say"
    return f"  Agrees: {v.reading.words()}: {agrees}{f'; {v.reason}' if v.reason else ''}."


def became_of(
    record: records.JobRecord, outline: Estimate, readings: tuple[Reading, ...], tools: Mapping[str, Tool]
) -> tuple[str, ...]:
    """What becomes of a job's readings by an outline that is new, in lines; none where there are none."""
    if not readings:
        return ()
    left_out = {id(r): why for r, why in unfit(readings, outline, record.subject)}
    fit = tuple(r for r in readings if id(r) not in left_out)
    said = agreed(record, outline, fit, tools).verdicts
    suspect = [v for v in said if v.verdict == "suspect"]
    no_place = f", {len(left_out)} without a place on it" if left_out else ""
    return (
        f"{counted(len(readings), 'reading')} in the job: {len(said) - len(suspect)} agree with this outline, "
        f"{len(suspect)} suspect{no_place}.",
        *map(verdict_line, suspect),
        *(f"  {why.message.what}" for why in left_out.values()),
    )
