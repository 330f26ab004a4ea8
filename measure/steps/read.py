"""Readings into readings.csv: from files or from words; what stands there already, mended by hand or not, stays."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from calib.errors import JobRefused, ReadingsRefused, WrongUsage
from calib.files import NotPlain, content_of
from calib.reference.found import Caution
from calib.tools.jaws import TOOLS, Tool, read_tools
from measure.adjustment.adjustment import Verdict
from measure.geometry.features import Estimate
from measure.job import job, records
from measure.job.history import recorded
from measure.job.lock import alone
from measure.planning.numbered import written_out
from measure.readings.jaw_reach import check_readings
from measure.readings.readings import COLUMNS, EMPTY, Reading, cells_of, decoded, read_csv, read_words, write_csv
from measure.steps import Done, counted
from measure.steps.agreed import agreed, verdict_line
from measure.subject import Subject

TOOLS_FILE = "tools.toml"
MAX_FILE_MB = 2


@alone
@recorded(job.READINGS)
def read(
    folder: Path, given: Sequence[str], *, tools: Path | None = None, replace: bool = False, force: bool = False
) -> Done:
    """Take readings into a job.

    Args:
        folder: the job.
        given: names of CSV files, or words such as ``width E1 E3 24.31``, or ``2=4.02`` for number 2
            on the worksheet.
        tools: the user's own tools; remembered in the job.
        replace: instead of the readings that are there.
        force: take a file in although it was taken already, and overwrite what is not jawline's own.

    Raises:
        WrongUsage: no such job or file, or trace has not been run.
        ReadingsRefused: what can't be understood or does not fit the outline.
    """
    record = records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), str(folder / job.TRACE))
    outline, subject = records.estimate(record, job.TRACE), record.subject
    known = tools_of(folder, tools)
    before = b"" if replace else _present(folder)
    old = in_job(before, str(folder / job.READINGS), known)
    fitting(old, str(folder / job.READINGS), outline, subject)
    paths, words = _files_and_words(given)
    sheet = folder / job.WORKSHEETS[1]
    words = written_out(words, file(sheet) if sheet.exists() else None)
    contents = {path: file(path) for path in paths}
    seen = set() if replace or force else _taken_before(folder, old, contents, outline, subject, known)
    new = list(read_words(words, known)) if words else []
    check_readings(new, outline, subject)
    for path, content in contents.items():
        if path not in seen:
            new += checked(content, path.name, outline, subject, known)
    files = {}
    if new and before.strip():
        files[job.READINGS] = appended(before, new)
    elif new:
        whole = [*contents.values()] if len(contents) == 1 and not words else [write_csv(new).encode()]
        files[job.READINGS] = whole[0]
    if tools and tools.resolve() != (folder / TOOLS_FILE).resolve():
        files[TOOLS_FILE] = file(tools)
    taken = [job.fingerprint(c) for c in contents.values()]
    written = job.write(folder, files, force=force, merged=() if replace else (job.READINGS,), taken=taken)
    after = in_job(files.get(job.READINGS, before), str(folder / job.READINGS), known)
    said = _first_verdicts(record, outline, after, len(new), known)
    cautions = [
        Caution(
            "readings-twice", f"{p.name} was taken into this job already, so nothing was added from it (--force does)."
        )
        for p in seen
    ]
    lines = (
        f"{counted(len(new), 'reading')} taken, {len(old) + len(new)} in the job.",
        *map(verdict_line, said),
        f"Next: jawline reconcile {folder}",
    )
    result = {
        "taken": [r.words() for r in new],
        "readings": len(old) + len(new),
        "verdicts": [
            {"verdict": v.verdict, "residual_mm": round(v.residual_mm, 5), "reason": v.reason, "likely": v.likely}
            for v in said
        ],
    }
    return Done("read", tuple(written), lines, result, tuple(cautions))


def _first_verdicts(
    record: records.JobRecord, outline: Estimate, readings: tuple[Reading, ...], new: int, tools: Mapping[str, Tool]
) -> tuple[Verdict, ...]:
    """What becomes of the last readings, by the photo and all that was read before; none where that can't be told."""
    if not new:
        return ()
    try:
        return agreed(record, outline, readings, tools).verdicts[-new:]
    except JobRefused:  # reconcile says what is wrong with the trace
        return ()


