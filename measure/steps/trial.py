"""After a trial print: what was said of it becomes evidence, and the next revision."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from calib.errors import ReadingsRefused
from calib.reference.found import Caution
from measure.dimensioning.words import in_words
from measure.job import job, revisions
from measure.job.history import recorded
from measure.job.lock import alone
from measure.job.revisions import RevisionRecord, same_outline
from measure.sheet.sheet import Drawing
from measure.steps import Done
from measure.steps.corrected import corrections, sayings_of
from measure.steps.measured import measured_record
from measure.steps.revisions import is_as_drawn, kept, made
from measure.trial.faces import groups_of
from measure.trial.sayings import HEADING, DatedSaying, clash, parse, written

AS_MEASURED = "none"
MOST_SIZES = 8
TO_PRINT = {"fit": job.FITS[0], "gauge": job.GAUGES[0], "solid": job.SOLIDS[0]}
"""What is drawn to be printed, by the word that the job keeps of the last, and its first file."""


@alone
@recorded(job.TRIALS)
def trial(
    folder: Path,
    words: Sequence[str],
    *,
    of: int | None = None,
    fit: str | None = None,
    printer: str | None = None,
    force: bool = False,
) -> Done:
    """Take in what was said of a trial print, and keep the revision that follows from it.

    Args:
        folder: the job.
        words: phrases such as ``tight at E2``.
        of: the revision that was printed; what the job draws now by default, which is kept first.
        fit, printer: what the printed one was drawn for, when it was not the last fit, gauge or solid; the fit may be
            ``none``.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: reconcile has not been run, no such revision, fit or printer, or the folder can't be written to.
        ReadingsRefused: a phrase can't be understood, or two contradict each other.
        PartRefused: what was said can't be done to this outline.
        JobRefused: the job is damaged or out of date.
    """
    record = measured_record(folder)
    sayings = parse(words)
    if why := clash(sayings):
        raise ReadingsRefused(why, "contradiction")
    earlier, before = sayings_of(folder), job.Manifest.read(folder).drawn
    job.check_writable(folder, (), force)
    by_name = fit is not None or printer is not None
    fit = before.get("fit") if fit is None else None if fit.strip().lower() == AS_MEASURED else fit.strip().lower()
    printer = printer or before.get("printer")
    now = made(record, corrections(folder, record), revisions.next_number(folder), fit, printer)
    numbers = revisions.numbers(folder)
    last = revisions.read(folder, numbers[-1]) if numbers else None
    files = job.drawn_files(folder)
    unkept: tuple[RevisionRecord, Drawing] | None = None if last and is_as_drawn(last, now[0]) else now
    if of is not None and last is not None and (not files or same_outline(last.outline(), now[0].outline())):
        unkept = None
    drawn = now[0] if last is None or unkept else last
    printed = drawn if of is None else revisions.read(folder, of)
    new = [DatedSaying(printed.revision, s) for s in sayings]
    said = (*earlier, *(s for s in new if s not in earlier))
    found = corrections(folder, record, said, printed if unkept else None)
    assert found is not None
    number = (printed.revision if unkept else revisions.next_number(folder) - 1) + 1
    after = tuple(s.words() for s in sayings)
    following = made(record, found, number, printed.fit, printed.printer, after, printed)
    changed = not is_as_drawn(printed, following[0])
    paths: list[Path] = []
    if unkept:
        paths += kept(folder, *unkept)
    saved = revisions.add(folder, drawn.revision, files)
    paths += saved
    outdated = job.DRAWN if changed else ()
    paths += job.write(
        folder, {job.TRIALS: _with_rows(folder, new)}, force=force, merged=(job.TRIALS,), outdated=outdated
    )
    if changed:
        paths += kept(folder, *following)
    what = before.get("what", "") if of is None and not by_name else ""
    lines = _lines(folder, printed, following[0], changed, what)
    if saved:
        names = ", ".join(p.name for p in saved)
        lines += (f"What was drawn before is kept with revision {drawn.revision}: {names}.",)
    result = {
        "of": printed.revision,
        "drawn": what or None,
        "revision": number if changed else printed.revision,
        "said": list(after),
        "changes": [c.model_dump() for c in following[0].changes],
        "sizes": [s.model_dump() for s in following[0].sizes],
    }
    cautions = tuple(Caution("trial-set-aside", text) for text in found.remarks)
    return Done("trial", tuple(paths), lines, result, cautions)


def _with_rows(folder: Path, new: Sequence[DatedSaying]) -> bytes:
    """The file of trials with rows at its end; what stands there stays."""
    path = folder / job.TRIALS
    before = job.text(folder, job.TRIALS, "trial") if path.exists() else f"{HEADING}\n"
    return (before if not before or before.endswith("\n") else before + "\n").encode() + written(new).encode()


def _lines(
    folder: Path, printed: RevisionRecord, following: RevisionRecord, changed: bool, what: str
) -> tuple[str, ...]:
    which = f"the {what} of revision {printed.revision}" if what in TO_PRINT else f"revision {printed.revision}"
    drawn = f"drawn for a {printed.fit} fit" if printed.fit else "drawn as measured"
    printer = f", for the printer {printed.printer}" if printed.printer else ""
    last = f" ({TO_PRINT[what]} was drawn last)" if what in TO_PRINT else ""
    first = f"Taken to be said of {which}, {drawn}{printer}{last}."
    if not changed:
        return (first, f"Nothing is to be changed: revision {printed.revision} stands.")
    faces = [
        f"  {labels} {'out' if by > 0 else 'back'} by {abs(by):.2f} ± {u95:.2f} mm"
        for labels, by, u95 in groups_of([(c.feature, c.by_mm, c.u95_mm) for c in following.changes])
    ]
    sizes = [
        f"  {in_words(s.kind, s.features)}: {s.before_mm:.2f} becomes {s.value_mm:.2f} ± {s.u95_mm:.2f} mm"
        for s in following.sizes[:MOST_SIZES]
    ]
    more = len(following.sizes) - MOST_SIZES
    return (
        first,
        f"Revision {following.revision} differs from it by:",
        *faces,
        *sizes,
        *((f"  and {more} more sizes in revision.json",) if more > 0 else ()),
        f"It is kept in {folder / revisions.FOLDER / str(following.revision)}. "
        "From now on fit, gauge, solid and sketch draw it.",
        f"See both: jawline compare {folder} {printed.revision} {following.revision}",
    )
