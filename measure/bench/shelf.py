"""The folder of jobs: which there are, and a lock, a revision and a history for each.

A job is named by its folder's name, and is there only if the listing has it: no name that somebody sends is ever made
into a path.
"""

from __future__ import annotations

import contextlib
import os
import re
import threading
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from calib.errors import JawlineError
from calib.files import content_of, is_link
from calib.written import is_reserved
from measure.bench import kept
from measure.job import history, job, removal
from measure.job.leftovers import clear_left
from measure.job.links import refuse_links
from measure.job.lock import held

TICKETS, MAX_TICKETS_MB = ".tickets", 1
"""Beside the jobs: the number of the last ticket."""
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
        return history.revision(self.folder)

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
        with self.alone(), history.within(self.folder), history.changing(self.folder, names):
            yield

    def kept(self) -> kept.Kept | None:
        """What the page remembers of it; None for a job that only commands have worked on."""
        try:
            return kept.from_bytes(content_of(self.folder / kept.FILE, job.MAX_TEXT_MB, links=False))
        except OSError:
            return None

    # ---------------------------------------------------------------------------------------------------------- history
    def history(self) -> list[int]:
        """Revisions that can be gone back to, the oldest first."""
        return history.steps(self.folder)

    def undo(self) -> None:
        """Go back by one change.

        Raises:
            WrongUsage: there is nothing to go back to, or a command has changed the readings since.
        """
        with self.alone():
            history.undo(self.folder)


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
                history.clear_half(of.folder)

    def all(self) -> Iterator[Job]:
        """Every job."""
        yield from map(self._known, self.ids())

    def remove(self, of: Job) -> None:
        """Take a job away for good, but for what is not jawline's in its folder.

        Raises:
            WrongUsage: somebody has it, or it can't be removed.
        """
        with of.alone():
            removal.remove(of.folder)
        removal.remove_empty(of.folder)
        with self._lock:
            self._jobs.pop(of.id, None)

    def _next_ticket(self) -> int:
        """A number that no job of this folder has had, kept beside the jobs."""
        path, last = self.folder / TICKETS, 0
        with contextlib.suppress(OSError, ValueError):
            last = int(content_of(path, MAX_TICKETS_MB, links=False))
        if not last:
            known = (Job(id, self.folder / id).kept() for id in self.ids())
            last = max((k.ticket for k in known if k), default=0)
        number = last + 1 if last < kept.MOST_TICKETS else 1
        with contextlib.suppress(OSError):
            path.write_bytes(f"{number}\n".encode())
        return number

    def new(self, name: str, first: kept.Kept, files: Mapping[str, bytes] = MappingProxyType({})) -> Job:
        """A new job with a ticket's number, under a folder's name made from the part's, and on disk."""
        with self._lock:
            first = first.model_copy(update={"ticket": self._next_ticket()})
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