@alone
@recorded(job.READINGS)
def remove(folder: Path, numbers: Sequence[int], *, force: bool = False) -> Done:
    """Take readings out of a job: their lines, and nothing else of the file.

    Args:
        folder: the job.
        numbers: which, as `present` counts them, from 1.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: there is no reading of such a number.
        ReadingsRefused: the file can't be understood.
    """
    there = _readings_of(folder)
    missing = next((n for n in numbers if not 1 <= n <= len(there)), None)
    if missing is not None:
        have = f"it has {counted(len(there), 'reading')}" if there else "it has none"
        raise WrongUsage(f"{folder} has no reading {missing}: {have}.", "no-reading")
    gone = [there[n - 1] for n in sorted(set(numbers))]
    lines = decoded(job.content(folder, job.READINGS, "read")).splitlines(keepends=True)
    at = {r.line for r in gone}
    left = "".join(x for i, x in enumerate(lines, 1) if i not in at) if len(gone) < len(there) else ""
    written = job.write(folder, {job.READINGS: left.encode()}, force=force, merged=(job.READINGS,))
    said = (
        *(f"Taken out: {r.words()}." for r in gone),
        f"{counted(len(there) - len(gone), 'reading')} left in the job.",
    )
    result = {"removed": [r.words() for r in gone], "readings": len(there) - len(gone)}
    return Done("read", tuple(written), (*said, f"Next: jawline reconcile {folder}"), result)


def present(folder: Path) -> Done:
    """The readings of a job, with the numbers by which they can be taken out.

    Raises:
        WrongUsage: no such job, or trace has not been run.
        ReadingsRefused: the file can't be understood.
    """
    there = _readings_of(folder)
    lines = tuple(f"{n:3}  {r.words()}{f'  ({r.note})' if r.note else ''}" for n, r in enumerate(there, 1))
    none = ("There are no readings yet; take one like: width E1 E3 24.31",)
    return Done("read", (), lines or none, {"present": [r.words() for r in there], "readings": len(there)})


def _readings_of(folder: Path) -> tuple[Reading, ...]:
    job.text(folder, job.TRACE, "trace PHOTO")
    return in_job(_present(folder), str(folder / job.READINGS), tools_of(folder, None))


def tools_of(folder: Path, given: Path | None) -> Mapping[str, Tool]:
    """The tools that readings may name: the user's file, else the one in the job, else the built-in ones."""
    if given is not None and not given.is_file():
        raise WrongUsage(f"There is no tools file {given}: check the name and the folder.", "no-file")
    path = given or folder / TOOLS_FILE
    return read_tools(path) if path.is_file() else TOOLS


def checked(
    content: bytes, name: str, outline: Estimate, subject: Subject, tools: Mapping[str, Tool]
) -> tuple[Reading, ...]:
    """The readings in a file, each understood and fitting the outline.

    Raises:
        ReadingsRefused: with the file's name and the line in the sentence.
    """
    readings = parsed(content, name, tools)
    fitting(readings, name, outline, subject)
    return readings


def fitting(readings: Sequence[Reading], name: str, outline: Estimate, subject: Subject) -> None:
    """Refuse the readings of a file that do not fit the outline.

    Raises:
        ReadingsRefused: with the file's name in the sentence.
    """
    try:
        check_readings(readings, outline, subject)
    except ReadingsRefused as why:
        raise _named(why, name) from None


def in_job(content: bytes, name: str, tools: Mapping[str, Tool]) -> tuple[Reading, ...]:
    """The readings in a job's own file, which may well have none yet, not even its heading.

    Raises:
        ReadingsRefused: with the file's name and the line in the sentence.
    """
    try:
        return parsed(content, name, tools)
    except ReadingsRefused as why:
        if why.code == EMPTY:
            return ()
        raise


