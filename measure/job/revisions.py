"""Revisions of a job: what was drawn to be printed, numbered from 1, kept for good.

    revisions/1/revision.json  sketch.dxf  sketch.svg  sketch.pdf  gauge.3mf  …
    revisions/2/…

A revision is put in place whole, under a number that is free. What was drawn of it to be printed comes to it when the
next one is drawn; no file of it is ever written to again.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from calib.errors import JobRefused, WrongUsage
from calib.files import is_plain
from measure.geometry.features import Feature, same_kind
from measure.job import job, leftovers, records
from measure.job.told import Record

FOLDER, RECORD = "revisions", "revision.json"
_NUMBER = re.compile("[1-9][0-9]{0,8}")


class ChangeRecord(Record):
    """How far a face was moved, outward positive, against the revision before."""

    feature: str
    by_mm: records.Figure
    u95_mm: records.NotLess


class SizeRecord(Record):
    """A size that differs from the revision before."""

    kind: str
    features: tuple[str, ...]
    before_mm: records.Figure
    value_mm: records.Figure
    u95_mm: records.NotLess


class RevisionRecord(Record):
    """A revision.

    Attributes:
        trace: fingerprint of the trace that its labels belong to.
        measured: fingerprint of the measured outline that it was drawn from.
        fit, printer: that it was drawn for.
        all_round_mm: how far trial prints had moved the whole outer boundary by then.
        features: the outline before any fit.
        drawn: the outline with the fit's room and the printer's figures, as it is printed.
        after: what was said of the revision before.
        changes, sizes: what differs from the revision before.
    """

    schema_: Literal["jawline/1"] = Field(default=records.SCHEMA, alias="schema")
    revision: int = Field(ge=1)
    date: str = ""
    trace: str
    measured: str = ""
    fit: str | None = None
    printer: str | None = None
    all_round_mm: records.Figure = 0.0
    features: tuple[records.FeatureRecord, ...] = Field(min_length=1, max_length=records.MOST_FEATURES)
    drawn: tuple[records.FeatureRecord, ...] = Field(min_length=1, max_length=records.MOST_FEATURES)
    after: tuple[str, ...] = ()
    changes: tuple[ChangeRecord, ...] = ()
    sizes: tuple[SizeRecord, ...] = ()

    def outline(self) -> tuple[Feature, ...]:
        """The outline before any fit."""
        return tuple(records.feature(f) for f in self.features)

    def printed(self) -> tuple[Feature, ...]:
        """The outline as it is printed."""
        return tuple(records.feature(f) for f in self.drawn)


def numbers(folder: Path) -> tuple[int, ...]:
    """The revisions that a job has, in order."""
    place = folder / FOLDER
    return tuple(n for n in _numbered(place) if is_plain(place / str(n) / RECORD))


def readable(folder: Path) -> dict[int, RevisionRecord]:
    """The revisions of a job by number, in order, but for those whose file is damaged."""
    out = {}
    for n in numbers(folder):
        with contextlib.suppress(JobRefused, WrongUsage):
            out[n] = read(folder, n)
    return out


def made_at(folder: Path, number: int) -> float:
    """When a revision was made, seconds since 1970."""
    return (folder / FOLDER / str(number) / RECORD).stat().st_mtime


def read(folder: Path, number: int) -> RevisionRecord:
    """One revision.

    Raises:
        WrongUsage: there is none of that number.
        JobRefused: its file is damaged.
    """
    known = numbers(folder)
    if number not in known:
        there = f"it has {', '.join(map(str, known))}" if known else "it has none: the first trial print makes them"
        raise WrongUsage(f"{folder} has no revision {number}; {there}.", "revision")
    path = folder / FOLDER / str(number) / RECORD
    try:
        record = RevisionRecord.model_validate_json(job.text(path.parent, RECORD, "trial"))
    except ValidationError as why:
        first = why.errors(include_url=False)[0]
        where = ".".join(str(p) for p in first["loc"])
        raise JobRefused(f"{path} can't be used: {where}: {first['msg'].lower()}.", "job-damaged") from None
    for f in (*record.features, *record.drawn):
        missing = [key for key in records.NEEDS[f.kind] if getattr(f, key) is None]
        if missing:
            raise JobRefused(f"{path} can't be used: {f.label} is a {f.kind} without “{missing[0]}”.", "job-damaged")
    return record


def keep(folder: Path, record: RevisionRecord, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Put a revision in its place.

    Args:
        folder: the job.
        record: with the number that it is to have, `next_number`.
        files: what else belongs to it.

    Returns:
        the files written.

    Raises:
        WrongUsage: the folder can't be written to.
    """
    place = folder / FOLDER / str(record.revision)
    beside = folder / FOLDER / leftovers.beside(str(record.revision))
    whole = {RECORD: text(record).encode(), **files}
    try:
        leftovers.clear_left(place.parent)
        beside.mkdir(parents=True)
        for name, content in whole.items():
            with open(beside / name, "wb") as f:
                f.write(content)
                f.flush()
                os.fsync(f.fileno())
        os.rename(beside, place)
    except OSError as why:
        raise WrongUsage(
            f"Revision {record.revision} can't be kept in {place.parent} ({(why.strerror or str(why)).lower()}).",
            "not-writable",
        ) from None
    finally:
        with contextlib.suppress(OSError):
            shutil.rmtree(beside)
    return tuple(place / name for name in whole)


