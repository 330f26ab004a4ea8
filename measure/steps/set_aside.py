"""Readings that a new trace finds in its job and that are of another part: set aside in a file, never deleted."""

from __future__ import annotations

import itertools
import os
from dataclasses import dataclass
from pathlib import Path

from calib.errors import JawlineError, ReadingsRefused
from calib.files import is_plain
from calib.reference.found import Caution
from measure.geometry.dimensions import size_of
from measure.geometry.features import Estimate
from measure.job import job, records
from measure.readings.jaw_reach import check_reading
from measure.readings.readings import COLUMNS, Reading
from measure.steps.read import in_job, tools_of
from measure.subject import Subject

NEAR_MM, NEAR_SHARE = 0.5, 0.05
"""A reading that is further from the outline's size than both together is of something else, or misread."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """What is to be written in place of the readings, by name, and what is said of it."""

    files: dict[str, bytes]
    caution: Caution


def set_aside(folder: Path, outline: Estimate, subject: Subject) -> SetAside | None:
    """Whether a job's readings are to make room for those of another part; None where there are none, or they fit.

    They are taken for another part's where of those that fitted the outline before, which are no misreadings, most do
    not fit the new one. The job is held by whoever asks.

    Args:
        folder: the job.
        outline: as traced now.
        subject: part or opening.
    """
    path = folder / job.READINGS
    if not is_plain(path):
        return None
    content = job.content(folder, job.READINGS, "read")
    try:
        readings = in_job(content, job.READINGS, tools_of(folder, None))
    except ReadingsRefused:
        return None  # whoever adds to them says what is wrong
    before = _outline_before(folder)
    telling = [r for r in readings if r.features and (before is None or _fits(r, *before))]
    fitting = [r for r in telling if _fits(r, outline, subject)]
    if not telling or 2 * len(fitting) >= len(telling):
        return None
    name = _free_name(folder)
    count = f"{len(readings)} reading{'s' if len(readings) > 1 else ''}"
    text = (
        f"{job.READINGS} had {count} that do not fit this outline, as of another part: what stood there is now in "
        f"{folder / name}. If it is of this part all the same: jawline read {folder} {folder / name}"
    )
    files = {name: content, job.READINGS: f"{','.join(COLUMNS)}\n".encode()}
    return SetAside(files, Caution("readings-aside", text))


def _outline_before(folder: Path) -> tuple[Estimate, Subject] | None:
    try:
        record = records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), job.TRACE)
        return records.estimate(record, job.TRACE), record.subject
    except JawlineError:
        return None


def _fits(reading: Reading, outline: Estimate, subject: Subject) -> bool:
    try:
        check_reading(reading, outline, subject)
    except ReadingsRefused:
        return False
    of = {f.label: f for f in outline.features}
    value = size_of(reading.kind, [of[x] for x in reading.features]).value_mm
    return abs(value - reading.value_mm) <= NEAR_MM + NEAR_SHARE * value


def _free_name(folder: Path) -> str:
    names = (f"readings-aside-{n}.csv" for n in itertools.count(1))
    return next(name for name in names if not os.path.lexists(folder / name))
