"""Revisions of a job: drawn, kept, and two of them compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from calib.errors import WrongUsage
from measure.drawing.dxf import write_dxf
from measure.drawing.pdf import write_pdf
from measure.drawing.svg import write_svg
from measure.geometry.dimensions import list_dimensions, size_of
from measure.geometry.features import Feature
from measure.job import job, records, revisions
from measure.job.lock import alone
from measure.job.revisions import ChangeRecord, RevisionRecord, SizeRecord, same_outline
from measure.sheet import sheet
from measure.steps import Done
from measure.steps.corrected import with_corrections
from measure.steps.drawing import drawing
from measure.steps.fit import fit_of, fitted_drawing
from measure.steps.printer import printer_of
from measure.trial.comparison import Difference, comparison, differences
from measure.trial.corrections import Corrected
from measure.trial.faces import groups_of, moved_by

CHANGED_MM = 0.005


@dataclass(frozen=True, slots=True)
class Compared:
    """Two revisions beside each other.

    Attributes:
        lines: for people.
        sheet: both outlines over each other.
        differences: faces that differ, the most first.
    """

    lines: tuple[str, ...]
    sheet: sheet.Sheet
    differences: tuple[Difference, ...]


def revision_svg(folder: Path, number: int) -> bytes:
    """The drawing of a revision as SVG.

    Raises:
        WrongUsage: there is no such job or revision.
    """
    revisions.read(job.existing(folder), number)
    return job.content(folder / revisions.FOLDER / str(number), job.SKETCHES[1], "trial")


def compared(folder: Path, one: int, two: int) -> Compared:
    """Two revisions over each other, without writing anything.

    Raises:
        WrongUsage: there is no such job or revision, or they are the same one.
        JobRefused: a revision's file is damaged.
    """
    if one == two:
        raise WrongUsage(f"Revision {one} is compared with itself: name two, as in 1 2.", "revision")
    a, b = (revisions.read(job.existing(folder), n) for n in (one, two))
    found = differences(a.printed(), b.printed())
    names = (f"revision {one}{_for(a)}", f"revision {two}{_for(b)}")
    title = f"Revisions {one} and {two}"
    lines = [f"{names[0][0].upper()}{names[0][1:]} against {names[1]}:"]
    for labels, by, _ in groups_of([(d.label, d.by_mm, 0.0) for d in found]):
        lines.append(f"  {labels}: {abs(by):.2f} mm {'further out' if by > 0 else 'further in'}")
    ours, theirs = ({f.label for f in x.drawn} for x in (a, b))
    lines += [f"  only in revision {one}: {', '.join(sorted(ours - theirs))}"] if ours - theirs else []
    lines += [f"  only in revision {two}: {', '.join(sorted(theirs - ours))}"] if theirs - ours else []
    if len(lines) == 1:
        lines.append("  the outlines do not differ.")
    return Compared(tuple(lines), comparison(title, names, a.printed(), b.printed()), found)


@alone
def compare(folder: Path, one: int | None = None, two: int | None = None, *, force: bool = False) -> Done:
    """Write compare-1-2.svg and .pdf.

    Args:
        folder: the job.
        one, two: numbers of revisions; the last two by default, or one and the last.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: there are no such revisions, or the folder can't be written to.
        JobRefused: a revision's file is damaged.
    """
    there = revisions.numbers(job.existing(folder))
    if len(there) < 2 and two is None:
        raise WrongUsage(
            f"{folder} has {'one revision' if there else 'no revisions'} to compare: jawline trial makes the next one.",
            "revision",
        )
    second = there[-1] if two is None else two
    first = there[-2] if one is None else one
    found = compared(folder, first, second)
    names = tuple(f"compare-{first}-{second}.{kind}" for kind in ("svg", "pdf"))
    files = {names[0]: write_svg(found.sheet), names[1]: write_pdf(found.sheet)}
    paths = job.write(folder, files, force=force)
    result = {
        "revisions": [first, second],
        "differences": [{"feature": d.label, "by_mm": round(d.by_mm, 4)} for d in found.differences],
    }
    return Done("compare", tuple(paths), (*found.lines, f"The picture is {paths[0]}, also as .pdf."), result)


def _for(r: RevisionRecord) -> str:
    parts = [f"for a {r.fit} fit"] if r.fit else []
    parts += [f"for the printer {r.printer}"] if r.printer else []
    return f" ({', '.join(parts)})" if parts else ""


# ---------------------------------------------------------------------------------------------------------- made anew
def made(
    record: records.JobRecord,
    found: Corrected | None,
    number: int,
    fit: str | None,
    printer: str | None,
    after: tuple[str, ...] = (),
    against: RevisionRecord | None = None,
) -> tuple[RevisionRecord, sheet.Drawing]:
    """A revision of the job as it stands, and what its sketch is made from; nothing is written.

    Args:
        record: measured.json.
        found: what trial prints asked for.
        number: that it gets.
        fit, printer: that it is drawn for.
        after: what was said of the revision before.
        against: that revision.

    Raises:
        WrongUsage: no such fit or printer.
        PartRefused: the outline is too narrow for the fit.
    """
    plain = drawing(record, None)
    plain = plain if found is None else with_corrections(plain, found)
    drawn = fitted_drawing(plain, fit_of(fit) if fit else None, printer_of(printer))
    was = {f.label: f for f in against.outline()} if against else {}
    revision = RevisionRecord(
        revision=number,
        date=date.today().isoformat(),
        trace=record.made_from.get(job.TRACE, ""),
        measured=revisions.outline_mark(record.features),
        fit=fit,
        printer=printer,
        all_round_mm=round(found.all_round_mm, 6) if found else 0.0,
        features=tuple(records.feature_record(f) for f in plain.features),
        drawn=tuple(records.feature_record(f) for f in drawn.features),
        after=after,
        changes=_changes(found, was) if was and found else (),
        sizes=_sizes(found, was) if was and found else (),
    )
    title = f"{plain.name or 'unnamed part'}, revision {number}"
    return revision, replace(drawn, name=title)


def kept(folder: Path, revision: RevisionRecord, wanted: sheet.Drawing) -> tuple[Path, ...]:
    """Keep a revision with its drawings; see `revisions.keep`."""
    drawn = sheet.sketch(wanted)
    dxf, svg, pdf = job.SKETCHES
    return revisions.keep(folder, revision, {dxf: write_dxf(drawn), svg: write_svg(drawn), pdf: write_pdf(drawn)})


def is_as_drawn(last: RevisionRecord, now: RevisionRecord) -> bool:
    """Whether a revision is what the job draws now."""
    alike = (last.fit, last.printer, last.trace) == (now.fit, now.printer, now.trace)
    return alike and same_outline(last.printed(), now.printed())


def _changes(found: Corrected, was: dict[str, Feature]) -> tuple[ChangeRecord, ...]:
    """Faces that lie elsewhere than in the revision before."""
    sure = {m.label: m.u95_mm for m in found.moves}
    by = {f.label: moved_by(was[f.label], f) for f in found.estimate.features if f.label in was}
    return tuple(
        ChangeRecord(feature=x, by_mm=round(v, 4), u95_mm=round(sure.get(x, 0.0), 4))
        for x, v in by.items()
        if abs(v) >= CHANGED_MM
    )


def _sizes(found: Corrected, was: dict[str, Feature]) -> tuple[SizeRecord, ...]:
    """Sizes that differ from the revision before, those that differ most first."""
    out = []
    for d in list_dimensions(found.estimate):
        if all(x in was for x in d.features):
            before = size_of(d.kind, [was[x] for x in d.features]).value_mm
            if abs(d.value_mm - before) >= CHANGED_MM:
                numbers = {
                    "before_mm": round(before, 4),
                    "value_mm": round(d.value_mm, 4),
                    "u95_mm": round(d.u95_mm, 4),
                }
                out.append(SizeRecord(kind=d.kind, features=d.features, **numbers))
    return tuple(sorted(out, key=lambda s: -abs(s.value_mm - s.before_mm)))
