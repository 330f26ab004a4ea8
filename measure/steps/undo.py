"""A job's last change taken back: a trace, a reading, a completion, a trial print's verdict, or what the page did."""

from __future__ import annotations

from pathlib import Path

from measure.job import history, job
from measure.job.lock import alone
from measure.steps import Done, counted


@alone
def undo(folder: Path) -> Done:
    """Go back by one change, whether a command or the page has made it.

    Args:
        folder: the job.

    Raises:
        WrongUsage: no such job, nothing to go back to, or a file has been changed by hand since.
    """
    job.existing(folder)
    names = history.undo(folder, commands_too=True)
    left = len(history.steps(folder))
    what = ", ".join(n for n in names if n not in job.BENCH)
    lines = (
        f"Taken back. As they were before: {what}.",
        f"{counted(left, 'more change')} can be undone." if left else "Nothing more can be undone.",
    )
    return Done("undo", tuple(folder / n for n in names if (folder / n).exists()), lines, {"left": left})
