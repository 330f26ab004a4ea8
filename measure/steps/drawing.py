"""From a job's record to what a sketch is made from."""

from __future__ import annotations

from datetime import date

from calib.languages import ENGLISH, decimal_mark
from calib.reference.wanted import LONG, in_words
from calib.tools.budget import K95
from calib.words import Words
from calib.written import printable
from measure.edges.rounded import Rim
from measure.geometry.dimensions import Dimension
from measure.job import job, records
from measure.sheet import sheet


def _rounded(rim: Rim | None) -> str:
    """What is said of an upper edge that is rounded; nothing of another."""
    if rim is None or not rim.is_rounded:
        return ""
    radius, u95 = max(rim.radius_mm, 0.0), K95 * rim.sd_mm
    return Words("Upper edge rounded, R{radius_mm:.2f} ± {u95_mm:.2f} mm", radius_mm=radius, u95_mm=u95)


def drawing(record: records.JobRecord, name: str | None, language: str = ENGLISH) -> sheet.Drawing:
    """What the sketch is made from; its words and figures in a language, by its code."""
    thickness = record.thickness_mm if record.thickness_mm > 0 else None
    return sheet.Drawing(
        name=printable(name or record.part),
        features=tuple(records.feature(f) for f in record.features),
        dimensions=tuple(Dimension(d.kind, d.features, d.value_mm, d.u95_mm, d.basis) for d in record.dimensions),
        estimate=records.estimate(record, job.MEASURED) if record.adjustment else None,
        thickness_mm=thickness,
        thickness_u95_mm=record.thickness_u95_mm if thickness else None,
        rim=_rounded(records.rim(record)),
        subject=record.subject,
        reference=in_words(record.scale.reference, LONG),
        date=date.today().isoformat(),
        photos=max(len(record.photos), 1),
        readings=sum(r.verdict == "kept" for r in record.readings),
        warnings=tuple((w.code, w.text if language == ENGLISH else w.message().text) for w in record.warnings),
        decimal_mark=decimal_mark(language),
        language=language,
        broken=tuple(records.feature(f) for f in record.broken),
        stretches=tuple(records.feature(f) for c in record.completed for f in c.stretches),
    )
