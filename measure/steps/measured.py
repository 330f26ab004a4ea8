"""measured.json, as long as it belongs to what it was made from."""

from __future__ import annotations

from pathlib import Path

from calib.errors import JobRefused
from calib.messages import Remedy
from calib.words import Words
from measure.job import job, records


def measured_record(folder: Path) -> records.JobRecord:
    """The job's measured.json, when it still belongs to its trace and its readings.

    Raises:
        WrongUsage: reconcile has not been run.
        JobRefused: it is damaged, or trace or readings have changed since.
    """
    text = job.text(folder, job.MEASURED, "reconcile")
    record = records.from_text(text, str(folder / job.MEASURED))
    for name, mark in record.made_from.items():
        path = folder / name
        if name in job.USED and path.exists() and job.fingerprint(job.content(folder, name, "trace PHOTO")) != mark:
            raise JobRefused(
                Words("{path} has changed since {measured} was made", path=path, measured=job.MEASURED),
                "job-outdated",
                Remedy("run-again", f"reconcile {folder}"),
            )
    return record
