"""The thin sections of a job's outline: measured.json, or trace.json before there is one, to words. Writes nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from calib.errors import WrongUsage
from calib.reference.found import Caution
from calib.words import Words, joined
from measure.geometry.features import Feature, Line
from measure.job import job, records
from measure.printing.light_parts import LIGHT_PARTS
from measure.printing.strength import remedies
from measure.printing.strength.sections import thin_sections
from measure.printing.strength.walls import sharp_corners
from measure.sheet.lettering import figures
from measure.steps import Done
from measure.steps.measured import measured_record

LINES_MM, LIMITS_MM = (0.05, 2), (0.1, 50)
"""Least and most that each takes: a nozzle's line, and what is thick for any part that is printed."""


def thin(folder: Path, *, line_mm: float = remedies.LINE_MM, limit_mm: float = remedies.LIMIT_MM) -> Done:
    """Find the thin sections of a job's outline.

    Args:
        folder: the job.
        line_mm: extrusion width.
        limit_mm: below which a section is weak.

    Raises:
        WrongUsage: trace has not been run, or the job is an opening.
        JobRefused: the job's file is damaged, or trace or readings have changed since.
    """
    measured = (job.existing(folder) / job.MEASURED).exists()
    name = job.MEASURED if measured else job.TRACE
    if measured:
        record = measured_record(folder)
    else:
        record = records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), str(folder / job.TRACE))
    judged = judged_sections(record, name, line_mm, limit_mm)
    result: dict[str, Any] = {
        "from": name,
        "line_mm": line_mm,
        "limit_mm": limit_mm,
        "sections": [remedies.result(j) for j in judged],
    }
    sharp = sharp_corners([records.feature(f) for f in record.features])
    result["sharp"] = [{"features": list(labels), "angle_deg": round(angle, 2)} for labels, angle in sharp]
    lines = (*remedies.lines(judged, line_mm, limit_mm), *remedies.sharp_lines(sharp))
    return Done("thin", (), lines, result, _cautions(record, measured))


def judged_sections(
    record: records.JobRecord, name: str, line_mm: float = remedies.LINE_MM, limit_mm: float = remedies.LIMIT_MM
) -> list[remedies.JudgedSection]:
    """The sections of a record, the thinnest first.

    Args:
        record: the file.
        name: its name, for messages.
        line_mm, limit_mm: as for `thin`.

    Raises:
        WrongUsage: the job is an opening.
        JobRefused: the covariance is missing or no longer belongs to the features.
    """
    if record.subject == "opening":
        raise WrongUsage(
            Words(
                "This job is an opening: within its rim it is empty, so there are no walls to look at. "
                "Thin places can be found on a part."
            ),
            "thin-opening",
        )
    height = record.thickness_mm or None
    sections = thin_sections(records.estimate(record, name))
    return [remedies.judge(s, line_mm, limit_mm, height) for s in sections]


MOST_MARKS = 9
"""More thin places than this make a sketch unreadable."""


def marks(record: records.JobRecord, decimal_mark: str = ".") -> tuple[tuple[Feature, str], ...]:
    """Lines across the thin places, for a sketch, each with what is said of it.

    Args:
        record: measured.json.
        decimal_mark: in the figures.

    Raises:
        WrongUsage, JobRefused: as for `judged_sections`.
    """
    out = []
    for name, j in remedies.named(judged_sections(record, job.MEASURED))[:MOST_MARKS]:
        s = j.section
        value, spread = figures(s.value_mm, s.u95_mm, mark=decimal_mark)
        sides = Words("({sides})", sides=joined(", ", [remedies.side_words(x) for x in s.sides]))
        out.append((Line(name, 0, *s.ends), joined(" ", (f"{value} {spread}".strip(), sides))))
    return tuple(out)


def _cautions(record: records.JobRecord, measured: bool) -> tuple[Caution, ...]:
    out = []
    if not measured:
        out.append(Caution("photo-alone", Words("From the photo alone: a reading or two makes it surer.")))
    if not record.thickness_mm:
        out.append(
            Caution(
                "no-thickness",
                Words("The part's thickness is not known, so nobody has looked whether a pin fits in it."),
            )
        )
    return (*out, Caution("guide-only", LIGHT_PARTS))