def parsed(content: bytes, name: str, tools: Mapping[str, Tool]) -> tuple[Reading, ...]:
    """The readings in a file, each understood.

    Raises:
        ReadingsRefused: with the file's name and the line in the sentence.
    """
    try:
        return read_csv(content, tools)
    except ReadingsRefused as why:
        raise _named(why, name) from None


def _named(why: ReadingsRefused, name: str) -> ReadingsRefused:
    what = why.message.what
    return ReadingsRefused(f"{name}: {what[0].lower()}{what[1:]}", why.code, *why.message.remedies)


def _files_and_words(given: Sequence[str]) -> tuple[list[Path], list[str]]:
    paths, words = [], []
    for g in given:
        path = Path(g)
        if os.path.isdir(path):
            raise WrongUsage(
                f"{g} is a folder: give a file of readings, or words like: width E1 E3 24.31", "not-a-file"
            )
        if path.suffix.lower() in (".csv", ".txt", ".tsv") or os.path.isfile(path):
            paths.append(path)
        else:
            words.append(g)
    return paths, words


def file(path: Path) -> bytes:
    """The content of a file of readings, of a worksheet or of tools.

    Raises:
        WrongUsage: there is no such file, or it can't be read.
        ReadingsRefused: it is no plain file, or too large for one of readings.
    """
    try:
        return content_of(path, MAX_FILE_MB)
    except FileNotFoundError:
        raise WrongUsage(f"There is no file {path}: check the name and the folder.", "no-file") from None
    except NotPlain as why:
        raise ReadingsRefused(f"{path.name} is no file of readings ({why.strerror}).", "readings-file") from None
    except OSError as why:
        raise WrongUsage(f"{path} can't be read ({(why.strerror or str(why)).lower()}).", "no-file") from None


def _present(folder: Path) -> bytes:
    return file(folder / job.READINGS) if (folder / job.READINGS).exists() else b""


def _taken_before(
    folder: Path,
    old: Sequence[Reading],
    contents: Mapping[Path, bytes],
    outline: Estimate,
    subject: Subject,
    tools: Mapping[str, Tool],
) -> set[Path]:
    """Files that were taken into this job before and whose readings are all still there."""
    taken = job.Manifest.read(folder).taken
    there = {(r.kind, r.features, r.value_mm) for r in old}
    again = set()
    for path, content in contents.items():
        if path.resolve() == (folder / job.READINGS).resolve():
            again.add(path)
        elif job.fingerprint(content) in taken:
            rows = checked(content, path.name, outline, subject, tools)
            if all((r.kind, r.features, r.value_mm) in there for r in rows):
                again.add(path)
    return again


def appended(before: bytes, new: Sequence[Reading]) -> bytes:
    """A readings file with more rows at its end, in its own columns and with its own separator; nothing else changes.

    Raises:
        ReadingsRefused: it lacks a column that a new reading needs.
    """
    text = decoded(before)
    first = next((x for x in text.splitlines() if x.strip(" \t,;") and not x.lstrip().startswith("#")), None)
    if first is None:
        text, first = f"{text.rstrip()}\n{','.join(COLUMNS)}\n".lstrip(), ""
    mark = next((m for m in ("\t", ";", ",") if m in first), ",")
    head = [c.strip().lower() for c in cells_of(first, mark)]
    if "kind" not in head:
        head = list(COLUMNS)
    out = io.StringIO()
    rows = csv.writer(out, delimiter=mark, lineterminator="\n")
    for r in new:
        value = r.written or f"{r.value_mm:g}"
        row = {"kind": r.kind, "features": " ".join(r.features), "value": value, "unit": r.unit, "tool": r.tool}
        missing = [c for c, usual in (("unit", "mm"), ("tool", "caliper")) if c not in head and row[c] != usual]
        if missing:
            raise ReadingsRefused(
                f"{job.READINGS} has no column “{missing[0]}”, which “{r.words()}” needs: add it to the heading.",
                "readings-heading",
            )
        rows.writerow([{**row, "note": r.note}.get(c, "") for c in head])
    return (text if not text or text.endswith("\n") else text + "\n").encode() + out.getvalue().encode()
