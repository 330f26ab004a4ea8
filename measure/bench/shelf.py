"""The folder of jobs: which there are, and a lock, a revision and a history for each.

A job is named by its folder's name, and is there only if the listing has it: no name that somebody sends is ever made
into a path. Its revision is the time of its last change in microseconds, so that it never comes back, and a change
that a command makes counts as well.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import threading
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from calib.errors import JawlineError, JobRefused, WrongUsage
from calib.files import content_of, is_link, is_plain
from calib.written import is_reserved
from measure.bench import kept
from measure.job import job, revisions
from measure.job.leftovers import clear_left
from measure.job.links import refuse_links
from measure.job.lock import held

COUNTED = (kept.FILE, job.TRACE, job.SEEN, job.READINGS, job.MEASURED, job.TRIALS, revisions.FOLDER)
"""Files whose change is a change of the job. measured.json changes by commands only when one of the others has."""
HISTORY = ".history"
TOLD = {job.READINGS: "the readings", job.TRIALS: "what was said of trial prints"}
"""Files that grow by what people tell."""
LEFT = ".left"
"""Ending of a name in a step of the history: one of these files as the change left it."""
REMEMBERED = (kept.FILE, *job.TRACED, job.SEEN, job.READINGS)
"""Files that may change when a job is traced or completed."""
BROUGHT_BACK = (*REMEMBERED, job.TRIALS)
"""Files that an undo brings back."""
MOST_UNDONE = 30
_STEP = re.compile("[0-9]{1,18}")
LONGEST_NAME, LONGEST_ID = 80, 40


@dataclass(slots=True)
class Job:
    """A job of the folder.

    Attributes:
        id: name of its folder.
        folder: where it is.
        lock: held by whoever needs it to stay as it is; by whoever changes it within `alone`.
    """

    id: str
    folder: Path
    lock: threading.RLock = field(default_factory=threading.RLock)

    @contextlib.contextmanager
    def alone(self, wait_s: float | None = None) -> Iterator[None]:
        """Neither this bench nor a command nor another bench changes the job meanwhile.

        Other processes are waited for first, then this one's threads: what looks at the job waits for no process.

        Raises:
            WrongUsage: another process still has it after `wait_s` seconds, `job_lock.WAIT_S` by default.
            JobRefused: there are links in it.
        """
        with held(self.folder, wait_s), self.lock:
            refuse_links(self.folder, job.USED)
            yield

    def revision(self) -> int:
        """Microseconds of the last change; 0 for an empty job."""
        last = 0
        for name in COUNTED:
            with contextlib.suppress(OSError):
                last = max(last, os.lstat(self.folder / name).st_mtime_ns // 1000)
        return last

    def write(self, files: Mapping[str, bytes], outdated: tuple[str, ...] = (), *, undoable: bool = True) -> None:
        """Change the job, all or nothing, and on disk when this returns.

        Args:
            files: name and content of each.
            outdated: files that no longer hold.
            undoable: whether what was there before is kept in the history.

        Raises:
            WrongUsage: a file is not jawline's own, or nothing can be written.
        """
        with self.changing({*files, *outdated} if undoable else set()):
            job.write(self.folder, files, outdated=outdated, merged=(job.READINGS,))

    @contextlib.contextmanager
    def changing(self, names: set[str]) -> Iterator[None]:
        """Whatever is done meanwhile is one change of the job, with a revision of its own.

        Args:
            names: files that may change; those as they were can be brought back by `undo`.
        """
        with self.alone():
            before, marks = self.revision(), self._marks()
            step = self._remember(before, names) if names else None
            try:
                yield
            finally:
                if step:
                    self._leave(step, names)
                if self._marks() == marks:
                    if step:
                        shutil.rmtree(step, ignore_errors=True)
                elif self.revision() <= before:  # a clock set back, or two changes within one of its ticks
                    moment = (before + 1) * 1000
                    for name in COUNTED:
                        with contextlib.suppress(OSError):
                            os.utime(self.folder / name, ns=(moment, moment))

    def _marks(self) -> list[tuple[int, int]]:
        """Which files stand there: one that is replaced is another file."""
        out = []
        for name in COUNTED:
            with contextlib.suppress(OSError):
                found = os.lstat(self.folder / name)
                out.append((found.st_ino, found.st_mtime_ns))
        return out

    def kept(self) -> kept.Kept | None:
        """What the page remembers of it; None for a job that only commands have worked on."""
        try:
            return kept.from_bytes(content_of(self.folder / kept.FILE, job.MAX_TEXT_MB, links=False))
        except OSError:
            return None

    # ---------------------------------------------------------------------------------------------------------- history
    def _remember(self, revision: int, names: set[str]) -> Path | None:
        """Put aside the files that a change is about to touch, under the revision that they are of."""
        there = [n for n in names if n in BROUGHT_BACK and is_plain(self.folder / n)]
        if not is_plain(self.folder / job.TRACE):
            return None
        place = self.folder / HISTORY
        half, step = place / f"{revision}.part", place / str(revision)
        try:
            shutil.rmtree(half, ignore_errors=True)
            half.mkdir(parents=True)
            for n in there:
                (half / n).write_bytes(content_of(self.folder / n, job.MAX_FILE_MB, links=False))
            for n in names & set(BROUGHT_BACK) - set(there):
                (half / f"{n}.none").touch()
            shutil.rmtree(step, ignore_errors=True)
            half.rename(step)
        except OSError as why:
            reason = (why.strerror or str(why)).lower()
            raise WrongUsage(
                f"What is now in the job can't be kept to be undone ({reason}): look whether {place} can be written "
                "to and the disk has room, or move it away.",
                "no-history",
            ) from None
        for old in self.history()[:-MOST_UNDONE]:
            if old != revision:
                shutil.rmtree(place / str(old), ignore_errors=True)
        return step

    def _leave(self, step: Path, names: set[str]) -> None:
        """Keep in a step what people have told as the change leaves it: by then it is changed, so nothing may fail."""
        for name in TOLD.keys() & names:
            with contextlib.suppress(OSError, JobRefused):
                (step / f"{name}{LEFT}").write_bytes(self._told(name))

    def history(self) -> list[int]:
        """Revisions that can be gone back to, the oldest first."""
        with contextlib.suppress(OSError), os.scandir(self.folder / HISTORY) as entries:
            steps = (e.name for e in entries if _STEP.fullmatch(e.name) and e.is_dir(follow_symlinks=False))
            return sorted(map(int, steps))
        return []

    def _told(self, name: str) -> bytes:
        path = self.folder / name
        return job.content(self.folder, name, "read") if path.exists() else b""

    def undo(self) -> None:
        """Go back by one change.

        Raises:
            WrongUsage: there is nothing to go back to, or a command has changed the readings since.
        """
        steps = self.history()
        if not steps:
            raise WrongUsage("There is nothing to undo.", "nothing-to-undo")
        place = self.folder / HISTORY / str(steps[-1])
        for name, words in TOLD.items():
            left, kept_too = place / f"{name}{LEFT}", (place / name, place / f"{name}.none")
            if not is_plain(left) and any(map(is_plain, kept_too)):
                text = f"Whether {words} have changed since is no longer known, and undoing might lose some: take out "
                raise WrongUsage(f"{text}what is wrong.", "readings-since")
            if is_plain(left) and job.content(place, left.name, "read") != self._told(name):
                text = f"A command has changed {words} since, and undoing would lose that: take out what is wrong."
                raise WrongUsage(text, "readings-since")
        files = {n: job.content(place, n, "trace PHOTO") for n in BROUGHT_BACK if is_plain(place / n)}
        gone = tuple(n for n in BROUGHT_BACK if is_plain(place / f"{n}.none"))
        if job.READINGS in gone:  # nobody's readings are ever taken away as a file
            files[job.READINGS] = b""
        self.write(files, tuple(n for n in (*gone, job.MEASURED, *job.DRAWN) if n not in files), undoable=False)
        shutil.rmtree(place, ignore_errors=True)


class Shelf:
    """All jobs of a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()

    def ids(self) -> list[str]:
        """Names of the folders that hold a job."""
        out = []
        with contextlib.suppress(OSError), os.scandir(self.folder) as entries:
            for entry in entries:
                if entry.name.startswith(".") or not entry.is_dir(follow_symlinks=False):
                    continue
                if not is_link(entry) and any(
                    os.path.lexists(os.path.join(entry.path, n)) for n in (kept.FILE, job.TRACE)
                ):
                    out.append(entry.name)
        return sorted(out)

    def get(self, id: str) -> Job | None:
        """The job of that name; None where there is none."""
        return self._known(id) if id in self.ids() else None

    def _known(self, id: str) -> Job:
        with self._lock:
            return self._jobs.setdefault(id, Job(id, self.folder / id))

    def tidy(self) -> None:
        """Remove half-written files of processes that were killed: all that there are while nobody has the job."""
        for of in self.all():
            with contextlib.suppress(JawlineError), of.alone(wait_s=0):
                clear_left(of.folder)
                for path in (of.folder / HISTORY).glob("*.part"):
                    shutil.rmtree(path, ignore_errors=True)

    def all(self) -> Iterator[Job]:
        """Every job."""
        yield from map(self._known, self.ids())

    def new(self, name: str, first: kept.Kept, files: Mapping[str, bytes] = MappingProxyType({})) -> Job:
        """A new job, under a folder's name made from the part's, and on disk."""
        with self._lock:
            base = slug(name)
            id, n = base, 1
            while os.path.lexists(self.folder / id):
                n += 1
                id = f"{base}-{n}"
            (self.folder / id).mkdir(parents=True)
            made = self._jobs[id] = Job(id, self.folder / id)
        made.write({**files, kept.FILE: kept.to_bytes(first)}, undoable=False)
        return made


def slug(name: str) -> str:
    """A folder's name for a part: small letters, digits and hyphens."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    made = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_ID].strip("-") or "job"
    return f"job-{made}" if is_reserved(made) else made


def base_name(text: str) -> str:
    """What somebody calls a file, without the folders that it lay in."""
    return plain_name(re.split(r"[/\\]", text)[-1]) or "photo"


def plain_name(text: str) -> str:
    """What somebody called something, as it may be shown: one line, printable, not too long."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:LONGEST_NAME]
