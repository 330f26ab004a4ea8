"""Photo to trace.json, trace.png, outline.dxf, and what shows the outline in the photo again."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from calib.errors import JawlineError, WrongUsage
from calib.files import is_plain
from calib.lens.lens import read_profile
from calib.lens.store import profile_for
from calib.messages import Remedy
from calib.photo.photo import load
from calib.written import printable
from measure.job import job
from measure.job.history import recording
from measure.job.lock import held
from measure.steps import Done, counted, listed
from measure.steps.notes import scale_notes
from measure.steps.phrases import on_command_line
from measure.tracing.request import Request

if TYPE_CHECKING:
    from calib.lens.lens import Profile
    from calib.photo.photo import Photo
    from measure.drawing.picture import SeenFeature
    from measure.edges.rounded import Rim
    from measure.geometry.features import Estimate
    from measure.job import records
    from measure.silhouette.marks_file import SaidThere
    from measure.steps.photos import Traced
    from measure.steps.set_aside import SetAside
    from measure.subject import Subject
    from measure.tracing.values import Trace

TO_MEASURE = (
    "calib.finding.finding",
    "measure.tracing.tracing",
    "measure.tracing.parts",
    "measure.silhouette.silhouette",
    "measure.drawing.picture",
)
"""What is loaded while the photo is decoded, which leaves the interpreter idle."""
TO_FINISH = ("scipy.sparse.csgraph", "measure.edges.upper_edges", "measure.outline.outline", "measure.job.records")
"""What is loaded while the reference and the part are searched for, which leaves it idle now and then."""

OUTDATED = (job.SEEN, job.MEASURED, *job.DRAWN)
"""What no longer holds after a trace."""
NO_LENS = "none"
"""In place of a profile: do without, even where one is kept for the camera."""


def trace(
    photo: Path,
    folder: Path,
    request: Request,
    *,
    further: Sequence[Path] = (),
    lens: Path | None = None,
    name: str | None = None,
    marks: Path | None = None,
    force: bool = False,
) -> Done:
    """Trace a photo, or several of the same part, into a job.

    Args:
        photo: the file.
        folder: the job; it is made when it is not there.
        request: what is known of the part, and which reference to look for.
        further: more photos of the same part, the same face up or the other.
        lens: file of a lens profile; `NO_LENS` for none; None for the one that is kept for the photo's camera, if any.
        name: of the part; the photo's by default.
        marks: file of what a person has marked in the (first) photo, see `measure.silhouette.marks_file`.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: no such photo, or the folder can't be written to.
        Untrustworthy: the photo, its reference or its part can't be measured; or the photos don't show the
            same part.
    """
    if request.in_two and marks is not None:
        raise WrongUsage("Marks are for a part in one piece", "marks", "leave them out", Remedy("trace-in-one"))
    job.check_writable(folder, job.TRACED, force)
    given = read_profile(lens) if lens and str(lens) != NO_LENS else None

    said: tuple[SaidThere, ...] = ()
    if marks is not None:
        from measure.silhouette.marks_file import read_marks

        marked = read_marks(marks)
        request = replace(request, strokes=marked.strokes, corners_px=marked.corners_px)
        said = marked.said

    def profile_of(taken: Photo) -> Profile | None:
        if given:
            given.check(taken)
        return given or (None if lens else profile_for(taken))

    with ThreadPoolExecutor(1) as beside:
        decoded, _ = beside.submit(load, photo), beside.submit(_colour_tables)
        _imported(TO_MEASURE)
        pixels = decoded.result()
    Thread(target=_imported, args=(TO_FINISH,), daemon=True).start()
    from measure.job import records
    from measure.steps.photos import traced

    before = _outline_of(folder) if request.strokes else None
    photos = traced(pixels, (photo, *further), request, profile_of)
    found, profile = photos.trace, photos.lens
    record, files = files_of(photos, printable(name or photo.stem))
    with held(folder):
        aside = _of_another_part(folder, found.estimate, request.subject)
        whole = files | aside.files if aside else files
        with recording(folder, {*job.TRACED, job.SEEN, *({job.READINGS} if aside else ())}):
            written = job.write(folder, whole, force=force, outdated=OUTDATED, merged=(job.READINGS,))
    holes = len({f.loop for f in found.estimate.features}) - 1
    lines = (
        f"Traced {listed(photos.names)}: {counted(len(record.features), 'feature')}, {counted(holes, 'hole')}.",
        *photos.lines,
        *(f"{note}." for note in scale_notes(record)),
        *((_of_rim(found.rim),) if found.rim else ()),
        *((f"Lens profile: {profile.name}{'' if given else ', kept for this camera'}.",) if profile else ()),
        *_of_readings(folder, record, found.estimate),
        *of_breaks(folder, found),
        f"The labels are in {folder / job.PICTURE}. Next: jawline next {folder}",
    )
    cautions = (*found.cautions, *((aside.caution,) if aside else ()))
    if before is not None and _alike(before, record):
        from calib.reference.found import Caution

        text = f"What the marks paint changed nothing: the outline is as it was in {folder}."
        cautions += (Caution("marks-change-nothing", text),)
    if request.subject == "opening":
        from calib.reference.found import Caution
        from measure.adjustment.seat import remark

        about = remark(request.height_mm)
        cautions += (Caution(about.code, about.what, about.remedies),)
    done = Done("trace", tuple(written), lines, records.for_scripts(record), cautions)
    if not said:
        return done
    from measure.steps.mend import mend, sayings_at

    mended = mend(folder, sayings_at(folder, said), force=force)
    return replace(done, lines=(*lines, *mended.lines), result=mended.result)


LIKE_MM = 0.03
"""Sizes that differ by less are the same: less than what any is known to (chosen)."""


def _outline_of(folder: Path) -> records.JobRecord | None:
    """What stands in the job from a trace before; None where there is none that can be read."""
    from calib.errors import JawlineError
    from measure.job import records

    try:
        return records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), job.TRACE)
    except JawlineError:
        return None


def _alike(before: records.JobRecord, now: records.JobRecord) -> bool:
    """Whether two outlines are the same to all that can be told."""
    kinds = [[(f.kind, f.loop) for f in r.features] for r in (before, now)]
    sizes = [[d.value_mm for d in r.dimensions] for r in (before, now)]
    alike = kinds[0] == kinds[1] and len(sizes[0]) == len(sizes[1])
    return alike and all(abs(a - b) < LIKE_MM for a, b in zip(*sizes, strict=True))


def files_of(photos: Traced, part: str) -> tuple[records.JobRecord, dict[str, bytes]]:
    """What is written of traced photos: the record, and the files by name.

    Args:
        photos: as they were traced.
        part: its name.
    """
    from measure.drawing.picture import picture
    from measure.job import records

    found = photos.trace
    record, seen = _record(found, part, photos.names), found.reference
    notes = scale_notes(record)
    with ThreadPoolExecutor(1) as beside:
        drawn = beside.submit(picture, photos.photo.rgb, seen.outlines_px, seen.faces_px, _drawn(found), notes)
        # loaded only now, for the picture too leaves the interpreter idle
        from measure.drawing.framing import plain_picture
        from measure.drawing.outline_dxf import outline_dxf
        from measure.job import edges_record, view_record

        jpeg, frame = plain_picture(photos.photo.rgb, seen.faces_px)
        height, width = frame.pixels.shape[:2]
        shown = view_record.PictureRecord(file=job.PHOTO, width=width, height=height, scale=frame.scale)
        files = {
            job.PHOTO: jpeg,
            job.VIEW: view_record.to_text(
                view_record.view_record(found.sighted, seen, shown, photos.request.strokes, photos.request.corners_px)
            ).encode(),
            job.TRACE: records.to_text(record).encode(),
            job.OUTLINE: outline_dxf(found.estimate.features),
            job.PICTURE: drawn.result(),
            job.EDGES: edges_record.to_bytes(found.edges),
        }
    return record, files


def _colour_tables() -> None:
    """Have OpenCV build its tables for Lab, which it does at the first conversion and without the interpreter."""
    import cv2
    import numpy as np

    cv2.cvtColor(np.zeros((1, 1, 3), np.float32), cv2.COLOR_RGB2LAB)


def warm() -> None:
    """Load all that a trace needs, before there is a photo."""
    _imported((*TO_MEASURE, *TO_FINISH, "measure.drawing.outline_dxf", "measure.steps.photos"))


def _imported(names: tuple[str, ...]) -> None:
    for name in names:
        import_module(name)


def _record(found: Trace, part: str, photos: Sequence[str]) -> records.JobRecord:
    from measure.geometry.dimensions import list_dimensions
    from measure.job import records

    return records.JobRecord(
        part=part,
        photo=photos[0],
        photos=tuple(photos) if len(photos) > 1 else (),
        scale=records.scale_record(found.scale),
        subject=found.subject,
        thickness_mm=found.thickness_mm,
        rim=None if found.rim is None else records.rim_record(found.rim),
        features=tuple(records.feature_record(f) for f in found.estimate.features),
        dimensions=tuple(records.dimension_record(d) for d in list_dimensions(found.estimate)),
        warnings=tuple(records.CautionRecord.of(c, on_command_line) for c in found.cautions),
        adjustment=records.adjustment_record(found.estimate),
        broken=tuple(records.feature_record(f) for f in found.broken),
        joined=None if found.gap is None else records.joined_record(found.gap),
    )


def _of_another_part(folder: Path, outline: Estimate, subject: Subject) -> SetAside | None:
    """What becomes of readings that the job has and that are of another part; mostly there are none to judge."""
    if not is_plain(folder / job.READINGS):
        return None
    from measure.steps.set_aside import set_aside

    return set_aside(folder, outline, subject)


def _of_readings(folder: Path, record: records.JobRecord, outline: Estimate) -> tuple[str, ...]:
    """What becomes of the readings that the job has, now that it is traced anew."""
    if not is_plain(folder / job.READINGS):
        return ()
    from measure.steps.agreed import became_of
    from measure.steps.read import in_job, tools_of

    try:
        tools = tools_of(folder, None)
        readings = in_job(job.content(folder, job.READINGS, "read"), str(folder / job.READINGS), tools)
        return became_of(record, outline, readings, tools)
    except JawlineError:  # reconcile says what is wrong with them
        return ()


def of_breaks(folder: Path, found: Trace) -> tuple[str, ...]:
    """Where the part looks broken, plainly or perhaps, and how to say so; none of an opening, nor of pieces joined.

    Args:
        folder: the job.
        found: what was traced into it.
    """
    if found.subject == "opening" or found.gap is not None:
        return ()
    from measure.broken.suspected import suspected

    ways = {True: "To fill it in", False: "If it is"}
    return tuple(
        f"{s.words()} {ways[s.plain]}: jawline complete {folder} --broken {s.mark}"
        for s in suspected(found.estimate.features)
    )


def _of_rim(rim: Rim) -> str:
    """What the outline reckons with, and what can be done where nobody said."""
    what = rim.in_words()
    if rim.told != "unknown" or rim.is_rounded:
        return f"{what}."
    return f"{what}: {on_command_line(Remedy('tell-rim'))}."


def _drawn(found: Trace) -> list[SeenFeature]:
    from measure.drawing.picture import SeenFeature

    both = zip(found.estimate.features, found.seen_px, strict=True)
    out = [SeenFeature(f.label, f.kind, f.loop, seen, f.origin) for f, seen in both]
    also = [(found.estimate.features[i], seen) for i, seen in found.also_px]
    breaks = [SeenFeature("", "curve", 0, seen, "completed") for seen in found.break_px]
    return [*out, *(SeenFeature("", f.kind, f.loop, seen, f.origin) for f, seen in also), *breaks]
