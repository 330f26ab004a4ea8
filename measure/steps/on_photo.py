"""A job's drawing over its photo, as a check for the eye."""

from __future__ import annotations

from pathlib import Path

from calib.arrays import Array
from calib.errors import JawlineError
from calib.languages import ENGLISH, said_in
from measure.drawing.beneath import CAPTION, Beneath, beneath
from measure.drawing.overlay import on_picture
from measure.drawing.svg import write_svg
from measure.job import job, records, view_record
from measure.sheet.sheet import Sheet
from measure.steps.shown import has_picture, plain_picture_of, view_of


def sketch_on_photo(folder: Path, measured: records.JobRecord, drawn: Sheet, language: str = ENGLISH) -> bytes | None:
    """The sheet with the photo beneath it, as an SVG file; None where no picture shows it so.

    That is where the job keeps none, and of two pieces put together: one lies elsewhere in the photo.

    Args:
        folder: the job.
        measured: what the sheet was drawn from.
        drawn: the sheet.
        language: of its words, by its code.
    """
    under = _beneath(folder, measured, drawn, language)
    return None if under is None else write_svg(drawn, under)


def _beneath(folder: Path, measured: records.JobRecord, drawn: Sheet, language: str) -> Beneath | None:
    if measured.joined is not None or not has_picture(folder):
        return None
    try:
        traced = records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), job.TRACE)
        record = view_of(folder)
        plain = plain_picture_of(folder, record)
    except JawlineError:  # the drawing itself does not hang on the picture
        return None
    sighted = view_record.sighted(record)
    before, now = ([records.feature(f) for f in r.features] for r in (traced, measured))
    if [(f.label, f.kind) for f in before] == [(f.label, f.kind) for f in now]:
        sighted = sighted.laid_anew(before, now)  # readings have changed the scale

    def to_picture(places_mm: Array) -> Array:
        return on_picture(sighted.at_height_px(places_mm, sighted.wall.upper_mm), record.picture.scale) - 0.5

    return beneath(drawn, plain, to_picture, said_in(language, CAPTION))
