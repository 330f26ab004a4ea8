"""One break completed in one way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from measure.breaks import Break
from measure.completion.checking import checked
from measure.completion.copying import copied
from measure.completion.extending import extended
from measure.completion.outcome import Completed, NotCompleted, Way
from measure.features import Estimate
from measure.repetition import NoRepetition, find_repetition


def completed(
    estimate: Estimate, which: Break, others: Sequence[Break], by: Way,
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
