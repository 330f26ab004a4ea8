"""Photo to trace.json, trace.png and outline.dxf."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from threading import Thread

from calib.lens import read_profile
from calib.lens_store import profile_for
from calib.photo import load
from calib.reference import WORDS
from measure import job, records, tracing
from measure.dimensions import list_dimensions
from measure.drawing.dxf import outline_dxf
from measure.drawing.picture import Drawn, picture
from measure.steps import Done, counted
from measure.tracing import Subject, Trace

NO_LENS = "none"
"""In place of a profile: do without, even where one is kept for the camera."""


def trace(
    photo: Path,
    folder: Path,
    thickness_mm: float,
    subject: Subject,
    *,
    lens: Path | None = None,
    looking: tracing.Looking = tracing.ANY,
    name: str | None = None,
    force: bool = False,
) -> Done:
    """Trace a photo into a job.

    Args:
        photo: the file.
        folder: the job; it is made when it is not there.
        thickness_mm: height of the part's upper edge over the reference's plane, 0 for unknown.
        subject: part or opening.
        lens: file of a lens profile; `NO_LENS` for none; None for the one that is kept for the photo's camera, if any.
        looking: for which reference.
        name: of the part; the photo's by default.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: no such photo, or the folder can't be written to.
        Untrustworthy: the photo, its reference or its part can't be measured.
    """
    job.check_writable(folder, (job.TRACE, job.PICTURE, job.OUTLINE), force)
    Thread(target=_import_ahead, daemon=True).start()
    given = read_profile(lens) if lens and str(lens) != NO_LENS else None
    pixels = load(photo)
    if given:
        given.check(pixels)
    profile = given or (None if lens else profile_for(pixels))
    found = tracing.trace(pixels, thickness_mm, subject, profile, looking)
    record = _record(found, name or photo.stem, pixels.name)
    seen = found.reference
    files = {
        job.TRACE: records.to_text(record).encode(),
        job.PICTURE: picture(pixels.rgb, seen.outlines_px, seen.faces_px, _drawn(found), scale_notes(record)),
        job.OUTLINE: outline_dxf(found.estimate.features),
    }
    written = job.write(folder, files, force=force, outdated=(job.MEASURED, *job.DRAWN))
    holes = len({f.loop for f in found.estimate.features}) - 1
    lines = (
        f"Traced {pixels.name}: {counted(len(record.features), 'feature')}, {counted(holes, 'hole')}.",
        *(f"{note}." for note in scale_notes(record)),
        *((f"Lens profile: {profile.name}{'' if given else ', kept for this camera'}.",) if profile else ()),
        f"The labels are in {folder / job.PICTURE}. Next: jawline read {folder} READINGS",
    )
    return Done("trace", tuple(written), lines, records.for_scripts(record), found.cautions)


def _import_ahead() -> None:
    """Load what is needed later while the photo is decoded and searched, which leaves the interpreter idle for long."""
    for name in ("scipy.linalg", "scipy.sparse.csgraph", "ezdxf"):
        import_module(name)


def _record(found: Trace, part: str, photo: str) -> records.JobRecord:
    return records.JobRecord(
        part=part,
        photo=photo,
        scale=records.scale_record(found.scale),
        subject=found.subject,
        thickness_mm=found.thickness_mm,
        features=tuple(records.feature_record(f) for f in found.estimate.features),
        dimensions=tuple(records.dimension_record(d) for d in list_dimensions(found.estimate)),
        warnings=tuple(records.CautionRecord(code=c.code, text=c.text) for c in found.cautions),
        adjustment=records.adjustment_record(found.estimate),
    )


def _drawn(found: Trace) -> list[Drawn]:
    both = zip(found.estimate.features, found.seen_px, strict=True)
    return [Drawn(f.label, f.kind, f.loop, seen, f.origin) for f, seen in both]


def scale_notes(record: records.JobRecord) -> tuple[str, ...]:
    """A few short lines on where the scale comes from."""
    s = record.scale
    words = WORDS.get(s.reference, s.reference)
    height = f"Thickness {record.thickness_mm:g} mm" if record.thickness_mm else "Thickness unknown"
    return (
        f"Scale from the {words}: {s.mm_per_px:.4f} mm a pixel ± {100 * s.u95_relative:.2f} %",
        f"Camera {s.camera_height_mm:.0f} mm above the table, tilted {s.tilt_deg:.0f}°",
        f"{height}, as seen from the photographed face" if record.subject == "part" else "Rim of an opening",
    )
