"""Everything that is done to jobs, whoever asks for it: uploads traced, readings taken, changes undone, states told.

All of this runs in threads, one change of a job at a time; photos are looked at by worker processes, which never touch
a job. What a worker hands back is put into the job here, while nobody else changes it.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench import kept, tasks
from bench.settings import Settings
from bench.shelf import Job, Shelf, base_name, is_running, plain_name
from bench.state import plain_state, url_of, word_for
from bench.words import for_page
from bench.workers import Workers
from calib.errors import JawlineError, WrongUsage
from measure import job

if TYPE_CHECKING:
    from bench.live import Live

MOST_LIVE = 24
"""So many jobs are kept worked out."""
FOUND_WAITS_S = 120.0
"""What was found in a photo waits so long for a command that has the job to itself: nobody can ask for it again."""

SESSION = "jawline-bench-"
"""What the folders of sessions are called, followed by the process they are of."""
PHOTO_GONE = "The bench was closed before this photo was traced, and did not keep it: add the photo again."

Tell = Callable[[str], None]


@dataclass(slots=True)
class Tracing:
    """A trace under way: what it is at, and how far it has come."""

    words: str = "waiting for its turn"
    share: float = 0.0

    def plain(self) -> dict[str, Any]:
        """For the page."""
        return {"step": self.words, "share": self.share}


@dataclass(slots=True)
class Unkept:
    """A photo whose card nobody could hide: it stays in the session's own folder and goes with it."""

    folder: Path
    photo: kept.KeptPhoto


@dataclass(slots=True)
class _Worked:
    """A job worked out: what holds for a revision, and its drawing as soon as somebody asks for that."""

    revision: int
    live: Live
    svg: bytes | None = None


