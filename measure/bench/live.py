"""What photo and readings say together, worked out anew after each change and kept in memory until the next.

Readings that no longer fit the outline (it was traced anew, or mended by hand) are left out and named, so that one of
them does not hold up the others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from calib.errors import JawlineError, ReadingsRefused
from calib.tools.at_hand import AtHand, at_hand
from measure.adjustment.adjustment import Reconciled
from measure.dimensioning.least_sure import LeastSure, least_sure
from measure.drawing.svg import write_svg
from measure.geometry.features import Estimate
from measure.job import job, records
from measure.planning.planning import Advice, advise
from measure.readings.readings import Reading
from measure.sheet import sheet
from measure.steps.agreed import agreed, refuse_if_nothing_holds, unfit
from measure.steps.corrected import corrected_drawing
from measure.steps.on_photo import sketch_on_photo
from measure.steps.read import in_job, tools_of
from measure.steps.reconcile import measured_from
from measure.steps.shown import ShownJob, shown


@dataclass(frozen=True, slots=True)
class Unfit:
    """A reading that does not fit the outline, and why."""

    reading: Reading
    why: ReadingsRefused


@dataclass(frozen=True, slots=True)
class Live:
    """A job as it stands.

    Attributes:
        traced: trace.json.
        outline: its features with their covariance.
        readings: all of readings.csv, in order; unfit: those of them that are left out.
        problem: why the readings as a whole can't be used: the file can't be understood, or they contradict the photo.
        record: what measured.json says, or would.
        found: the adjustment.
        advice: which readings next, with the caliper at hand.
        shown: the features over the job's picture; None where there is none.
        marks: fingerprints of trace.json and trace-view.json.
    """

    traced: records.JobRecord
    outline: Estimate
    readings: tuple[Reading, ...]
    unfit: tuple[Unfit, ...]
    problem: JawlineError | None
    record: records.JobRecord
    found: Reconciled
    advice: Advice
    caliper: AtHand
    shown: ShownJob | None
    marks: tuple[str, str]

    @property
    def least_sure(self) -> LeastSure | None:
        """The size that is known least."""
        return least_sure((d.kind, d.features, d.value_mm, d.u95_mm) for d in self.record.dimensions)

    @property
    def measured(self) -> bool:
        """Whether measured.json may be written: everything in the job fits together."""
        return self.problem is None and not self.unfit


def live(folder: Path, before: Live | None = None) -> Live:
    """Work out a job.

    Args:
        folder: the job.
        before: how it was worked out last; what has not changed since is taken from there.

    Raises:
        JobRefused, WrongUsage: trace.json is damaged or not there.
    """
    text = job.text(folder, job.TRACE, "trace PHOTO")
    view = folder / job.VIEW
    marks = (
        job.fingerprint(text.encode()),
        job.fingerprint(job.content(folder, job.VIEW, "trace PHOTO")) if view.exists() else "",
    )
    if before and before.marks == marks:
        traced, outline, over = before.traced, before.outline, before.shown
    else:
        traced = records.from_text(text, job.TRACE)
        outline, over = records.estimate(traced, job.TRACE), shown(folder, traced)
    tools = tools_of(folder, None)
    path = folder / job.READINGS
    content = job.content(folder, job.READINGS, "read") if path.exists() else b""
    problem: JawlineError | None = None
    readings: tuple[Reading, ...] = ()
    try:
        readings = in_job(content, job.READINGS, tools)
    except ReadingsRefused as why:
        problem = why
    left_out = tuple(Unfit(r, why) for r, why in unfit(readings, outline, traced.subject))
    fit = tuple(r for r in readings if not any(u.reading is r for u in left_out))
    found = agreed(traced, outline, fit, tools)
    try:
        refuse_if_nothing_holds(found)
    except ReadingsRefused as why:
        problem = why
    made_from = {job.TRACE: marks[0], job.READINGS: job.fingerprint(content)}
    record = measured_from(traced, found, made_from)
    caliper = at_hand()
    advice = advise(
        found.estimate,
        thickness_mm=record.thickness_mm,
        subject=record.subject,
        tools=tools,
        taken=[(v.reading.kind, v.reading.features) for v in found.verdicts if v.verdict == "kept"],
        count=1,
        caliper=caliper,
    )
    return Live(traced, outline, readings, left_out, problem, record, found, advice, caliper, over, marks)


def sketch_svg(
    of: Live, folder: Path, name: str | None, language: str, owner: str = "", *, on_photo: bool = False
) -> bytes:
    """The sketch of a job as it stands, the same that `jawline sketch` writes.

    Args:
        of: the job.
        folder: where it is.
        name: of the part; the trace's own by default.
        language: of its words, by its code.
        owner: as it stands in the title block, if it does.
        on_photo: the same over the photo, where the job keeps one that shows the part as it is drawn.
    """
    drawn = sheet.sketch(replace(corrected_drawing(folder, of.record, name, language)[0], owner=owner))
    return (on_photo and sketch_on_photo(folder, of.record, drawn, language)) or write_svg(drawn)
