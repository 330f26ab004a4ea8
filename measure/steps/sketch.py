"""measured.json to sketch.dxf, sketch.svg and sketch.pdf, and to sketch-on-photo.svg to check them by."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from calib.languages import ENGLISH
from calib.written import printable
from measure.drawing.dxf import write_dxf
from measure.drawing.pdf import write_pdf
from measure.drawing.svg import write_svg
from measure.job import job
from measure.job.lock import alone
from measure.sheet import sheet
from measure.steps import Done, counted
from measure.steps.corrected import corrected_drawing, correction_lines
from measure.steps.measured import measured_record
from measure.steps.on_photo import sketch_on_photo


@alone
def sketch(
    folder: Path,
    *,
    name: str | None = None,
    owner: str = "",
    force: bool = False,
    thin: bool = False,
    language: str = ENGLISH,
) -> Done:
    """Draw the dimensioned sketch of a job.

    Args:
        folder: the job.
        name: of the part; the job's own by default.
        owner: whose the part is, to stand in the title block; nobody by default.
        force: overwrite what is not jawline's own.
        thin: show the thin places too.
        language: of the drawing, by its code.

    Raises:
        WrongUsage: reconcile has not been run, the folder can't be written to, or an opening's thin places are asked
            for.
        JobRefused: measured.json is damaged, or trace or readings have changed since.
    """
    record = measured_record(folder)
    job.check_writable(folder, (*job.SKETCHES, job.ON_PHOTO), force)
    wanted, found = corrected_drawing(folder, record, name, language)
    wanted = replace(wanted, owner=printable(owner, ""))
    if thin:
        from measure.steps.thin import marks

        wanted = replace(wanted, thin=marks(record, wanted.decimal_mark))
    drawn = sheet.sketch(wanted)
    dxf, svg, pdf = job.SKETCHES
    files = {dxf: write_dxf(drawn), svg: write_svg(drawn), pdf: write_pdf(drawn)}
    checked = sketch_on_photo(folder, record, drawn, language)
    if checked is not None:
        files[job.ON_PHOTO] = checked
    written = job.write(folder, files, force=force, outdated=() if checked else (job.ON_PHOTO,))
    lines = (
        f"{counted(len(drawn.drawn), 'dimension')} on {drawn.name}: {folder / pdf}, also as .svg and .dxf.",
        *correction_lines(found),
        *((f"Over the photo, to check it by: {folder / job.ON_PHOTO}.",) if checked else ()),
        "Print the PDF at 100 % and check its 100 mm bar.",
    )
    result = {"paper": drawn.name, "dimensions": len(drawn.drawn), "listed": len(drawn.listed), "worst": worst(drawn)}
    return Done("sketch", tuple(written), lines, result)


def worst(drawn: sheet.Sheet) -> dict[str, Any] | None:
    """The least sure length on the sheet."""
    stated = [d.wanted.stated for d in drawn.drawn if not d.wanted.auxiliary]
    lengths = [s for s in stated if s.u95 is not None and not s.is_angle]
    if not lengths:
        return None
    s = max(lengths, key=lambda s: s.u95 or 0.0)
    return {"kind": s.kind, "features": list(s.labels), "value_mm": round(s.value, 4), "u95_mm": round(s.u95 or 0.0, 4)}