@dataclass(slots=True)
class Desk:
    """A bench at work. Use as a context.

    Attributes:
        settings: what it was started with.
        shelf: the jobs.
        workers: who looks at photos.
        tell: is told the id of a job whenever something about it has changed, from any thread.
        session: a private folder that goes when the bench ends.
    """

    settings: Settings
    tell: Tell = lambda id: None
    shelf: Shelf = field(init=False)
    workers: Workers = field(init=False)
    session: Path = field(init=False)
    _tracing: dict[str, Tracing] = field(default_factory=dict)
    _unkept: dict[str, Unkept] = field(default_factory=dict)
    _live: dict[str, _Worked] = field(default_factory=dict)
    _glances: dict[str, tuple[int, str, float | None]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __enter__(self) -> Desk:
        self.shelf = Shelf(self.settings.folder)
        forget_dead_sessions()
        self.session = Path(tempfile.mkdtemp(prefix=f"{SESSION}{os.getpid()}-"))
        self.shelf.tidy()
        self._close_unfinished()
        self.workers = Workers(self.settings.limits.workers).__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        self.workers.__exit__()
        shutil.rmtree(self.session, ignore_errors=True)

    def _close_unfinished(self) -> None:
        """Jobs whose photo went with the session that was to trace it say so."""
        for of in self.shelf.all():
            known = of.kept()
            if known is None or known.refusal or (of.folder / job.TRACE).exists():
                continue
            if not (of.folder / kept.PHOTO).exists():
                now = known.model_copy(update={"refusal": kept.Said(code="photo-gone", text=PHOTO_GONE)})
                with contextlib.suppress(WrongUsage):
                    of.write({kept.FILE: kept.to_bytes(now)}, undoable=False)

    def place(self) -> Path:
        """A new empty folder of the session."""
        return Path(tempfile.mkdtemp(dir=self.session))

    # ----------------------------------------------------------------------------------------------------------- photos
    def take(self, photo: Path, photo_name: str, name: str, asked: kept.Asked) -> Job:
        """Take a new photo and have it traced.

        Args:
            photo: the original, alone in a folder of the session; it is gone when it has been looked at.
            photo_name: what its owner calls the file.
            name: of the part.
            asked: how it is to be traced.
        """
        shown = base_name(photo_name)
        part = plain_name(name) or Path(shown).stem or "part"
        of = self.shelf.new(part, kept.Kept(name=part, asked=asked, at=time.time()))
        self._trace(of, part, photo, asked, None, False, shown)
        return of

    def retrace(self, of: Job, asked: kept.Asked, revision: int | None) -> None:
        """Trace a job's photo again, or for the first time.

        Raises:
            Stale: the job has changed meanwhile.
            WrongUsage: its photo is not there, or is being traced.
        """
        with of.alone():
            self._check(of, revision)
            if of.id in self._tracing:
                raise WrongUsage("This photo is being traced just now: wait until that is done.", "busy")
            known = of.kept()
            unkept = self._unkept.get(of.id)
            folder = unkept.folder if unkept else of.folder
            if known is None or known.photo is None or not (folder / kept.PHOTO).is_file():
                raise WrongUsage("The photo of this job is no longer there: add it again as a new one.", "no-photo")
            now = known.model_copy(update={"asked": asked, "refusal": None, "accepted": ()})
            with of.changing({kept.FILE, job.SEEN, *job.TRACED}):  # one undo brings all of it back
                job.write(of.folder, {kept.FILE: kept.to_bytes(now)})
            copy = self.place() / "The photo"
            shutil.copyfile(folder / kept.PHOTO, copy)
            self._trace(of, known.name or of.id, copy, asked, known.photo, unkept is None, known.photo.name)

    def _trace(
        self,
        of: Job,
        part: str,
        photo: Path,
        asked: kept.Asked,
        known: kept.KeptPhoto | None,
        hidden: bool,
        name: str,
    ) -> None:
        out = self.place()
        at = self._tracing[of.id] = Tracing()

        def say(what: Any) -> None:
            if isinstance(what, tasks.Step):
                at.words, at.share = what.words, what.share
            elif isinstance(what, tasks.Copied):
                self._copied(of, out, what)
            self.tell(of.id)

        def finish(done: Future[tasks.TraceAnswer]) -> None:
            try:
                self._finish(of, out, done)
            finally:
                self._tracing.pop(of.id, None)
                shutil.rmtree(photo.parent, ignore_errors=True)
                shutil.rmtree(out, ignore_errors=True)
                self.tell(of.id)

        order = tasks.TraceOrder(photo, out, part, asked, known, hidden, name)
        self.workers.do(tasks.trace, order, self.settings.limits.trace_s, say).add_done_callback(finish)
        self.tell(of.id)

    def _copied(self, of: Job, out: Path, what: tasks.Copied) -> None:
        """Put the copy into the job if it may be kept, else into the session's own folder."""
        with of.alone(FOUND_WAITS_S):
            known = of.kept() or kept.Kept()
            files = {kept.FILE: kept.to_bytes(known.model_copy(update={"photo": what.photo}))}
            before = self._unkept.pop(of.id, None)
            if before:
                shutil.rmtree(before.folder, ignore_errors=True)
            if what.may_be_kept:
                files |= {n: (out / n).read_bytes() for n in (kept.PHOTO, job.PHOTO)}
            else:
                place = self.place()
                for n in (kept.PHOTO, job.PHOTO):
                    shutil.move(out / n, place / n)
                self._unkept[of.id] = Unkept(place, what.photo)
            of.write(files, undoable=False)

    def _finish(self, of: Job, out: Path, done: Future[tasks.TraceAnswer]) -> None:
        """Put what came of a trace into the job."""
        from measure.steps.trace import OUTDATED

        with of.alone(FOUND_WAITS_S):
            known = of.kept() or kept.Kept()
            try:
                answer = done.result()
                files = {n: (out / n).read_bytes() for n in answer.files}
                now = known.model_copy(update={"refusal": None})
                of.write({**files, kept.FILE: kept.to_bytes(now)}, OUTDATED, undoable=False)
            except Exception as why:
                text, code = (why.text, why.code) if isinstance(why, JawlineError) else (str(why), "unexpected")
                now = known.model_copy(update={"refusal": kept.Said(code=code, text=text)})
                with contextlib.suppress(WrongUsage):
                    of.write({kept.FILE: kept.to_bytes(now)}, undoable=False)

    def picture(self, of: Job) -> Path | None:
        """The picture that is shown of a job: the card's face hidden, or all of it blurred."""
        unkept = self._unkept.get(of.id)
        paths = (*((unkept.folder / job.PHOTO,) if unkept else ()), of.folder / job.PHOTO)
        return next((p for p in paths if p.is_file()), None)

    # ----------------------------------------------------------------------------------------------------------- states
    def state(self, of: Job) -> dict[str, Any]:
        """The whole state of a job."""
        with of.lock:
            at = self._tracing.get(of.id)
            known = of.kept()
            try:
                return plain_state(of, known, self.live(of), at.plain() if at else None)
            except JawlineError as why:
                out = plain_state(of, known, None, at.plain() if at else None)
                return out | {"state": "refused", "refusal": {"code": why.code, "text": for_page(why.text)}}

    def live(self, of: Job) -> Live | None:
        """What photo and readings say; None before there is a trace.

        Raises:
            JawlineError: the job's files are damaged.
        """
        from bench.live import live

        with of.lock:
            if not (of.folder / job.TRACE).is_file():
                return None
            revision = of.revision()
            worked = self._live.get(of.id)
            if worked is None or worked.revision != revision:
                worked = _Worked(revision, live(of.folder, worked.live if worked else None))
            with self._lock:
                self._live.pop(of.id, None)
                self._live[of.id] = worked
                for old in list(self._live)[:-MOST_LIVE]:
                    del self._live[old]
            return worked.live

    def progress(self, of: Job) -> Mapping[str, Any]:
        """What is told of a job at each change."""
        at = self._tracing.get(of.id)
        return {
            "revision": of.revision(),
            "state": self._word(of, of.kept()),
            "progress": at.plain() if at else None,
        }

    def _word(self, of: Job, known: kept.Kept | None) -> str:
        traced = (of.folder / job.TRACE).is_file()
        read = (of.folder / job.READINGS).is_file() and (of.folder / job.READINGS).stat().st_size > 0
        return word_for(known, traced, read, of.id in self._tracing)

    # ---------------------------------------------------------------------------------------------------------- changes
    def change(self, of: Job, revision: int | None, make: Callable[[], object]) -> dict[str, Any]:
        """Make a change if the job is as whoever asks for it has seen it.

        Returns:
            The whole state after it.

        Raises:
            Stale: it is not.
            WrongUsage: another process keeps changing it.
        """
        with of.alone():
            self._check(of, revision)
            make()
        state = self.state(of)
        self.tell(of.id)
        return state

    def add_reading(self, of: Job, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Append a reading, whatever else has changed meanwhile; the whole state after it."""
        from bench.changes import add_reading

        with of.alone():
            add_reading(of, self._traced(of), asked)
        state = self.state(of)
        self.tell(of.id)
        return state

    def remove_reading(self, of: Job, key: str, revision: int | None) -> dict[str, Any]:
        """Take a reading out."""
        from bench.changes import remove_reading

        return self.change(of, revision, lambda: remove_reading(of, self._traced(of), key))

    def complete(self, of: Job, by: str | None, broken: str | None, revision: int | None) -> dict[str, Any]:
        """Complete a broken part's outline, or open it again."""
        from bench.changes import complete

        return self.change(of, revision, lambda: complete(of, by, broken))

    def trial(self, of: Job, said: str, revision: int | None) -> dict[str, Any]:
        """Take in how a trial print went; the whole state after it, and under ``trial`` what follows."""
        from bench.changes import trial

        found: dict[str, Any] = {}
        state = self.change(of, revision, lambda: found.update(trial(of, self._traced(of), said)))
        return {**state, "trial": found}

    def make(self, of: Job, what: str, options: Mapping[str, Any]) -> list[dict[str, str]]:
        """Make files."""
        from bench.changes import make

        with of.alone():
            return make(of, self._traced(of), what, options)

    def put_by(self, out: Path, photo: kept.KeptPhoto, fields: Mapping[str, str]) -> Job:
        """Make an owner's photo a waiting job.

        Args:
            out: the copy is in it.
            photo: facts of the copy.
            fields: what the owner said beside it: the part's `name`, a `note`.
        """
        name = plain_name(fields.get("name", "")) or Path(plain_name(photo.name)).stem or "part"
        note = plain_name(fields.get("note", ""))
        files = {n: (out / n).read_bytes() for n in (kept.PHOTO, job.PHOTO)}
        first = kept.Kept(name=name, note=note, at=time.time(), photo=photo)
        return self.shelf.new(name, first, files)

    def has_room(self) -> bool:
        """Whether more photos of owners may come in."""
        limits = self.settings.limits
        if shutil.disk_usage(self.settings.folder).free < limits.free_mb * 1e6:
            return False
        waiting = sum(not (of.folder / job.TRACE).is_file() for of in self.shelf.all())
        return waiting < limits.waiting

    # ------------------------------------------------------------------------------------------------------- to look at
    def listing(self) -> list[dict[str, Any]]:
        """All jobs, the last changed first."""
        out = []
        for of in self.shelf.all():
            known, revision = of.kept(), of.revision()
            name, worst = self._glance(of, revision)
            refusal = for_page(known.refusal.text) if known and known.refusal else ""
            out.append(
                {
                    "id": of.id,
                    "name": (known.name if known else "") or name or of.id,
                    "state": self._word(of, known),
                    "thumbnail": url_of(of, "thumbnail.jpg") if self._small_of(of) else None,
                    "worst_u95_mm": worst,
                    "changed": revision / 1e6,
                    "note": (known.note if known else "") or refusal,
                }
            )
        return sorted(out, key=lambda x: -x["changed"])

    def _glance(self, of: Job, revision: int) -> tuple[str, float | None]:
        """Name and least certain dimension of a job, without working it out: from memory, or from its files."""
        worked = self._live.get(of.id)
        if worked and worked.revision == revision:
            record = worked.live.record
            return record.part, max((d.u95_mm for d in record.dimensions), default=None)
        seen = self._glances.get(of.id)
        if seen is None or seen[0] != revision:
            seen = self._glances[of.id] = (revision, *glance(of.folder))
        return seen[1:]

    def name(self, of: Job) -> str:
        """What a job is called."""
        known = of.kept()
        return (known.name if known else "") or self._glance(of, of.revision())[0] or of.id

    def sketch(self, of: Job) -> tuple[int, bytes]:
        """Revision and drawing of a job.

        Raises:
            WrongUsage: there is no trace yet.
        """
        from bench.live import sketch_svg

        with of.lock:
            found, worked = self._traced(of), self._live[of.id]
        if worked.svg is None:  # nobody who takes readings meanwhile waits for the drawing
            known = of.kept()
            worked.svg = sketch_svg(found, of.folder, (known.name if known else "") or None)
        return worked.revision, worked.svg

    def offers(self, of: Job, labels: list[str]) -> list[dict[str, Any]]:
        """Readings that some features allow."""
        from bench.changes import offers

        return offers(self._traced(of), labels)

    def revisions(self, of: Job) -> list[dict[str, Any]]:
        """The kept drawings of a job."""
        from bench.state import revisions_of

        return revisions_of(of)

    def revision(self, of: Job, number: int) -> bytes:
        """One of them, as SVG.

        Raises:
            WrongUsage: there is none of that number.
        """
        from measure.steps.revisions import revision_svg

        return revision_svg(of.folder, number)

    def thumbnail(self, of: Job) -> bytes | None:
        """A small picture of a job; None where there is none."""
        from bench.photo_copy import thumbnail

        path = self._small_of(of)
        return thumbnail(path) if path else None

    def _small_of(self, of: Job) -> Path | None:
        """What a small picture is made from."""
        labelled = of.folder / job.PICTURE
        return self.picture(of) or (labelled if labelled.is_file() else None)

    def _traced(self, of: Job) -> Live:
        found = self.live(of)
        if found is None:
            raise WrongUsage("The photo of this job has not been traced yet.", "missing-step")
        return found

    def _check(self, of: Job, revision: int | None) -> None:
        if revision != of.revision():
            raise Stale(self.state(of))


class Stale(Exception):
    """The job has changed since; `state` is how it is now."""

    def __init__(self, state: dict[str, Any]) -> None:
        super().__init__("stale")
        self.state = state


def forget_dead_sessions() -> None:
    """Remove what a bench left behind that was killed: photos whose cards nobody could hide may be among it."""
    for folder in Path(tempfile.gettempdir()).glob(f"{SESSION}*-*"):
        pid = folder.name.removeprefix(SESSION).split("-")[0]
        if pid.isdecimal() and not is_running(int(pid)) and not folder.is_symlink():
            shutil.rmtree(folder, ignore_errors=True)


def glance(folder: Path) -> tuple[str, float | None]:
    """Name and least certain dimension, mm, that a job's files tell of, measured.json before trace.json."""
    for name in (job.MEASURED, job.TRACE):
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            plain = json.loads((folder / name).read_bytes())
            worst = max((float(d["u95_mm"]) for d in plain["dimensions"]), default=None)
            return str(plain.get("part", "")), worst
    return "", None
