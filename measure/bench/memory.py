"""Jobs worked out: each once for a revision, and kept in memory until there is another or too many."""

from __future__ import annotations

import contextlib
import json
import os
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import WrongUsage
from calib.files import content_of
from calib.words import Words
from measure.bench.shelf import Job
from measure.dimensioning.least_sure import LeastSure, least_sure
from measure.job import job

if TYPE_CHECKING:
    from measure.bench.live import Live

MOST_LIVE = 24
"""So many jobs are kept worked out."""


@dataclass(slots=True)
class _Worked:
    """A job worked out: what holds for a revision, and its drawing in each language that somebody asks for."""

    revision: int
    live: Live
    svg: dict[tuple[str, bool], bytes] = field(default_factory=dict)


@dataclass(slots=True)
class Memory:
    """All jobs of a bench that somebody has looked at lately."""

    _live: dict[str, _Worked] = field(default_factory=dict)
    _glances: dict[str, tuple[int, str, LeastSure | None]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def live(self, of: Job) -> Live | None:
        """What photo and readings say; None before there is a trace.

        Raises:
            JawlineError: the job's files are damaged.
        """
        from measure.bench.live import live

        with of.lock:
            if not os.path.lexists(of.folder / job.TRACE):
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

    def forget(self) -> None:
        """Have every job worked out anew: something that holds for all of them has changed."""
        with self._lock:
            self._live.clear()

    def traced(self, of: Job) -> Live:
        """The same of a job whose photo has been traced.

        Raises:
            WrongUsage: it has not.
            JawlineError: the job's files are damaged.
        """
        found = self.live(of)
        if found is None:
            raise WrongUsage(Words("The photo of this job has not been traced yet."), "missing-step")
        return found

    def sketch(self, of: Job, language: str, on_photo: bool = False) -> tuple[int, bytes]:
        """Revision and drawing of a job, over its photo where that is asked for.

        Raises:
            WrongUsage: there is no trace yet.
        """
        from measure.bench.live import sketch_svg

        with of.lock:
            found, worked = self.traced(of), self._live[of.id]
        way = (language, on_photo)
        if way not in worked.svg:  # nobody who takes readings meanwhile waits for the drawing
            known = of.kept()
            owner = known.owner if known and known.owner_drawn else ""
            name = (known.name if known else "") or None
            worked.svg[way] = sketch_svg(found, of.folder, name, language, owner, on_photo=on_photo)
        return worked.revision, worked.svg[way]

    def glance(self, of: Job, revision: int) -> tuple[str, LeastSure | None]:
        """Name and least sure size of a job, without working it out: from memory, or from its files."""
        worked = self._live.get(of.id)
        if worked and worked.revision == revision:
            return worked.live.record.part, worked.live.least_sure
        seen = self._glances.get(of.id)
        if seen is None or seen[0] != revision:
            seen = self._glances[of.id] = (revision, *_glance(of.folder))
        return seen[1:]


def _glance(folder: Path) -> tuple[str, LeastSure | None]:
    """Name and least sure size that a job's files tell of, measured.json before trace.json."""
    for name in (job.MEASURED, job.TRACE):
        with contextlib.suppress(OSError, ValueError, TypeError, LookupError, AttributeError, RecursionError):
            plain = json.loads(content_of(folder / name, job.MAX_TEXT_MB, links=False))
            sizes = (
                (str(d["kind"]), tuple(map(str, d["features"])), float(d["value_mm"]), float(d["u95_mm"]))
                for d in plain["dimensions"]
            )
            return str(plain.get("part", "")), least_sure(sizes)
    return "", None
