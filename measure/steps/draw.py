"""All steps in turn: from a photo and a file of readings to the finished sketch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calib.errors import WrongUsage
from calib.languages import ENGLISH
from calib.reference.wanted import in_words
from measure.dimensioning.words import in_words as said
from measure.job import job, records
from measure.job.history import recording, within
from measure.steps import Done
from measure.steps.measured import measured_record
from measure.steps.read import file, parsed, read, tools_of
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trace import trace
from measure.tracing.request import Request


@dataclass(frozen=True, slots=True)
class JobOrder:
    """What is wanted: a photo, what is known of it, and where its readings are.

    `request.thickness_mm` may be None where the readings have it; `further` are more photos of the same part; the
    sketch is in `language`, a code.
    """

    photo: Path
    request: Request
    readings: Path | None = None
    lens: Path | None = None
    name: str | None = None
    tools: Path | None = None
    further: tuple[Path, ...] = ()
    language: str = ENGLISH


def draw(wanted: JobOrder, folder: Path, *, force: bool = False, say: Callable[[str], None] | None = None) -> Done:
    """The whole job.

    Args:
        wanted: photo and readings.
        folder: the job.
        force: overwrite what is not jawline's own.
        say: told a line after each step.

    Raises:
        JawlineError: whatever a step refuses; no sketch is then written.
    """
    if wanted.readings is not None and not wanted.readings.is_file():
        raise WrongUsage(f"There is no file of readings {wanted.readings}: check the name and the folder.", "no-file")
    names = (*job.TRACED, job.MEASURED, *job.SKETCHES, job.ON_PHOTO)
    in_place = wanted.readings is None or wanted.readings.resolve() == (folder / job.READINGS).resolve()
    job.check_writable(folder, names if in_place else (*names, job.READINGS), force)
    if wanted.tools is not None:
        tools_of(folder, wanted.tools)  # before anything is written
    with recording(folder, {*job.TRACED, job.SEEN, *(() if in_place else (job.READINGS,))}), within(folder):
        return _drawn(wanted, folder, in_place, force, say or (lambda line: None))


def _drawn(wanted: JobOrder, folder: Path, in_place: bool, force: bool, tell: Callable[[str], None]) -> Done:
    """One step after the other."""
    done = [
        trace(
            wanted.photo,
            folder,
            replace(wanted.request, thickness_mm=_thickness_mm(wanted)),
            further=wanted.further,
            lens=wanted.lens,
            name=wanted.name,
            force=force,
        )
    ]
    tell(f"trace      {done[-1].lines[0]}")
    if wanted.readings is not None and not in_place:
        done.append(read(folder, [str(wanted.readings)], tools=wanted.tools, replace=True, force=force))
        tell(f"read       {done[-1].lines[0]}")
    done.append(reconcile(folder, tools=wanted.tools, force=force))
    tell(f"reconcile  {done[-1].lines[0]}")
    done.append(sketch(folder, name=wanted.name, language=wanted.language, force=force))
    tell(f"sketch     {done[-1].lines[0]}")
    files = tuple(dict.fromkeys(p for d in done for p in d.files))
    cautions = tuple(dict.fromkeys(c for d in done for c in d.cautions))
    record = measured_record(folder)
    return Done("draw", files, ending(folder, record, done[-1].result["worst"]), records.for_scripts(record), cautions)


def _thickness_mm(wanted: JobOrder) -> float:
    """As given, or the mean of the thickness readings."""
    if wanted.request.thickness_mm is not None or wanted.readings is None:
        return wanted.request.height_mm
    readings = parsed(file(wanted.readings), wanted.readings.name, tools_of(Path(), wanted.tools))
    values = [r.value_mm for r in readings if r.kind == "thickness"]
    if wanted.request.subject == "opening":  # its thickness readings are the seat's depth, which reconcile takes
        return 0.0
    if values:
        return sum(values) / len(values)
    raise WrongUsage(
        "The part's thickness is missing: give it as --thickness 4.2, or as a thickness reading in "
        f"{wanted.readings.name} (--thickness 0 goes on without it, with wider uncertainties).",
        "thickness",
    )


def ending(folder: Path, record: records.JobRecord, worst: dict[str, Any] | None) -> tuple[str, ...]:
    """Where the sketch lies, and the three numbers that matter: how sure, by what scale, checked by what."""
    suspects = sum(r.verdict == "suspect" for r in record.readings)
    kept = len(record.readings) - suspects
    lines = [f"The sketch lies in {folder / job.SKETCHES[2]} (also .svg and .dxf).", ""]
    numbers = []
    if worst is not None:
        what = f"{said(worst['kind'], worst['features'])}, {worst['value_mm']:.2f} mm"
        numbers.append((f"± {worst['u95_mm']:.2f} mm", f"the least sure length on the sketch ({what})"))
    by = in_words(record.scale.reference)
    scale = f"the photo's scale by the {by} alone ({record.scale.mm_per_px:.4f} mm a pixel)"
    numbers.append((f"± {100 * record.scale.u95_relative:.2f} %", scale))
    numbers.append((f"{kept} of {len(record.readings)}", f"caliper readings kept, {suspects} suspect"))
    return (*lines, *(f"  {number:10}  {words}" for number, words in numbers))
