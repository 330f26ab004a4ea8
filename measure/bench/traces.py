"""Traces under way: a photo goes to a worker, and what comes of it into its job while nobody else changes that."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calib.errors import JawlineError, WrongUsage
from calib.files import content_of, is_plain
from calib.photo.photo import check_header
from calib.words import Words
from measure.bench import kept, tasks
from measure.bench.phrases import on_page
from measure.bench.session import Session
from measure.bench.settings import Limits
from measure.bench.shelf import Job, Shelf
from measure.job import job
from measure.steps.workers import Workers

FOUND_WAITS_S = 120.0
"""What was found in a photo waits so long for a command that has the job to itself: nobody can ask for it again."""
PHOTO_GONE = Words("The bench was closed before this photo was traced, and did not keep it: add the photo again.")

Tell = Callable[[str], None]
"""Is told the id of a job whenever something about it has changed, from any thread."""


@dataclass(slots=True)
class Tracing:
    """A trace under way: what it is at, and how far it has come."""

    words: str = Words("waiting for its turn")
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
class Traces:
    """All traces of a bench.

    Attributes:
        session: where photos lie meanwhile.
        workers: who looks at them.
        limits: for how long at one, and what is large.
        tell: see there.
    """

    session: Session
    workers: Workers
    limits: Limits
    tell: Tell
    _under_way: dict[str, Tracing] = field(default_factory=dict)
    _unkept: dict[str, Unkept] = field(default_factory=dict)

    def progress(self, of: Job) -> dict[str, Any] | None:
        """How far the trace of a job has come, for the page; None where none is under way."""
        at = self._under_way.get(of.id)
        return at.plain() if at else None

    def refuse_if_busy(self, of: Job) -> None:
        """Nothing is begun with a job whose photo is being traced.

        Raises:
            WrongUsage: it is.
        """
        if of.id in self._under_way:
            raise WrongUsage(Words("This photo is being traced just now: wait until that is done."), "busy")

    def forget(self, of: Job) -> None:
        """A job is gone: its photo goes too, where only the session has it."""
        unkept = self._unkept.pop(of.id, None)
        if unkept:
            shutil.rmtree(unkept.folder, ignore_errors=True)

    def again(self, of: Job, asked: kept.TraceChoices, adding: tuple[Path, str] | None = None) -> None:
        """Trace a job's photo again, or for the first time; nobody else changes the job meanwhile.

        Args:
            of: the job.
            asked: how.
            adding: one more photo of the part, see `tasks.TraceOrder`.

        Raises:
            WrongUsage: its photo is not there, or is being traced.
        """
        self.refuse_if_busy(of)
        known = of.kept()
        unkept = self._unkept.get(of.id)
        folder = unkept.folder if unkept else of.folder
        if known is None or known.photo is None or not is_plain(folder / kept.PHOTO):
            raise WrongUsage(Words("The photo of this job is no longer there: add it again as a new one."), "no-photo")
        place = self.session.place()
        copy = place / "The photo"
        further = []
        try:
            copy.write_bytes(content_of(folder / kept.PHOTO, job.MAX_FILE_MB, links=False))
            for n, photo in enumerate(known.further if asked.fragments == 1 else ()):
                further.append((place / kept.further_file(n), photo))
                further[-1][0].write_bytes(content_of(of.folder / kept.further_file(n), job.MAX_FILE_MB, links=False))
        except OSError as why:
            shutil.rmtree(place, ignore_errors=True)
            reason = (why.strerror or str(why)).lower()
            raise WrongUsage(
                Words("The photo of this job can't be read ({reason}): add it again.", reason=reason), "no-photo"
            ) from None
        now = known.model_copy(update={"asked": asked, "refusal": None, "accepted": (), "whole": ()})
        with of.changing({kept.FILE, job.SEEN, *job.TRACED}):  # one undo brings all of it back
            job.write(of.folder, {kept.FILE: kept.to_bytes(now)})
        order = tasks.TraceOrder(
            copy,
            place,
            known.name or of.id,
            asked,
            known.photo,
            unkept is None,
            known.photo.name,
            tuple(further),
            adding,
        )
        self._begin(of, order)

    def add(self, of: Job, photo: Path, name: str, asked: kept.TraceChoices) -> None:
        """Trace a job's photo again, together with one more of the same part.

        Args:
            of: the job; nobody else changes it meanwhile.
            photo: the original, alone in a folder of the session; it is gone when it has been looked at.
            name: what it is called.
            asked: how all of them are to be traced.

        Raises:
            WrongUsage: the first photo can't be measured, there are too many, or it is being traced.
        """
        self.refuse_if_busy(of)
        known = of.kept()
        if known is None or known.photo is None or not is_plain(of.folder / kept.PHOTO):
            raise WrongUsage(
                Words("The first photo of this job can't be measured: put this one in its place."), "no-photo"
            )
        if len(known.further) >= kept.MOST_FURTHER:
            raise WrongUsage(
                Words("{most_further} photos of a part are the most.", most_further=kept.MOST_FURTHER + 1),
                "too-many-photos",
            )
        self.again(of, asked, adding=(photo, name))

    def instead(self, of: Job, part: str, photo: Path, name: str, asked: kept.TraceChoices) -> None:
        """Put another photo in a job's photo's place, and trace that; see `add`.

        Raises:
            WrongUsage: the photo is being traced.
        """
        self.refuse_if_busy(of)
        known = of.kept() or kept.Kept(name=part)
        now = known.model_copy(update={"asked": asked, "refusal": None, "accepted": (), "whole": (), "further": ()})
        with of.changing({kept.FILE, kept.PHOTO, job.SEEN, *job.TRACED}):  # one undo brings all of it back
            job.write(of.folder, {kept.FILE: kept.to_bytes(now)})
        self.begin(of, part, photo, asked, None, False, name)

    def begin(
        self,
        of: Job,
        part: str,
        photo: Path,
        asked: kept.TraceChoices,
        known: kept.KeptPhoto | None,
        hidden: bool,
        name: str,
    ) -> None:
        """Have a photo traced.

        Args:
            of: the job that it is of.
            part, asked, known, hidden, name: see `tasks.TraceOrder`.
            photo: alone in a folder of the session, which is gone when it has been looked at.
        """
        place = self.session.place()
        self._begin(of, tasks.TraceOrder(photo, place, part, asked, known, hidden, name))

    def _begin(self, of: Job, order: tasks.TraceOrder) -> None:
        """Have what is ordered done; whatever lies in the session for it is gone when it is."""
        out, photo = order.out, order.photo
        at = self._under_way[of.id] = Tracing()

        def say(what: Any) -> None:
            if isinstance(what, tasks.StepBegins):
                at.words, at.share = what.words, what.share
            elif isinstance(what, tasks.Copied):
                self._copied(of, out, what)
            self.tell(of.id)

        def finish(done: Future[tasks.TraceAnswer]) -> None:
            try:
                self._finish(of, out, done)
            finally:
                self._under_way.pop(of.id, None)
                for lies in {photo.parent, out, *((order.adding[0].parent,) if order.adding else ())}:
                    shutil.rmtree(lies, ignore_errors=True)
                self.tell(of.id)

        large = False
        with contextlib.suppress(JawlineError):  # whoever looks at it says what is wrong
            large = check_header(photo) > self.limits.large_megapixels
        self.workers.do(tasks.trace, order, self.limits.trace_s, say, large=large).add_done_callback(finish)
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
                place = self.session.place()
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
                if answer.added:
                    files[kept.further_file(len(known.further))] = (out / tasks.ADDED).read_bytes()
                    now = now.model_copy(update={"further": (*known.further, answer.added)})
                of.write({**files, kept.FILE: kept.to_bytes(now)}, OUTDATED, undoable=False)
            except Exception as why:
                now = known.model_copy(update={"refusal": _refusal(why)})
                with contextlib.suppress(JawlineError):
                    of.write({kept.FILE: kept.to_bytes(now)}, undoable=False)

    def picture(self, of: Job) -> Path | None:
        """The picture that is shown of a job: the card's face hidden, or all of it blurred."""
        unkept = self._unkept.get(of.id)
        paths = (*((unkept.folder / job.PHOTO,) if unkept else ()), of.folder / job.PHOTO)
        return next((p for p in paths if is_plain(p)), None)


def _refusal(why: Exception) -> kept.Notice:
    """As the page says it."""
    if isinstance(why, JawlineError):
        return kept.Notice(code=why.code, text=why.said(on_page))
    return kept.Notice(code="unexpected", text=str(why))


def close_unfinished(shelf: Shelf) -> None:
    """Jobs whose photo went with the session that was to trace it say so."""
    for of in shelf.all():
        known = of.kept()
        if known is None or known.refusal or (of.folder / job.TRACE).exists():
            continue
        if not (of.folder / kept.PHOTO).exists():
            now = known.model_copy(update={"refusal": kept.Notice(code="photo-gone", text=PHOTO_GONE)})
            with contextlib.suppress(JawlineError):
                of.write({kept.FILE: kept.to_bytes(now)}, undoable=False)
