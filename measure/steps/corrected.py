"""A job's outline with what trial prints asked for, wherever something is drawn from it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from calib.errors import JobRefused, PartRefused
from calib.languages import ENGLISH
from calib.tools.fits import FITS
from calib.words import Words, joined
from measure.geometry.offsetting import area
from measure.job import job, records, revisions
from measure.sheet import sheet
from measure.steps.drawing import drawing
from measure.trial.corrections import ALL_ROUND, SEEN_MM, Corrected, NotCorrected, corrected
from measure.trial.faces import groups_of
from measure.trial.limits import Print
from measure.trial.sayings import DatedSaying, read_file

NATURAL_ROOM_MM = 0.1
"""The room that stays at a gap where no fit was asked for: that of a snug one."""


def sayings_of(folder: Path) -> tuple[DatedSaying, ...]:
    """What stands in the job's file of trials; nothing where there is none.

    Raises:
        ReadingsRefused: a line of it can't be understood.
    """
    if not (folder / job.TRIALS).exists():
        return ()
    return read_file(job.text(folder, job.TRIALS, "trial"), str(folder / job.TRIALS))


def corrections(
    folder: Path,
    record: records.JobRecord,
    said: tuple[DatedSaying, ...] | None = None,
    unkept: revisions.RevisionRecord | None = None,
) -> Corrected | None:
    """What the job's trial prints ask for; None where nothing was said.

    Args:
        folder: the job.
        record: its measured.json.
        said: instead of what stands in the file.
        unkept: a revision that is not in its place yet.

    Raises:
        ReadingsRefused: a line of the file of trials can't be understood.
        JobRefused: the outline has been traced anew since, or has no covariance.
        PartRefused: what was said can't be done to this outline.
    """
    said = sayings_of(folder) if said is None else said
    if not said:
        return None
    numbers = {s.revision for s in said} & set(revisions.numbers(folder))
    known = [revisions.read(folder, n) for n in sorted(numbers)] + ([unkept] if unkept else [])
    printed = {r.revision: _printed(folder, record, r) for r in known}
    found = corrected(records.estimate(record, job.MEASURED), said, printed)
    if isinstance(found, NotCorrected):
        raise PartRefused(found.text, "trial")
    if area(found.estimate.features) is None:
        raise PartRefused(
            Words(
                "What was said of the trial prints would make the outline cross itself: look at the "
                "numbers in {trials}.",
                trials=folder / job.TRIALS,
            ),
            "trial",
        )
    return found


def _printed(folder: Path, record: records.JobRecord, was: revisions.RevisionRecord) -> Print:
    outline = {f.label: f for f in was.outline()}
    if was.trace != record.made_from.get(job.TRACE, was.trace) or not outline.keys() >= {
        f.label for f in record.features
    }:
        raise JobRefused(
            Words(
                "The outline has been traced anew since revision {revision} was printed, so its labels "
                "may mean other edges: move {trials} away to start afresh.",
                revision=was.revision,
                trials=folder / job.TRIALS,
            ),
            "job-outdated",
        )
    room = FITS[was.fit].side_mm if was.fit in FITS else NATURAL_ROOM_MM
    return Print(outline, was.all_round_mm, room, was.measured == revisions.outline_mark(record.features))


def corrected_drawing(
    folder: Path, record: records.JobRecord, name: str | None = None, language: str = ENGLISH
) -> tuple[sheet.Drawing, Corrected | None]:
    """What a sketch is made from, after the job's trial prints; and what they asked for.

    Raises: as `corrections`.
    """
    plain, found = drawing(record, name, language), corrections(folder, record)
    return (plain if found is None else with_corrections(plain, found)), found


def with_corrections(plain: sheet.Drawing, found: Corrected) -> sheet.Drawing:
    """The drawing of the corrected outline; its table says what was measured and what was changed."""
    words = Words("Corrected after trial prints, outward positive: {moves}.", moves=moves_in_words(found))
    return replace(
        plain,
        features=found.estimate.features,
        estimate=found.estimate,
        dimensions=(),
        allowance=sheet.Allowance(plain.features, words, "Change"),
    )


def moves_in_words(found: Corrected) -> str:
    """E2 -0.12, E5 +0.30 mm."""
    moves = [(m.label, m.by_mm, m.u95_mm) for m in found.moves if abs(m.by_mm) >= SEEN_MM and m.label != ALL_ROUND]
    if not moves:
        return Words("no change")
    each = [Words("{labels} {by:+.2f}", labels=labels, by=by) for labels, by, _ in groups_of(moves)]
    return Words("{moves} mm", moves=joined(", ", each))


def correction_lines(found: Corrected | None) -> tuple[str, ...]:
    """The same as a line for people; none where nothing was said."""
    return () if found is None else (Words("Corrected after trial prints: {moves}.", moves=moves_in_words(found)),)
