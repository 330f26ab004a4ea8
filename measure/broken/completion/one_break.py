"""One break completed in one way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from measure.broken.breaks import Break
from measure.broken.completion.checking import checked
from measure.broken.completion.copying import copied
from measure.broken.completion.extending import extended
from measure.broken.completion.outcome import Completed, Evidence, NotCompleted
from measure.broken.repetition import NoRepetition, find_repetition
from measure.geometry.features import Estimate


def completed(
    estimate: Estimate, which: Break, others: Sequence[Break], by: Evidence,
    subject: Literal["part", "opening"] = "part",
) -> Completed | NotCompleted:  # fmt: skip
    """Complete one break in one way.

    Args:
        estimate: the part as seen, or completed elsewhere.
        which: the break.
        others: breaks that are still open; they are no evidence.
        by: the way.
        subject: part or opening.
    """
    if by == "extend":
        return extended(estimate, which, subject)
    found = find_repetition(estimate, by, which, [which, *others])
    if isinstance(found, NoRepetition):
        return NotCompleted(found.why)
    done = copied(estimate, which, others, found)
    return checked(done, subject) if isinstance(done, Completed) else done
