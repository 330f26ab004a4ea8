"""What a job was before its last changes, so that they can be undone.

    .history/1764417600000000/   the files that a change was about to touch, under the revision that they are of

A job's revision is the time of its last change in microseconds, so that it never comes back, and a change that a
command makes counts as well as one on the page.
"""

from __future__ import annotations

import contextlib
import functools
import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from calib.errors import JobRefused, WrongUsage
from calib.files import content_of, is_plain
from calib.words import Words
from measure.job import job, revisions

FOLDER = ".history"
PAGE, PAGES_PHOTO = job.BENCH
COUNTED = (PAGE, job.TRACE, job.SEEN, job.READINGS, job.MEASURED, job.TRIALS, revisions.FOLDER)
"""Files whose change is a change of the job. measured.json changes by commands only when one of the others has."""
TOLD = {job.READINGS: Words("the readings"), job.TRIALS: Words("what was said of trial prints")}
"""Files that grow by what people tell."""
LEFT = ".left"
"""Ending of a name in a step: one of these files as the change left it."""
BY_COMMAND = "by-command"
"""In a step: a command made it."""
REMEMBERED = (PAGE, *job.TRACED, job.SEEN, job.READINGS)
"""Files that may change when a job is traced or completed."""
BROUGHT_BACK = (*REMEMBERED, PAGES_PHOTO, job.TRIALS)
"""Files that an undo brings back."""
MOST_UNDONE = 30
_STEP = re.compile("[0-9]{1,18}")

P = ParamSpec("P")
R = TypeVar("R")


