"""The jobs of a folder at a glance: for the page's list, and for a command's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar

from calib.files import is_plain
from measure.bench import kept
from measure.bench.memory import Memory
from measure.bench.shelf import Job, Shelf
from measure.bench.state import word_for
from measure.dimensioning.least_sure import LeastSure
from measure.job import job

IN_WORDS = {
    "waiting": "to be traced",
    "tracing": "being traced",
    "refused": "can't be measured",
    "traced": "traced, no readings",
    "measured": "measured",
}
"""States of a job, as a command says them."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A job in a list.

    Attributes:
        id: name of its folder.
        ticket: its number, 0 where it has none.
        name, owner: of the part, and whose it is.
        state: see `measure.bench.state.word_for`.
        begun, changed: seconds since 1970; begun is 0 where nobody knows.
        least_sure: the size that is known least.
        note: what the owner wrote, or why it was refused.
    """

    HEADING: ClassVar[tuple[str, ...]] = ("ticket", "job", "name", "owner", "begun", "state", "least sure")

    id: str
    ticket: int
    name: str
    owner: str
    state: str
    begun: float
    changed: float
    least_sure: LeastSure | None
    note: str

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self)

    def row(self) -> tuple[str, ...]:
        """For people; as many cells as `HEADING` has."""
        begun = datetime.fromtimestamp(self.begun).strftime("%Y-%m-%d") if self.begun else ""
        sure = f"± {self.least_sure.u95_mm:.2f} mm, {self.least_sure.words}" if self.least_sure else ""
        ticket = str(self.ticket) if self.ticket else ""
        return ticket, self.id, self.name, self.owner, begun, IN_WORDS.get(self.state, self.state), sure

    def has(self, words: str) -> bool:
        """Whether all of these words stand in what it is called by."""
        text = f"{self.id} {self.name} {self.owner} {self.note} {self.ticket or ''}".lower()
        return all(w in text for w in words.lower().split())


def at_a_glance(of: Job, memory: Memory, progress: Mapping[str, Any] | None) -> Listed:
    """A job as it stands, without working it out.

    Args:
        of: the job.
        memory: what is known of it already.
        progress: of a trace under way.
    """
    known, revision = of.kept(), of.revision()
    name, sure = memory.glance(of, revision)
    refused = known.refusal if known else None
    refusal = refused.saying("text", refused.text) if refused else ""
    return Listed(
        id=of.id,
        ticket=known.ticket if known else 0,
        name=(known.name if known else "") or name or of.id,
        owner=known.owner if known else "",
        state=state_of(of, known, progress),
        begun=known.at if known else 0.0,
        changed=revision / 1e6,
        least_sure=sure,
        note=(known.note if known else "") or refusal,
    )


def state_of(of: Job, known: kept.Kept | None, progress: Mapping[str, Any] | None) -> str:
    """The state of a job in a word."""
    read = is_plain(of.folder / job.READINGS) and (of.folder / job.READINGS).stat().st_size > 0
    return word_for(known, is_plain(of.folder / job.TRACE), read, progress is not None)


def listed(folder: Path, find: str = "") -> list[Listed]:
    """The jobs of a folder that have all the words in what they are called by, the last changed first."""
    memory = Memory()
    found = (at_a_glance(of, memory, None) for of in Shelf(folder).all())
    return sorted((x for x in found if x.has(find)), key=lambda x: -x.changed)