def add(folder: Path, number: int, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Put more files to a revision; those that it has already stay as they are.

    Args:
        folder: the job.
        number: of the revision.
        files: name and content of each.

    Returns:
        the files written.

    Raises:
        WrongUsage: the folder can't be written to.
    """
    place = folder / FOLDER / str(number)
    new = {n: content for n, content in files.items() if not os.path.lexists(place / n)}
    try:
        leftovers.clear_left(place)
        with job.beside_place(place) as beside:
            ready = {n: beside(n, content) for n, content in new.items()}
            for n, path in ready.items():
                os.replace(path, place / n)
    except OSError as why:
        raise WrongUsage(
            f"Files can't be kept in {place} ({(why.strerror or str(why)).lower()}).", "not-writable"
        ) from None
    return tuple(place / n for n in new)


def next_number(folder: Path) -> int:
    """The number that the next revision gets; whatever stands under a higher one is left alone."""
    place = folder / FOLDER
    return max(_numbered(place), default=0) + 1


def _numbered(place: Path) -> list[int]:
    """The numbers that stand there, in order; what is called otherwise is none of jawline's."""
    try:
        return sorted(int(name) for name in os.listdir(place) if _NUMBER.fullmatch(name))
    except OSError:
        return []


def text(record: RevisionRecord) -> str:
    """The file's text: a line for every feature and change."""
    return records.lines(record.model_dump(mode="json", by_alias=True, exclude_none=True)) + "\n"


def outline_mark(features: Sequence[records.FeatureRecord]) -> str:
    """Fingerprint of an outline as it is written down."""
    return job.fingerprint("\n".join(f.model_dump_json() for f in features).encode())


def same_outline(a: Sequence[Feature], b: Sequence[Feature], within_mm: float = 1e-4) -> bool:
    """Whether two outlines are the same but for how they were written down."""
    if [(f.label, f.loop) for f in a] != [(f.label, f.loop) for f in b] or not all(map(same_kind, a, b)):
        return False
    return all(
        abs(u - v) <= within_mm
        for x, y in zip(a, b, strict=True)
        for u, v in zip(_numbers(x), _numbers(y), strict=True)
    )


def _numbers(f: Feature) -> list[float]:
    if f.kind == "curve":
        return [v for p in f.points for v in p]
    if f.kind == "line":
        return [*f.start, *f.end]
    return [*f.centre, f.radius, *(() if f.kind == "circle" else (*f.start, *f.end))]
