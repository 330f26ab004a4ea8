"""Trace and readings to measured.json."""

from __future__ import annotations

import math
from pathlib import Path

from calib.reference.found import Caution
from measure.adjustment.adjustment import Reconciled, Verdict
from measure.dimensioning.least_sure import least_sure
from measure.job import job, records
from measure.job.lock import alone
from measure.readings.readings import Reading
from measure.steps import Done, counted
from measure.steps.agreed import agreed, refuse_if_nothing_holds, verdict_line
from measure.steps.phrases import on_command_line
from measure.steps.read import fitting, in_job, tools_of


@alone
def reconcile(folder: Path, *, tools: Path | None = None, force: bool = False) -> Done:
    """Let photo and readings agree.

    Args:
        folder: the job.
        tools: the user's own tools; those in the job by default.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: trace has not been run, or the folder can't be written to.
        JobRefused: trace.json is damaged.
        ReadingsRefused: a reading does not fit the outline, or the readings contradict the photo throughout.
    """
    text = job.text(folder, job.TRACE, "trace PHOTO")
    job.check_writable(folder, (job.MEASURED,), force)
    record = records.from_text(text, str(folder / job.TRACE))
    outline = records.estimate(record, job.TRACE)
    known = tools_of(folder, tools)
    path = folder / job.READINGS
    content = job.content(folder, job.READINGS, "read") if path.exists() else b""
    readings = in_job(content, str(path), known)
    fitting(readings, str(path), outline, record.subject)
    found = agreed(record, outline, readings, known)
    refuse_if_nothing_holds(found)
    made_from = {job.TRACE: job.fingerprint(text.encode()), job.READINGS: job.fingerprint(content)}
    measured = measured_from(record, found, made_from)
    written = job.write(folder, {job.MEASURED: records.to_text(measured).encode()}, force=force, outdated=job.DRAWN)
    return Done(
        "reconcile", tuple(written), _lines(folder, found), records.for_scripts(measured), _cautions(found, readings)
    )


def measured_from(traced: records.JobRecord, found: Reconciled, made_from: dict[str, str]) -> records.JobRecord:
    """What measured.json says.

    Args:
        traced: trace.json.
        found: the adjustment.
        made_from: fingerprints of the files that it was made from.
    """
    warnings = {(w.code, w.text): w for w in traced.warnings}
    warnings |= {(r.code, r.text): records.CautionRecord.of(r, on_command_line) for r in found.remarks}
    return traced.model_copy(
        update={
            "thickness_mm": round(max(found.thickness_mm, 0.0), 4),
            "thickness_u95_mm": round(found.thickness_u95_mm, 4),
            "rim": None if found.rim is None else records.rim_record(found.rim),
            "features": tuple(records.feature_record(f) for f in found.estimate.features),
            "dimensions": tuple(records.dimension_record(d) for d in found.dimensions),
            "readings": tuple(_reading_record(v) for v in found.verdicts),
            "warnings": tuple(warnings.values()),
            "made_from": made_from,
            "adjustment": records.adjustment_record(found.estimate),
        }
    )


def _reading_record(v: Verdict) -> records.ReadingRecord:
    return records.ReadingRecord(
        kind=v.reading.kind,
        features=v.reading.features,
        value_mm=round(v.reading.value_mm, 5),
        residual_mm=round(v.residual_mm, 5),
        verdict=v.verdict,
        reason=v.reason,
        likely=v.likely,
        redundancy=round(v.redundancy, 4),
        detectable_mm=round(v.detectable_mm, 4) if math.isfinite(v.detectable_mm) else None,
    )


def _lines(folder: Path, found: Reconciled) -> tuple[str, ...]:
    kept = sum(v.verdict == "kept" for v in found.verdicts)
    worst = least_sure((d.kind, d.features, d.value_mm, d.u95_mm) for d in found.dimensions)
    sure = f", the least sure ± {worst.u95_mm:.2f} mm ({worst.words})" if worst else ""
    suspects = [v for v in found.verdicts if v.verdict == "suspect"]
    return (
        f"{counted(len(found.verdicts), 'reading')}: {kept} kept, {len(suspects)} suspect.",
        *map(verdict_line, suspects),
        *([f"{found.rim.in_words()}."] if found.rim else []),
        f"{counted(len(found.dimensions), 'dimension')}{sure}.",
        f"Next: jawline sketch {folder}",
    )


def _cautions(found: Reconciled, readings: tuple[Reading, ...]) -> tuple[Caution, ...]:
    cautions = [Caution(r.code, r.what, r.remedies) for r in found.remarks]
    if not readings:
        cautions.append(
            Caution(
                "no-readings",
                "There are no readings yet, so nothing checks the photo: take one or two with the caliper.",
            )
        )
    return tuple(cautions)