def revision(folder: Path) -> int:
    """Microseconds of the last change; 0 for an empty job."""
    last = 0
    for name in COUNTED:
        with contextlib.suppress(OSError):
            last = max(last, os.lstat(folder / name).st_mtime_ns // 1000)
    return last


@contextlib.contextmanager
def changing(folder: Path, names: set[str], *, by_command: bool = False) -> Iterator[None]:
    """Whatever is done meanwhile is one change of the job, with a revision of its own.

    Args:
        folder: the job; whoever calls has it alone.
        names: files that may change; those as they were can be brought back by `undo`.
        by_command: whether a command makes the change. It goes on where nothing can be kept of what was.

    Raises:
        WrongUsage: what was can't be kept.
    """
    before, marks = revision(folder), _marks(folder)
    step = None
    with contextlib.suppress(*((WrongUsage, JobRefused) if by_command else ())):
        step = _remember(folder, before, names, by_command) if names else None
    try:
        yield
    finally:
        if step:
            _leave(folder, step, names)
        if _marks(folder) == marks:
            if step:
                shutil.rmtree(step, ignore_errors=True)
                with contextlib.suppress(OSError):
                    step.parent.rmdir()  # only an empty one goes
        elif revision(folder) <= before:  # a clock set back, or two changes within one of its ticks
            moment = (before + 1) * 1000
            for name in COUNTED:
                with contextlib.suppress(OSError):
                    os.utime(folder / name, ns=(moment, moment))


_under_way: set[str] = set()
"""Jobs that somebody of this process is changing: what happens within a change is no change of its own."""


@contextlib.contextmanager
def recording(folder: Path, names: set[str]) -> Iterator[None]:
    """What a command does meanwhile can be undone; within a change that is kept already, nothing more is kept.

    Args:
        folder: the job.
        names: files that it may change.
    """
    if os.path.realpath(folder) in _under_way:
        yield
        return
    with changing(folder, names, by_command=True):
        yield


def recorded(*names: str) -> Callable[[Callable[Concatenate[Path, P], R]], Callable[Concatenate[Path, P], R]]:
    """A command's step that can be undone; within a change that the page keeps already, nothing more is kept.

    Args:
        names: files that it may change.
    """

    def of(step: Callable[Concatenate[Path, P], R]) -> Callable[Concatenate[Path, P], R]:
        @functools.wraps(step)
        def step_recorded(folder: Path, /, *args: P.args, **options: P.kwargs) -> R:
            with recording(folder, set(names)):
                return step(folder, *args, **options)

        return step_recorded

    return of


@contextlib.contextmanager
def within(folder: Path) -> Iterator[None]:
    """Steps that run meanwhile are part of one change."""
    name = os.path.realpath(folder)
    first = name not in _under_way
    _under_way.add(name)
    try:
        yield
    finally:
        if first:
            _under_way.discard(name)


def _marks(folder: Path) -> list[tuple[int, int]]:
    """Which files stand there: one that is replaced is another file."""
    out = []
    for name in COUNTED:
        with contextlib.suppress(OSError):
            found = os.lstat(folder / name)
            out.append((found.st_ino, found.st_mtime_ns))
    return out


def _remember(folder: Path, of: int, names: set[str], by_command: bool) -> Path | None:
    """Put aside the files that a change is about to touch, under the revision that they are of."""
    there = [n for n in names if n in BROUGHT_BACK and is_plain(folder / n)]
    if not is_plain(folder / job.TRACE):
        return None
    place = folder / FOLDER
    half, step = place / f"{of}.part", place / str(of)
    try:
        shutil.rmtree(half, ignore_errors=True)
        half.mkdir(parents=True)
        for n in there:
            (half / n).write_bytes(content_of(folder / n, job.MAX_FILE_MB, links=False))
        for n in names & set(BROUGHT_BACK) - set(there):
            (half / f"{n}.none").touch()
        if by_command:
            (half / BY_COMMAND).touch()
        shutil.rmtree(step, ignore_errors=True)
        half.rename(step)
    except OSError as why:
        reason = (why.strerror or str(why)).lower()
        raise WrongUsage(
            Words(
                "What is now in the job can't be kept to be undone ({reason}): look whether {place} can "
                "be written to and the disk has room, or move it away.",
                reason=reason,
                place=place,
            ),
            "no-history",
        ) from None
    for old in steps(folder)[:-MOST_UNDONE]:
        if old != of:
            shutil.rmtree(place / str(old), ignore_errors=True)
    return step


def _leave(folder: Path, step: Path, names: set[str]) -> None:
    """Keep in a step what people have told as the change leaves it: by then it is changed, so nothing may fail."""
    for name in TOLD.keys() & names:
        with contextlib.suppress(OSError, JobRefused):
            (step / f"{name}{LEFT}").write_bytes(_told(folder, name))


def steps(folder: Path) -> list[int]:
    """Revisions that can be gone back to, the oldest first."""
    with contextlib.suppress(OSError), os.scandir(folder / FOLDER) as entries:
        found = (e.name for e in entries if _STEP.fullmatch(e.name) and e.is_dir(follow_symlinks=False))
        return sorted(map(int, found))
    return []


def clear_half(folder: Path) -> None:
    """Remove steps that a killed process has left half-written."""
    for path in (folder / FOLDER).glob("*.part"):
        shutil.rmtree(path, ignore_errors=True)


def _told(folder: Path, name: str) -> bytes:
    path = folder / name
    return job.content(folder, name, "read") if path.exists() else b""


def undo(folder: Path, *, commands_too: bool = False) -> tuple[str, ...]:
    """Go back by one change.

    Args:
        folder: the job; whoever calls has it alone.
        commands_too: whether a change of the readings that a command has made is taken back as well.

    Returns:
        Names of the files that are other than before.

    Raises:
        WrongUsage: there is nothing to go back to, or somebody has changed the readings since.
    """
    known = steps(folder)
    if not known:
        raise WrongUsage(Words("There is nothing to undo."), "nothing-to-undo")
    place = folder / FOLDER / str(known[-1])
    for name, words in TOLD.items():
        left, kept_too = place / f"{name}{LEFT}", (place / name, place / f"{name}.none")
        if not is_plain(left) and any(map(is_plain, kept_too)):
            text = Words(
                "Whether {words} have changed since is no longer known, and undoing might lose some: take out what is "
                "wrong.",
                words=words,
            )
            raise WrongUsage(text, "readings-since")
        by_command = is_plain(place / BY_COMMAND) and any(map(is_plain, kept_too)) and not commands_too
        if by_command or (is_plain(left) and job.content(place, left.name, "read") != _told(folder, name)):
            text = Words(
                "A command has changed {words} since, and undoing would lose that: take out what is wrong.", words=words
            )
            raise WrongUsage(text, "readings-since")
    files = {n: job.content(place, n, "trace PHOTO") for n in BROUGHT_BACK if is_plain(place / n)}
    gone = tuple(n for n in BROUGHT_BACK if is_plain(place / f"{n}.none"))
    if job.READINGS in gone:  # nobody's readings are ever taken away as a file
        files[job.READINGS] = b""
    outdated = tuple(n for n in (*gone, job.MEASURED, *job.DRAWN) if n not in files)
    with changing(folder, set()):
        job.write(folder, files, outdated=outdated, merged=(job.READINGS,))
    shutil.rmtree(place, ignore_errors=True)
    return (*files, *(n for n in gone if n not in files))
