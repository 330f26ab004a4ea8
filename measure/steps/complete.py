"""A broken part's trace.json completed; what was seen is kept in trace-seen.json and comes back unchanged."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal, cast

from calib.errors import JobRefused, ReadingsRefused, WrongUsage
from calib.reference.found import Caution
from calib.words import Words, joined
from measure.broken.breaks import marked_break, outer
from measure.broken.completion.outcome import By, Completed, Evidence
from measure.broken.mending import Choice, Mended, Open, in_words, mended
from measure.broken.suspected import plain_breaks
from measure.drawing.outline_dxf import outline_dxf
from measure.geometry.dimensions import list_dimensions
from measure.geometry.features import Estimate
from measure.job import job, records
from measure.job.history import REMEMBERED, recorded
from measure.job.lock import alone
from measure.readings.readings import Reading
from measure.steps import Done
from measure.steps.read import checked, tools_of
from measure.steps.shown import labelled

COMPLETED, LEFT_OPEN = "completed", "left-open"
Asked = By | Literal["seen"]
"""A way; or what was chosen is taken back, and the outline is there as it was seen."""


@alone
@recorded(*REMEMBERED)
def complete(
    folder: Path, *, broken: str | None = None, by: Asked | None = None, drawn: str | None = None, force: bool = False
) -> Done:
    """Complete the outer boundary where the part is broken, or open it again.

    The completion always starts from what was seen, however often it is asked for. One break that is marked leaves what
    was chosen for others as it is, so that each can be kept or rejected for itself.

    Args:
        folder: the job.
        broken: the first and last broken feature in order of travel, such as R4-E5; the free curves by default.
        by: one way only; `open` keeps a marked break open, as broken; `seen` takes back what was chosen, for a marked
            break or, like `open`, for all.
        drawn: what a person draws there, see `measure.broken.by_hand.words`.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: trace has not been run, the labels are not of the outer boundary, or the folder can't be written to.
        JobRefused: there is no break, too much is broken, or the one way asked for does not serve.
        PartRefused: what was drawn would make the outline cross itself.
    """
    if drawn is not None and by not in (None, "hand"):
        raise WrongUsage(Words("A break is drawn by hand or filled by {by}, not both.", by=by), "by")
    if by == "hand" and drawn is None:
        raise WrongUsage(
            Words("Filled by hand needs what was drawn, such as “on 12; arc 5 to 30,12; on to E3”."), "draw"
        )
    by = "hand" if drawn is not None else by
    text = job.text(folder, job.TRACE, "trace PHOTO")
    record = records.from_text(text, str(folder / job.TRACE))
    was = _was_completed(record)
    if was:
        text = job.text(folder, job.SEEN, "trace PHOTO")
        seen = records.from_text(text, str(folder / job.SEEN))
    else:
        seen = record
    if by == "hand" and broken is None:
        broken = _only_break(seen)
    chosen = [Choice(c.broken, c.by, c.drawn) for c in record.completed]
    if broken is not None:
        chosen = _others(seen, chosen, broken)
    if (broken is None and by in ("open", "seen")) or (by == "seen" and not chosen):
        return _opened(folder, text, seen, was, force)
    job.check_writable(folder, (job.TRACE, job.SEEN, job.OUTLINE, job.PICTURE), force)
    estimate = records.estimate(seen, job.TRACE)
    if broken is None:
        found = mended(estimate, (), cast(Evidence | None, by), seen.subject)
    else:
        wanted = [] if by == "seen" else [Choice(broken, by, drawn or "")]
        found = mended(estimate, [*chosen, *wanted], None, seen.subject)
    words = tuple(in_words(b) for b in found.breaks)
    if not found.broken or (broken is not None and isinstance(found.breaks[-1], Open)):
        return _nothing_done(folder, found, words, by, was and broken is None, force, text, seen)
    new = _record(seen, found)
    files = {
        job.TRACE: records.to_text(new).encode(),
        job.SEEN: text.encode(),
        job.OUTLINE: outline_dxf(found.estimate.features),
    }
    redrawn = _picture(folder, new)
    written = job.write(folder, files | redrawn, force=force, outdated=(job.MEASURED, *job.DRAWN))
    lines = (
        *words,
        "What stays open is dashed, and has no sizes. As it was seen again: jawline complete "
        f"{folder} --broken {found.marks[-1]} --by seen"
        if all(_is_left(b) for b in found.breaks)
        else f"What is completed can't be measured: its u95 says how far it may be off. To reject it: jawline complete "
        f"{folder} --by open; to reject one of several: --broken {found.marks[0]} --by seen",
        f"{job.PICTURE} shows it dashed over the photo."
        if redrawn
        else f"{job.PICTURE} goes on showing what was seen; the sketch shows what is completed.",
        f"Next: jawline reconcile {folder}",
    )
    cautions = (*_guessed(found), *_stale_readings(folder, found.estimate, seen))
    return Done("complete", tuple(written), lines, _result(new, found), cautions)


def _was_completed(record: records.JobRecord) -> bool:
    """Whether the outline was completed; a break between two pieces that were joined is no completion."""
    return any(w.code in (COMPLETED, LEFT_OPEN) for w in record.warnings)


def _only_break(seen: records.JobRecord) -> str:
    """The mark of the one break that there plainly is.

    Raises:
        WrongUsage: there are several, and which is meant has to be said.
        JobRefused: there is none.
    """
    features = [records.feature(f) for f in seen.features]
    found, loop = plain_breaks(features), outer(features)
    if len(found) > 1:
        firsts = ", ".join(loop[b.first].label for b in found)
        raise WrongUsage(Words("There are several breaks ({firsts}): say which one is drawn.", firsts=firsts), "broken")
    members = found[0].members()
    return f"{loop[members[0]].label}-{loop[members[-1]].label}"


def _others(seen: records.JobRecord, chosen: Sequence[Choice], broken: str) -> list[Choice]:
    """What was chosen for other breaks than one that is marked."""
    features = [records.feature(f) for f in seen.features]
    own = set(marked_break(features, broken).members())
    return [c for c in chosen if not own & set(marked_break(features, c.broken).members())]


def _opened(folder: Path, text: str, seen: records.JobRecord, was: bool, force: bool) -> Done:
    """What was seen, put back byte for byte."""
    result = {**records.for_scripts(seen), "breaks": []}
    if not was:
        return Done("complete", (), ("Nothing was completed: the outline is as it was seen.",), result)
    files = {job.TRACE: text.encode(), job.OUTLINE: outline_dxf([records.feature(f) for f in seen.features])}
    files |= _picture(folder, seen)
    written = job.write(folder, files, force=force, outdated=(job.SEEN, job.MEASURED, *job.DRAWN))
    lines = ("The outline is again as it was seen.", f"Next: jawline reconcile {folder}")
    return Done("complete", tuple(written), lines, result)


def _picture(folder: Path, record: records.JobRecord) -> dict[str, bytes]:
    """The labelled picture of what is now in trace.json, where it can be drawn again."""
    png = labelled(folder, record)
    return {} if png is None else {job.PICTURE: png}


def _nothing_done(
    folder: Path, found: Mended, words: tuple[str, ...], by: Asked | None, was: bool, force: bool, text: str,
    seen: records.JobRecord,
) -> Done:  # fmt: skip
    if by is not None:
        raise JobRefused(Words("{words} Leave it open, or try another way.", words=joined(" ", words)), "not-completed")
    files: tuple[Path, ...] = ()
    if was:
        files = _opened(folder, text, seen, was, force).files
    return Done("complete", files, words, {**records.for_scripts(seen), "breaks": _breaks(found)})


def _record(seen: records.JobRecord, found: Mended) -> records.JobRecord:
    said = [records.CautionRecord(code=LEFT_OPEN if _is_left(b) else COMPLETED, text=in_words(b)) for b in found.breaks]
    return seen.model_copy(
        update={
            "features": tuple(records.feature_record(f) for f in found.estimate.features),
            "broken": (*seen.broken, *(records.feature_record(f) for f in found.broken)),
            "completed": tuple(
                records.ChoiceRecord(
                    broken=mark,
                    by=b.way,
                    drawn=b.drawn,
                    features=b.fresh,
                    stretches=tuple(records.feature_record(f) for f in b.stretches),
                    words=in_words(b),
                )
                for mark, b in zip(found.marks, found.breaks, strict=True)
                if isinstance(b, Completed)
            ),
            "dimensions": tuple(records.dimension_record(d) for d in list_dimensions(found.estimate)),
            "warnings": (*seen.warnings, *said),
            "adjustment": records.adjustment_record(found.estimate),
        }
    )


def _is_left(b: Completed | Open) -> bool:
    """Whether a break was marked and left open."""
    return isinstance(b, Completed) and b.way == "open"


def _result(new: records.JobRecord, found: Mended) -> dict[str, Any]:
    return {**records.for_scripts(new), "breaks": _breaks(found)}


def _breaks(found: Mended) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    for b in found.breaks:
        if isinstance(b, Open):
            out.append({"broken": list(b.labels), "by": "open", "why": dict(b.whys)})
            continue
        out.append(
            {
                "broken": list(b.merged) if b.way == "open" else [f.label for f in b.broken],
                "by": b.way,
                "completed": list(b.fresh),
                "prolonged": list(b.prolonged),
                "merged": list(b.merged),
                "rms_mm": None if b.rms_mm is None else round(b.rms_mm, 4),
                "worst_mm": None if b.worst_mm is None else round(b.worst_mm, 4),
                **({"drawn": b.drawn} if b.way == "hand" else {}),
                "corner_u95_mm": None if b.corner_u95_mm is None else round(b.corner_u95_mm, 4),
                "words": in_words(b),
            }
        )
    return out


def _guessed(found: Mended) -> tuple[Caution, ...]:
    corners = [b for b in found.breaks if isinstance(b, Completed) and b.way == "extend" and not b.merged]
    text = Words("Edges that go on until they meet are a guess that nothing else bears out: ask what was there.")
    return (Caution("completion-guessed", text),) if corners else ()


def _stale_readings(folder: Path, now: Estimate, seen: records.JobRecord) -> tuple[Caution, ...]:
    """A word when readings in the job name what the completion has replaced."""
    path = folder / job.READINGS
    if not path.exists():
        return ()
    content = job.content(folder, job.READINGS, "read")
    try:
        _: tuple[Reading, ...] = checked(content, str(path), now, seen.subject, tools_of(folder, None))
    except ReadingsRefused as why:
        return (
            Caution("reading-on-break", Words("A reading no longer fits the completed outline: {text}", text=why.text)),
        )
    return ()
