"""Everything that is done to jobs, whoever asks for it: uploads traced, readings taken, changes undone, states told.

All of this runs in threads, one change of a job at a time; photos are looked at by worker processes, which never touch
a job.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calib.errors import JawlineError, WrongUsage
from calib.files import content_of, is_plain
from calib.words import Words
from calib.written import printable
from measure.bench import kept
from measure.bench.listing import at_a_glance, state_of
from measure.bench.memory import Memory
from measure.bench.phrases import on_page
from measure.bench.session import Session
from measure.bench.settings import Settings
from measure.bench.shelf import Job, Shelf, base_name, plain_name
from measure.bench.state import plain_state, revision_files, revisions_of, url_of
from measure.bench.traces import Tell, Traces, close_unfinished
from measure.job import job, revisions
from measure.steps.trace import warm
from measure.steps.workers import Workers

DOT_PX = 1.0
"""What a touch marks on the picture."""


@dataclass(slots=True)
class Desk:
    """A bench at work. Use as a context.

    Attributes:
        settings: what it was started with.
        shelf: the jobs.
        workers: who looks at photos.
        tell: is told the id of a job whenever something about it has changed, from any thread.
        session: where photos lie on their way.
        traces: those under way.
        memory: jobs worked out.
    """

    settings: Settings
    tell: Tell = lambda id: None
    shelf: Shelf = field(init=False)
    workers: Workers = field(init=False)
    session: Session = field(default_factory=Session)
    traces: Traces = field(init=False)
    memory: Memory = field(default_factory=Memory)

    def __enter__(self) -> Desk:
        self.shelf = Shelf(self.settings.folder)
        self.session.__enter__()
        self.shelf.tidy()
        close_unfinished(self.shelf)
        limits = self.settings.limits
        self.workers = Workers(limits.workers, warm, limits.memory_gb).__enter__()
        self.traces = Traces(self.session, self.workers, limits, self.tell)
        return self

    def __exit__(self, *_: object) -> None:
        self.workers.__exit__()
        self.session.__exit__()

    # ----------------------------------------------------------------------------------------------------------- photos
    def take(self, photo: Path, photo_name: str, fields: Mapping[str, str], asked: kept.TraceChoices) -> Job:
        """Take a new photo and have it traced.

        Args:
            photo: the original, alone in a folder of the session; it is gone when it has been looked at.
            photo_name: what its owner calls the file.
            fields: what is known of it: the part's `name`, its `owner`, the `contact`.
            asked: how it is to be traced.
        """
        shown = base_name(photo_name)
        name, owner, contact = (plain_name(fields.get(key, "")) for key in ("name", "owner", "contact"))
        part = name or Path(shown).stem or "part"
        of = self.shelf.new(part, kept.Kept(name=part, owner=owner, contact=contact, asked=asked, at=time.time()))
        self.traces.begin(of, part, photo, asked, None, False, shown)
        return of

    def retrace(self, of: Job, asked: kept.TraceChoices, revision: int | None) -> None:
        """Trace a job's photo again, or for the first time.

        Raises:
            Stale: the job has changed meanwhile.
            WrongUsage: its photo is not there, or is being traced.
        """
        with of.alone():
            self._check(of, revision)
            self.traces.again(of, asked)

    def parts(
        self, of: Job, asked: kept.TraceChoices, points: Sequence[tuple[float, float]], revision: int | None
    ) -> list[Job]:
        """Trace several parts that lie in a job's photo: the first as this job, each other as a new one of its own.

        Args:
            of: the job.
            asked: what holds for all of them.
            points: where each is, on the shown picture.
            revision: that the window has seen.

        Raises:
            Stale: the job has changed meanwhile.
            WrongUsage: its photo is not there, or is being traced.
        """
        with of.alone():
            self._check(of, revision)
            self.traces.refuse_if_busy(of)
            known = of.kept()
            there = (kept.PHOTO, job.PHOTO)
            if known is None or known.photo is None or not all(is_plain(of.folder / n) for n in there):
                raise WrongUsage(
                    Words("No card is found in this photo, so that nothing in it can be measured."), "no-photo"
                )
            files = {n: content_of(of.folder / n, job.MAX_FILE_MB, links=False) for n in there}
            name = self.name(of)
            first = kept.Kept(owner=known.owner, contact=known.contact, at=time.time(), photo=known.photo)
            made = [of]
            for n in range(2, len(points) + 1):
                made.append(self.shelf.new(f"{name} {n}", first.model_copy(update={"name": f"{name} {n}"}), files))
            self.traces.again(of, _touched(asked, points, 0))
        for k, other in enumerate(made[1:], 1):
            with other.alone():
                self.traces.again(other, _touched(asked, points, k))
        return made

    def another_photo(
        self, of: Job, photo: Path, photo_name: str, asked: kept.TraceChoices, too: bool, revision: int | None
    ) -> None:
        """Take another photo for a job and have it traced.

        Args:
            of: the job.
            photo: the original, alone in a folder of the session; it is gone when it has been looked at.
            photo_name: what its owner calls the file.
            asked: how it is to be traced.
            too: together with what is there, of the same part; else in its place.
            revision: that the window has seen.

        Raises:
            Stale: the job has changed meanwhile.
            WrongUsage: its photo is being traced; or nothing can be added to it.
        """
        shown = base_name(photo_name)
        with of.alone():
            self._check(of, revision)
            if too:
                known = (of.kept() or kept.Kept()).asked
                marked = {"strokes": known.strokes, "card_corners": known.card_corners}
                self.traces.add(of, photo, shown, asked.model_copy(update=marked))
            else:
                self.traces.instead(of, self.name(of), photo, shown, asked)

    # ----------------------------------------------------------------------------------------------------------- states
    def state(self, of: Job) -> dict[str, Any]:
        """The whole state of a job."""
        with of.lock:
            at, known = self.traces.progress(of), of.kept()
            try:
                return plain_state(of, known, self.memory.live(of), at)
            except JawlineError as why:
                out = plain_state(of, known, None, at)
                return out | {"state": "refused", "refusal": {"code": why.code, "text": why.said(on_page)}}

    def progress(self, of: Job) -> Mapping[str, Any]:
        """What is told of a job at each change."""
        progress = self.traces.progress(of)
        return {"revision": of.revision(), "state": state_of(of, of.kept(), progress), "progress": progress}

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
        from measure.bench.changes import add_reading

        with of.alone():
            add_reading(of, self.memory.traced(of), asked)
        state = self.state(of)
        self.tell(of.id)
        return state

    def change_reading(self, of: Job, key: str, asked: Mapping[str, Any], revision: int | None) -> dict[str, Any]:
        """Write a reading anew."""
        from measure.bench.changes import change_reading

        return self.change(of, revision, lambda: change_reading(of, self.memory.traced(of), key, asked))

    def remove_reading(self, of: Job, key: str, revision: int | None) -> dict[str, Any]:
        """Take a reading out."""
        from measure.bench.changes import remove_reading

        return self.change(of, revision, lambda: remove_reading(of, self.memory.traced(of), key))

    def complete(
        self, of: Job, by: str | None, broken: str | None, drawn: str | None, revision: int | None
    ) -> dict[str, Any]:
        """Complete a broken part's outline, or open it again."""
        from measure.bench.changes import complete

        return self.change(of, revision, lambda: complete(of, by, broken, drawn))

    def mend(self, of: Job, said: str, revision: int | None) -> dict[str, Any]:
        """Let features be what a person says."""
        from measure.bench.changes import mend

        return self.change(of, revision, lambda: mend(of, said))

    def draw(self, of: Job, asked: Mapping[str, Any]) -> dict[str, Any]:
        """What is drawn in a break, with a touch more: its words, and paths over the picture. Nothing is changed."""
        from measure.bench.by_hand import drawn_so_far

        with of.lock:
            return drawn_so_far(of, self.memory.traced(of), asked)

    def trial(self, of: Job, said: str, revision: int | None) -> dict[str, Any]:
        """Take in how a trial print went; the whole state after it, and under ``trial`` what follows."""
        from measure.bench.changes import trial

        found: dict[str, Any] = {}
        state = self.change(of, revision, lambda: found.update(trial(of, self.memory.traced(of), said)))
        return {**state, "trial": found}

    def caliper(self, of: Job, told: Mapping[str, str]) -> dict[str, Any]:
        """Keep what is told of the caliper at hand, for all jobs; the whole state of this one after it.

        Args:
            of: the job that somebody looks at.
            told: as it is written; see `measure.steps.caliper`.

        Raises:
            WrongUsage: it is no number, or no caliper is like that.
        """
        from measure.readings.readings import number
        from measure.steps.caliper import caliper

        numbers = {key: number(text) for key, text in told.items()}
        wrong = next((told[key] for key, value in numbers.items() if value is None), None)
        if wrong is not None:
            raise WrongUsage(
                Words("“{wrong}” is no number of millimetres: write one such as 150.", wrong=printable(wrong)),
                "caliper",
            )
        caliper(**numbers)
        self.memory.forget()
        return self.state(of)

    def describe(self, of: Job, said: Mapping[str, Any], revision: int | None) -> dict[str, Any]:
        """What a job is called, whose it is, and how to reach them.

        Args:
            of: the job.
            said: any of ``name``, ``owner``, ``contact``, ``note`` and ``owner_drawn``; what is not said stays.
            revision: that the window has seen.
        """
        known = of.kept() or kept.Kept(name=self.name(of))
        news = {key: plain_name(x) if isinstance(x, str) else x for key, x in said.items()}
        now = known.model_copy(update=news)
        return self.change(of, revision, lambda: of.write({kept.FILE: kept.to_bytes(now)}))

    def remove(self, of: Job, revision: int | None) -> None:
        """Take a job away for good.

        Raises:
            Stale: it has changed meanwhile.
            WrongUsage: its photo is being traced, or it can't be removed.
        """
        with of.lock:
            self._check(of, revision)
        self.traces.refuse_if_busy(of)
        self.shelf.remove(of)
        self.traces.forget(of)

    def thin(self, of: Job, asked: Mapping[str, str]) -> dict[str, Any]:
        """The thin places of a job's part, and what helps.

        Args:
            of: the job.
            asked: below how many millimetres a place is weak (`limit`), and how wide the printer's `line` is; as
                written, and empty for what is usual.

        Raises:
            WrongUsage: no numbers, or the job is an opening.
        """
        from measure.bench.changes import thin

        with of.alone():
            return thin(of, self.memory.traced(of), asked)

    def make(self, of: Job, what: str, options: Mapping[str, Any], language: str) -> list[dict[str, str]]:
        """Make files."""
        from measure.bench.changes import make

        with of.alone():
            return make(of, self.memory.traced(of), what, options, language)

    def put_by(self, out: Path, photo: kept.KeptPhoto, fields: Mapping[str, str]) -> Job:
        """Make an owner's photo a waiting job.

        Args:
            out: the copy is in it.
            photo: facts of the copy.
            fields: what the owner said beside it: the part's `name`, its `thickness`, the `owner`, the `contact`, a
                `note`.
        """
        name = plain_name(fields.get("name", "")) or Path(plain_name(photo.name)).stem or "part"
        note, thickness, owner, contact = (
            plain_name(fields.get(key, "")) for key in ("note", "thickness", "owner", "contact")
        )
        files = {n: (out / n).read_bytes() for n in (kept.PHOTO, job.PHOTO)}
        first = kept.Kept(
            name=name, owner=owner, contact=contact, note=note, thickness_told=thickness, at=time.time(), photo=photo
        )
        return self.shelf.new(name, first, files)

    def has_room(self) -> bool:
        """Whether more photos of owners may come in."""
        limits = self.settings.limits
        for place in (self.settings.folder, self.session.folder):
            if shutil.disk_usage(place).free < limits.free_mb * 1e6:
                return False
        waiting = sum(not is_plain(of.folder / job.TRACE) for of in self.shelf.all())
        return waiting < limits.waiting

    # ------------------------------------------------------------------------------------------------------- to look at
    def listing(self) -> list[dict[str, Any]]:
        """All jobs, the last changed first."""
        out = []
        for of in self.shelf.all():
            found = at_a_glance(of, self.memory, self.traces.progress(of))
            sure = found.least_sure
            plain = {k: v for k, v in found.plain().items() if k != "least_sure"}
            out.append(
                {
                    **plain,
                    "thumbnail": url_of(of, "thumbnail.jpg") if self._small_of(of) else None,
                    "worst_u95_mm": sure.u95_mm if sure else None,
                    "worst_words": sure.words if sure else "",
                }
            )
        return sorted(out, key=lambda x: -x["changed"])

    def name(self, of: Job) -> str:
        """What a job is called."""
        known = of.kept()
        return (known.name if known else "") or self.memory.glance(of, of.revision())[0] or of.id

    def offers(self, of: Job, labels: list[str]) -> list[dict[str, Any]]:
        """Readings that some features allow."""
        from measure.bench.changes import offers

        return offers(self.memory.traced(of), labels)

    def revisions(self, of: Job) -> list[dict[str, Any]]:
        """The kept drawings of a job."""
        return revisions_of(of)

    def revision(self, of: Job, number: int) -> bytes:
        """One of them, as SVG.

        Raises:
            WrongUsage: there is none of that number.
        """
        from measure.steps.revisions import revision_svg

        return revision_svg(of.folder, number)

    def revision_file(self, of: Job, number: int, name: str) -> Path | None:
        """A file that one of them keeps; None where there is none of that name."""
        known = next((n for n in revisions.numbers(of.folder) if n == number), None)
        found = next((f for f in revision_files(of, known) if f == name), None) if known else None
        return of.folder / revisions.FOLDER / str(known) / found if found else None

    def thumbnail(self, of: Job) -> bytes | None:
        """A small picture of a job; None where there is none."""
        from measure.bench.photo_copy import thumbnail

        path = self._small_of(of)
        return thumbnail(path) if path else None

    def _small_of(self, of: Job) -> Path | None:
        """What a small picture is made from."""
        labelled = of.folder / job.PICTURE
        return self.traces.picture(of) or (labelled if is_plain(labelled) else None)

    def _check(self, of: Job, revision: int | None) -> None:
        if revision != of.revision():
            raise Stale(self.state(of))


def _touched(asked: kept.TraceChoices, points: Sequence[tuple[float, float]], which: int) -> kept.TraceChoices:
    """What is asked, with the part touched marked as such, and all others as none."""
    dots = [((x, y), (x + DOT_PX, y + DOT_PX)) for x, y in points]
    others = tuple(d for k, d in enumerate(dots) if k != which)
    return asked.model_copy(update={"strokes": kept.StrokesRecord(part=(dots[which],), away=others)})


class Stale(Exception):
    """The job has changed since; `state` is how it is now."""

    def __init__(self, state: dict[str, Any]) -> None:
        super().__init__("stale")
        self.state = state
